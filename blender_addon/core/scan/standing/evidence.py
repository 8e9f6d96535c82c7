"""What speaks for standing in a pose? Each kind of evidence is a small function with its reason; a weighted sum adds them up.

The weights were fitted by multinomial logistic regression (one more outcome is "none of these") on 19 labelled scans, five
household scans and 20 forms of a public mesh library labelled by eye, which count 0.7, and 40 made-up pieces (TRIED of
`scripts/truth/footings.py`), which count 0.3; a penalty of 0.15 holds them to what an earlier fit gave. Each was left out in
turn to see how well the rest foretells it, with nothing known of the file's axes: of the 44 scans and forms four in five are
right, three called sure and wrong (heads on the cuts of their necks, which are asked about for that reason). All are drawn out
by 1.25, by which the others' chances foretell best what is found. The weights of the irregular cut and the hollow are guesses,
those of the base are kept from vanishing, all are rounded, and what they say of other kinds of things is not known.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...arrays import Floats
from ...records import record
from ..roughness import rough_side
from .body import Body
from .poses import Pose

NONE = 12.6
"""What the sum comes to where it is as likely that none of the poses is meant, and the thing needs a mount."""
ROUGH, MOST_ROUGH, ROUGH_CELLS = 0.1, 2.5, (24, 10)
"""How far the rough surface must look to one side to count 1, the most that it counts, and the cells along the diagonal in
which roughness is measured."""
STEADY_DEG = 12.0
"""What stands this far from tipping over stands well enough to be shown; more says nothing about what is meant."""


@record
class Term:
    """A kind of evidence: the value of a pose, what a value of 1 counts, and words for a strong one (None: it is not named)."""

    name: str
    value: Callable[[Pose], float]
    weight: float
    words: str | None = None


def steady(pose: Pose) -> float:
    """What is made to stand does not tip over at a touch."""
    return float(np.clip(pose.tip_deg, -STEADY_DEG, STEADY_DEG)) / STEADY_DEG


def falls(pose: Pose) -> float:
    """A pose with the centre of mass beside the contact falls over by itself."""
    return float(pose.tip_deg < 0)


def even(pose: Pose) -> float:
    """An even contact is made to be stood on, be it soles far apart."""
    return pose.even * min(pose.share / 0.008, 1.0)


def regular(pose: Pose) -> float:
    """Bases are rectangles and discs; backs, bellies and flat locks of hair are not."""
    return pose.base * pose.regular


def irregular_cut(pose: Pose) -> float:
    """A filled opening of no regular outline may be the cut of a neck, which fits a wall as well as a table."""
    return pose.base * pose.filled * (1.0 - pose.regular)


def hollow(pose: Pose) -> float:
    """What is hollow opens upwards: it does not stand on its rim."""
    return pose.hollow


def mirrored(pose: Pose) -> float:
    """Up lies in the mirror plane of animals, people and most things that are made to be looked at."""
    return pose.mirror


def spread(pose: Pose) -> float:
    """What stands spreads its feet under most of itself."""
    return min(float(np.sqrt(pose.spread)), 0.6) / 0.6


def tall(pose: Pose) -> float:
    """Things are set up, not laid down: of two poses the taller one is meant a little more often."""
    return pose.tall - 0.6


def opposite(pose: Pose) -> float:
    """Of two flat ends the flatter one is the base: what has the better one on top stands on its head."""
    return pose.opposite


def along(pose: Pose) -> float:
    """What is long in one direction is set up in it: people, vases, trees."""
    return pose.along


def top(pose: Pose) -> float:
    """Things are broad at their tops more often than the ends on which they might be laid: shoulders, wings, rims."""
    return min(pose.top, 1.0)


TERMS = (
    Term("steady", steady, 3.1),
    Term("falls", falls, -1.0, "it would fall over"),
    Term("even contact", even, 5.0, "it touches the ground in one level"),
    Term("base", lambda pose: pose.base, 1.3, "a flat base"),
    Term("regular base", regular, 2.5, "the base is regular"),
    Term("irregular cut", irregular_cut, -3.7, "what it stands on may be a cut, as of a neck"),
    Term("hollow", hollow, -3.1, "it would stand on a rim over a hollow"),
    Term("opposite", opposite, -2.6),
    Term("mirrored", mirrored, 3.9, "left mirrors right"),
    Term("spread", spread, 3.6),
    Term("tall", tall, 3.3),
    Term("along", along, 2.0),
    Term("top", top, 1.9),
)
LIGHT = 1.2
"""What a clear direction of the light counts; measured on three textured scans alone."""


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
    """(3,) away from where the rougher surface looks, its length about 1 where it clearly has a side, at most `MOST_ROUGH`.

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
