"""What speaks for standing in a pose? Each kind of evidence is a small function with its reason; a weighted sum adds them up.

The weights were fitted by multinomial logistic regression (with a penalty of 0.03 on their squares, and one more outcome,
"none of these") on 28 real scans: 19 labelled ones for development and nine that the tests fetch by package name. Each was
left out in turn to see how well the rest foretells it, with nothing known of the file's axes: 22 of 28 right, of the others one
called sure (a horse's head on its neck's cut). That of the irregular cut is a guess, all are rounded, and what they say of
other kinds of things is not known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ...arrays import Floats
from .body import Body
from .poses import Pose

NONE = 10.5
"""What the sum comes to where it is as likely that none of the poses is meant, and the thing needs a mount."""
STEADY_DEG = 12.0
"""What stands this far from tipping over stands well enough to be shown; more says nothing about what is meant."""


@dataclass(frozen=True)
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


def base(pose: Pose) -> float:
    """A full and even contact is a base. Beyond 3 % of the surface it is one, however large: a flat crown is larger than a
    foot."""
    return pose.flat * pose.even * min(pose.share / 0.03, 1.0)


def regular(pose: Pose) -> float:
    """Bases are rectangles and discs; backs, bellies and flat locks of hair are not."""
    return base(pose) * pose.regular


def central(pose: Pose) -> float:
    """A base lies under the middle of what it carries."""
    return base(pose) * float(np.clip(pose.central, -0.2, 0.7))


def irregular_cut(pose: Pose) -> float:
    """A filled opening of no regular outline may be the cut of a neck, which fits a wall as well as a table."""
    return base(pose) * pose.filled * (1.0 - pose.regular)


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


TERMS = (
    Term("steady", steady, 2.7),
    Term("falls", falls, -0.8, "it would fall over"),
    Term("even contact", even, 4.2, "it touches the ground in one level"),
    Term("base", base, 1.3, "a flat base"),
    Term("regular base", regular, 3.3, "the base is regular"),
    Term("central base", central, 2.5),
    Term("irregular cut", irregular_cut, -3.0, "what it stands on may be a cut, as of a neck"),
    Term("hollow", hollow, -4.4, "it would stand on a rim over a hollow"),
    Term("mirrored", mirrored, 3.6, "left mirrors right"),
    Term("spread", spread, 2.9),
    Term("tall", tall, 1.9),
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
    elif pose.filled > 0.6 and base(pose) > 0.5:
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
