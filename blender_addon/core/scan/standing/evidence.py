"""What is the evidence for a pose? Each kind is a small function with its reason; the score is their weighted sum.

The weights were fitted by multinomial logistic regression (one more outcome is "none of these") on 19 labelled scans, five
household scans and 20 forms of a public mesh library labelled by eye, which count 0.7, and 40 synthetic pieces (TRIED of
`truth/pieces/footings.py`), which count 0.3; a penalty of 0.15 keeps them near an earlier fit. Each was left out in turn and
predicted from the rest, without the file's axes: of the 44 scans and forms four in five are right, three sure and wrong (heads
on the cuts of their necks, which are asked about for that reason). All weights are multiplied by 1.5. By 1.25 the forms that
were left out are predicted best; by 1.5 the logarithm of the chance of what came true rises from -0.15 to -0.13 on the turned
scans, and from -0.30 to -0.28 on 16 made-up figures that no weight was fitted on. Those of rising and of legs were fitted
later, all others held, on the same scans in three turns and on 14 forms of the library, and taken a little smaller: the
logarithm of the chance of what came true rose from -0.62 to -0.46, on 60 synthetic pieces from -0.081 to -0.075. The weights of
the irregular cut, of askew walls and of the hollow are guesses, those of the base are kept from vanishing, all are rounded, and
how they do on other kinds of pieces is not known.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...arrays import Floats
from ...records import record
from ..roughness import rough_side
from .body import Body
from .poses import Pose

NONE = 15.9
"""The score of "no pose is meant, the piece needs a mount", which competes with those of the poses."""
ROUGH, MOST_ROUGH, ROUGH_CELLS = 0.1, 2.5, (24, 10)
"""Asymmetry of the rough surface that counts 1, the largest value, and the cells along the diagonal in which roughness is
measured."""
SQUARE = 0.87
"""Share of a rectangle that a base fills from which it is a slab, on which walls of any slope may stand; necks fill less."""
ASKEW, ASKEW_BASE = (0.18, 0.26), (0.4, 0.8)
"""How askew walls stand (the sine of 10 and 15 degrees), and how full a base is, between which that becomes evidence. True
full bases of 19 scans and 16 made-up figures have 0.15 at most but for an owl's (0.27); a crown's flat top and a cut neck have
0.24 and 0.25. The weight is a guess."""
STEADY_DEG = 12.0
"""Angle to tipping over that is steady enough for display; a larger one is no further evidence."""


@record
class Term:
    """A kind of evidence: its value for a pose, the weight of a value of 1, and words for a strong one (None: not named)."""

    name: str
    value: Callable[[Pose], float]
    weight: float
    words: str | None = None


def steady(pose: Pose) -> float:
    """A piece made to stand does not tip over easily."""
    return float(np.clip(pose.tip_deg, -STEADY_DEG, STEADY_DEG)) / STEADY_DEG


def falls(pose: Pose) -> float:
    """A pose with the centre of mass outside the contact falls over."""
    return float(pose.tip_deg < 0)


def even(pose: Pose) -> float:
    """A level contact is a base, even if it is two soles far apart."""
    return pose.even * min(pose.share / 0.008, 1.0)


def regular(pose: Pose) -> float:
    """Bases are rectangles and discs; backs, bellies and flat locks of hair are not."""
    return pose.base * pose.regular


def irregular_cut(pose: Pose) -> float:
    """A filled opening of no regular outline may be the cut of a neck, which fits a wall as well as a table."""
    return pose.base * pose.filled * (1.0 - pose.regular)


def askew(pose: Pose) -> float:
    """Walls that stand askew on a full base show that it was cut or lies tipped, unless it is a slab."""
    if pose.square >= SQUARE:
        return 0.0
    full = np.clip((pose.base - ASKEW_BASE[0]) / (ASKEW_BASE[1] - ASKEW_BASE[0]), 0.0, 1.0)
    return float(full * np.clip((pose.slant - ASKEW[0]) / (ASKEW[1] - ASKEW[0]), 0.0, 1.0))


def hollow(pose: Pose) -> float:
    """A vessel opens upwards: it does not stand on its rim. A hollow cast does, and a helmet."""
    return pose.hollow


def mirrored(pose: Pose) -> float:
    """Up lies in the mirror plane of animals, people and most things that are made to be looked at."""
    return pose.mirror


def spread(pose: Pose) -> float:
    """A piece that stands has a contact nearly as broad as itself."""
    return min(float(np.sqrt(pose.spread)), 0.6) / 0.6


def tall(pose: Pose) -> float:
    """Pieces are stood up, not laid down: of two poses the taller one is meant a little more often."""
    return pose.tall - 0.6


def opposite(pose: Pose) -> float:
    """Of two flat ends the flatter one is the base: with that one on top a piece is upside down."""
    return pose.opposite


def along(pose: Pose) -> float:
    """A piece that is long in one direction is stood up along it: people, vases, trees."""
    return pose.along


def top(pose: Pose) -> float:
    """The top of a piece is more often broad than the ends on which it might be laid: shoulders, wings, rims."""
    return min(pose.top, 1.0)


def rising(pose: Pose) -> float:
    """What stands rises steeply from its contact; a back or a belly still faces down just over the ground."""
    return 0.5 - pose.belly


def legs(pose: Pose) -> float:
    """Several separate legs whose ends lie in one level are feet."""
    return pose.legs * even(pose)


TERMS = (
    Term("steady", steady, 3.7),
    Term("falls", falls, -1.2, "it would fall over"),
    Term("even contact", even, 6.0, "it touches the ground in one level"),
    Term("base", lambda pose: pose.base, 1.6, "a flat base"),
    Term("regular base", regular, 3.0, "the base is regular"),
    Term("irregular cut", irregular_cut, -4.4, "what it stands on may be a cut, as of a neck"),
    Term("askew", askew, -2.4, "the walls over its base stand askew on it"),
    Term("hollow", hollow, -3.7, "it would stand on a rim over a hollow"),
    Term("opposite", opposite, -3.1),
    Term("mirrored", mirrored, 4.7, "left mirrors right"),
    Term("spread", spread, 4.3),
    Term("tall", tall, 4.0),
    Term("along", along, 2.4),
    Term("top", top, 2.3),
    Term("rising", rising, 4.0),
    Term("legs", legs, 5.0, "it stands on legs"),
)
"""Name, measure, weight in the log odds and words of each kind of evidence."""
LIGHT = 1.8
"""Weight of a clear direction of the light: the concentration of a von Mises-Fisher distribution whose mean height over the
horizon is 30 degrees. Lynes, Burt, Jackson and Cuttle (*The flow of light into buildings*, Trans. Illum. Eng. Soc. 31, 1966;
from memory) give 15 to 45 degrees as the altitudes of the illumination vector that people prefer in rooms."""


def score(pose: Pose, light: Floats | None = None) -> float:
    """The sum of all evidence for a pose. light: (3,) the direction of the room's light times how clear it is (0 to 1)."""
    found = sum(term.weight * term.value(pose) for term in TERMS)
    return found + (LIGHT * float(light @ pose.up) if light is not None else 0.0)


