"""Which of the pictures of a scan is its colour, and what are the others? Names and materials hint, content decides.

Each picture gets log odds of being the base colour: what the scan's material says of it, what its name says, how its pixels
look and how it goes with the mesh add up as independent evidence does. "None of them" stands beside them at even odds, so that
a folder of data maps has no base colour. The weights are judgements, rounded to halves: one unit is evidence of about 3 to 1.
They were checked on the labelled scans and on synthetic folders, and are not fitted to them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..records import record
from .picture_content import Fit, Pixels

NOT_STATED = ""


@record
class RolesConstants:
    """What speaks for a picture being the base picture, as log odds, and from where on. The odds are guesses, tried on our
    labelled scans."""

    stated_base: float = 5.0
    """The file says that it is."""
    stated_other: float = -5.0
    """The file says that it is another."""
    named_base: float = 2.5
    """Its name says that it is."""
    named_both: float = 0.5
    """Its name says both."""
    named_other: float = -5.0
    """Its name says another role."""
    nameless: float = -0.5
    """Its name says nothing."""
    impossible: float = -9.0
    """It can't be it."""
    unit_vectors: float = 0.75
    """Part of the pixels that are unit vectors from which on a picture holds directions; the measured maps have 0.99, photos of
    grey things up to 0.24."""
    follows_place: float = 0.9
    """Part of every channel's variance that is linear in the place, or in the normal, from which on the picture is a map of
    it."""
    data_together: float = 0.3
    """Correlation of the channels' fine detail below which they hold different things: 0.94 and more in photos and albedos,
    -0.36 to 0.05 in packed data and normal maps."""
    pure: float = 0.6
    """Part of the pixels that are pure and bright from which on the channels show different things."""
    agrees: float = 0.35
    """Agreement across seams from which on a picture belongs to the mesh: 0.39 to 0.84 in those that do."""
    disagrees: float = 0.12
    """Agreement below which it belongs to another: -0.06 to 0.02 in those of other meshes."""


ROLES = RolesConstants()


@record
class Candidate:
    """A picture that may belong to a scan's material.

    name: its file's. stated: the role that the scan's own material gives it, '' where it names none. named: the roles that its
    file's name speaks of. relation: 2 to -1, `texture_names.relation`. alike: how many other pictures of its series lie beside
    it. alone: no other mesh lies beside it and the mesh has one material. size: (width, height). pixels, fit: what it holds;
    None where it was not looked at.
    """

    name: str
    stated: str = NOT_STATED
    named: tuple[str, ...] = ()
    relation: float = 0.0
    alike: int = 0
    alone: bool = True
    size: tuple[int, int] = (0, 0)
    pixels: Pixels | None = None
    fit: Fit | None = None


@record
class Judged:
    """What a picture is taken for. role: one of `texture_names.ROLES`, or '' where that is unclear. odds: log odds of being
    the base colour. why: in words, what speaks for and against it."""

    candidate: Candidate
    role: str
    odds: float
    why: tuple[str, ...]


@record
class Choice:
    """base: the picture that is the base colour, None for none. confidence: 0 to 1. judged: all, the likeliest base first."""

    base: Judged | None
    confidence: float
    judged: tuple[Judged, ...]

    def of_role(self, role: str) -> Judged | None:
        """The picture that shows a role best: the stated one first, then one whose name says so, then the nearest by name."""

        def rank(judged: Judged) -> tuple[bool, bool, float, int]:
            own = judged.candidate
            return bool(own.stated), role in own.named, own.relation, -len(own.name)

        return max((entry for entry in self.judged if entry.role == role and entry is not self.base), key=rank, default=None)


def choose(candidates: Sequence[Candidate]) -> Choice:
    """The base colour among the pictures of one material, and what the others are."""
    judged = sorted(
        (judge(candidate) for candidate in candidates),
        key=lambda entry: (-entry.odds, len(entry.candidate.name), entry.candidate.name),
    )
    first, second = sorted([0.0, *(entry.odds for entry in judged), -np.inf])[:-3:-1]  # 0: none of them
    base = judged[0] if judged and judged[0].odds > 0 else None
    return Choice(base, float(1.0 / (1.0 + np.exp(second - first))), tuple(judged))


def judge(candidate: Candidate) -> Judged:
    """The role and the odds of one picture."""
    role, why = _role(candidate)
    odds = _by_word(candidate, why)
    pixels, fit = candidate.pixels, candidate.fit
    if pixels is not None:
        odds += _by_pixels(candidate, pixels, why)
    if fit is not None:
        odds += _by_fit(candidate, fit, why)
    if candidate.alike >= 3 and not candidate.stated:
        why.append(f"one of {candidate.alike + 1} numbered alike")
        odds -= 3.0
    if odds > 0:
        role = "base"
    elif role == "base":
        role = ""
    return Judged(candidate, role, odds, tuple(why))