def reasons(pose: Pose, light: Floats | None = None) -> tuple[str, ...]:
    """The strong evidence for and against a pose, in words."""
    words = [term.words for term in TERMS if term.words and term.value(pose) > 0.6]
    if pose.opening:
        words = ["its underside is open in the scan", *words]
    elif pose.filled > 0.6 and pose.base > 0.5:
        words = ["its underside was missing in the scan", *words]
    if light is not None and np.linalg.norm(light) > 0.5:
        cosine = float(light @ pose.up) / float(np.linalg.norm(light))
        if abs(cosine) > 0.5:
            words.append(
                "the light in its colour falls from there" if cosine > 0 else "the light in its colour falls from below"
            )
    if 0 <= pose.tip_deg < 6.0:
        words.append(f"it tips over at {pose.tip_deg:.0f} degrees")
    return tuple(words)


def rough_below(body: Body) -> Floats:
    """(3,) opposite to the direction that the rougher surface faces; length about 1 where that is clear, at most `MOST_ROUGH`.

    The undersides of arms, bellies, chins and of what was hard to reach are rougher than what lies on top, in form and in a
    scan. Of 44 forms whose up is known it lay upwards in 31, by 0.6 in the mean; the exceptions are hollow or look up.
    """
    seen = ~body.filled
    sides = [rough_side(body.points[seen], body.normals[seen], body.diagonal / count) for count in ROUGH_CELLS]
    found = -np.mean(sides, axis=0) / ROUGH
    length = float(np.linalg.norm(found))
    return found * min(1.0, MOST_ROUGH / length) if length > 0 else found


def light_of(body: Body) -> Floats | None:
    """(3,) where the room's light in the scan's own colour comes from, its length how clear that is (0 to 1); None where the
    scan has no colour or shows no light.

    The first-order fit of the logarithm of brightness to the normals (Basri and Jacobs, *Lambertian reflectance and linear
    subspaces*, IEEE TPAMI 25, 2003), colours far off the fit left out step by step. It counts from a tenth of the spread
    explained, and in full from a fifth.
    """
    if body.brightness is None:
        return None
    seen = ~body.filled & (body.brightness > 2e-3)
    if seen.sum() < 500 or float(np.ptp(body.brightness[seen])) < 0.02:
        return None
    values = np.log(body.brightness[seen])
    table = np.column_stack([np.ones(int(seen.sum())), body.normals[seen]])
    weights = np.ones(len(values))
    for _ in range(5):
        root = np.sqrt(weights)[:, None]
        fit = np.linalg.lstsq(table * root, values * root[:, 0], rcond=None)[0]
        off = values - table @ fit
        weights = np.exp(-((off / (1.5 * np.median(np.abs(off)) + 1e-9)) ** 2))
    explained = 1.0 - float((off**2).sum() / max(((values - values.mean()) ** 2).sum(), 1e-30))
    strength = float(np.linalg.norm(fit[1:]))
    clear = float(np.clip((explained - 0.1) / 0.1, 0.0, 1.0)) * min(strength / 0.1, 1.0)
    return fit[1:] / strength * clear if clear > 0 and strength > 0 else None