def _by_word(candidate: Candidate, why: list[str]) -> float:
    """Log odds by the material and the name."""
    if candidate.stated == "base":
        why.append("the scan's material names it as its colour")
        return ROLES.stated_base
    if candidate.stated:
        why.append(f"the scan's material names it as {ROLE_WORDS.get(candidate.stated, candidate.stated)}")
        return ROLES.stated_other
    odds = 0.7 * candidate.relation if candidate.relation >= 0 else -2.5
    if candidate.relation < 0:
        why.append("it is named after something else")
    elif candidate.relation == 0 and not candidate.alone:
        why.append("it may belong to another mesh or material")
        odds -= 1.5
    if candidate.named == ("base",):
        why.append("its name says so")
        return odds + ROLES.named_base
    if "base" in candidate.named:
        why.append("its name says more than one thing")
        return odds + ROLES.named_both
    if candidate.named:
        why.append(f"its name says {ROLE_WORDS.get(candidate.named[0], candidate.named[0])}")
        return odds + ROLES.named_other
    return odds + ROLES.nameless


def _by_pixels(candidate: Candidate, pixels: Pixels, why: list[str]) -> float:
    claimed = candidate.stated == "base" or "base" in candidate.named
    if holds_directions(pixels):
        why.append("it holds directions, not colours")
        return ROLES.impossible
    odds = 0.0
    if pixels.even:
        why.append("it is of one even colour")
        odds -= 1.5
    elif pixels.grey:
        why.append("it is exactly grey, as data is")
        odds -= 0.5 if claimed else 3.5
    elif pixels.together < ROLES.data_together or pixels.primaries > ROLES.pure:
        why.append("its channels show different things")
        odds -= 3.5
    elif not pixels.grey:
        odds += 1.0
    if pixels.lines > 0 and not claimed:
        why.append("it shows thin lines on an even ground")
        odds -= 3.0
    if pixels.colours <= 6 and not pixels.grey and not pixels.even and not claimed:
        why.append("it has few flat colours, as a mask has")
        odds -= 2.0
    return odds


def _by_fit(candidate: Candidate, fit: Fit, why: list[str]) -> float:
    if fit.position > ROLES.follows_place:
        why.append("it is a map of places")
        return ROLES.impossible
    odds = 0.0
    if fit.seams is not None:
        if fit.seams > ROLES.agrees:
            why.append("it goes on across the seams of the layout")
            odds += 1.0
        elif fit.seams < ROLES.disagrees:
            why.append("it does not go on across the seams of the layout")
            odds -= 3.0
    if fit.laid is not None and abs(fit.laid) > 0.5:
        odds += 1.5 if fit.laid > 0 else -2.0
        why.append("it fills the layout's islands" if fit.laid > 0 else "it leaves the layout's islands empty")
    grey = candidate.pixels is not None and candidate.pixels.grey
    if grey and fit.recess is not None and fit.recess > 0.2 and candidate.stated != "base":
        why.append("it follows the recesses of the form")
        odds -= 2.0
    return odds


def holds_directions(pixels: Pixels) -> bool:
    """Whether a picture's colours are unit vectors: a normal map of any kind."""
    return not pixels.grey and pixels.unit > ROLES.unit_vectors and not pixels.even


def looks_like_colour(pixels: Pixels) -> bool:
    """Whether nothing in the pixels themselves speaks against a picture that is said to be the colour."""
    odd = pixels.even or pixels.grey or pixels.together < ROLES.data_together or pixels.primaries > ROLES.pure
    return not odd and not holds_directions(pixels)


def holds_tangent_normals(pixels: Pixels, fit: Fit | None = None) -> bool:
    """Whether they are normals in tangent space: nearly all point out of the surface, and none follows the form's own
    normal."""
    if fit is not None and fit.normal > 0.5:
        return False
    return holds_directions(pixels) and pixels.outward > 0.55


def _role(candidate: Candidate) -> tuple[str, list[str]]:
    """What a picture that is not a base colour shows: the material's word or the name's, as far as its content allows it."""
    pixels, fit = candidate.pixels, candidate.fit
    said = [candidate.stated] if candidate.stated else list(candidate.named)
    if pixels is None:
        return (said[0] if said else ""), []
    if holds_directions(pixels) or (pixels.even and "normal" in said and pixels.unit > ROLES.unit_vectors):
        kinds = [role for role in said if role in ("bent_normal", "object_normal")]
        if kinds:
            return kinds[0], []
        return ("normal" if holds_tangent_normals(pixels, fit) or pixels.even else "object_normal"), []
    if fit is not None and fit.position > ROLES.follows_place:
        return "position", []
    for role in said:
        if role in ("normal", "bent_normal", "object_normal", "position"):
            continue  # said to be what it does not hold
        return role, []
    if "normal" in said and pixels.grey:
        return "height", []
    if pixels.lines > 0:
        return "layout", []
    if pixels.grey and fit is not None and fit.recess is not None and fit.recess > 0.2:
        return "occlusion", []
    return "", []


ROLE_WORDS: Mapping[str, str] = {
    "base": "a base colour", "normal": "a normal map", "bent_normal": "a map of bent normals",
    "object_normal": "normals in space",
    "roughness": "roughness", "metallic": "metal", "occlusion": "occlusion", "height": "heights", "thickness": "thickness",
    "curvature": "curvature", "position": "places", "opacity": "opacity", "mask": "a mask", "emission": "emission",
    "specular": "specular colour", "lightmap": "light", "layout": "the layout of the islands", "view": "a view of something",
    "": "unknown",
}  # fmt: skip
"""Each role in words for a person."""
