"""What if shape alone leaves several poses open? Marks decide where they can; otherwise the poses to choose from are listed."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from ....arrays import Floats
from ....mesh.similarity import Similarity, angle_between
from ....records import record
from ..evidence import Evidence
from ..icp import loose_axis, refine
from ..scans import Scans, lying_on, weighed
from ..surfels import Surfels
from ..verdict import NOT_SURE, SURE, Candidate, Limits, Registration
from . import colour, footprint
from .colour import best_turn, one_a_side, peak_turn, separated, turned_about
from .relief_turn import AGREE_DEG, WEAK, halves, steady, turned_over

FINE_POINTS = 8000
"""Points of the moving scan by which fine unevenness is compared: all that are sampled."""
SHOWN_TURNS = (0.0, 90.0, 180.0, 270.0)
"""Turns offered a side where any turn fits; what lies between is asked for in degrees."""
NOT_HERE = 0.03
"""How much higher the score at a slightly larger or smaller scale may be before the pose counts as off the peak."""

Score = Callable[[Similarity], float]


@record
class Sign:
    """A sign that may distinguish poses where shape can't: its name for a sentence, its score for a part of a scan, its limits.

    points: how many it needs for a first estimate. broad: as in `best_turn`.
    """

    words: str
    score: Callable[[Surfels], Score]
    points: int
    least: float
    lead: float
    broad: bool


def signs(scans: Scans, tolerance: float) -> Iterator[Sign]:
    """The signs that these scans may have, the surest first: the same colours, then the mark of the piece's outline."""
    if scans.moving.colour is not None and scans.fixed.colour is not None:
        yield Sign(
            "the colours", lambda part: colour.likeness(part, scans.fixed, scans.nearest),
            700, colour.LEAST, colour.LEAD, False,
        )  # fmt: skip
    if scans.partial:
        yield Sign(
            "the mark that the piece left", lambda part: lambda pose: footprint.footprint(part, scans, pose, reach=tolerance),
            3000, footprint.LEAST, footprint.LEAD, True,
        )  # fmt: skip


def broken(scans: Scans, decided: Registration, tolerance: float) -> Registration:
    """The verdict on a tie: sure where a sign is distinct; otherwise the poses to choose from, the likeliest first."""
    return _ways(scans, decided, tolerance) if decided.tie == "ways" else _turn(scans, decided, tolerance)


def _ways(scans: Scans, decided: Registration, tolerance: float) -> Registration:
    """Several poses that fit: the one in which a sign agrees."""
    for sign in signs(scans, tolerance):
        score = sign.score(scans.moving_part(2000))
        rated = np.array([score(candidate.pose) for candidate in decided.candidates])
        order = np.argsort(-rated, kind="stable")
        chosen = tuple(decided.candidates[place] for place in order)
        first = np.arange(len(rated)) < 1
        clear = separated(rated[order], first, least=sign.least, lead=sign.lead)
        if clear and (sign.broad or _peaks(scans, score, chosen[0].pose)):
            return Registration(SURE, f"shape fits in several ways, {sign.words} in one alone", chosen)
        decided = Registration(NOT_SURE, decided.reason, chosen, decided.tie)
    return decided


def _peaks(scans: Scans, score: Score, pose: Similarity) -> bool:
    """Whether the score does not rise where the scan is made 2 % larger or smaller about its middle or an end of it.

    A box with a side missing fits at several scales, and colours still agree in part a few percent off.
    """
    spots = pose.apply(scans.seen.points[:2000])
    middle = np.median(spots, axis=0)
    _, values, axes = np.linalg.svd(spots - middle, full_matrices=False)
    reach = 1.5 * values[:2, None] / np.sqrt(len(spots)) * axes[:2]
    here = score(pose)
    for anchor in (middle, *(middle + reach), *(middle - reach)):
        for grow in (0.98, 1.02):
            moved = Similarity(grow, np.eye(3), (1.0 - grow) * anchor).after(pose)
            if score(moved) > here + NOT_HERE:
                return False
    return True


def _turn(scans: Scans, decided: Registration, tolerance: float) -> Registration:
    """Any turn about an axis fits: the turn, on either side, at which a sign agrees."""
    first = decided.candidates[0]
    spots, facing = lying_on(scans, first.pose)
    axis = loose_axis(spots, facing, firm=WEAK)
    if axis is None:
        return decided
    if len(decided.candidates) == 1 and steady(scans, first.pose, axis):
        return Registration(SURE, "it can nearly turn in itself, but its unevenness holds it", decided.candidates)
    sides = one_a_side([candidate.pose for candidate in decided.candidates], axis[0])
    if len(sides) < 2:
        sides += [entry.pose for entry in turned_over(scans, first, axis, tolerance)]
    for sign in signs(scans, tolerance):
        coarse = sign.score(scans.moving_part(sign.points))
        pose, standing = best_turn(coarse, sides, *axis, least=sign.least, lead=sign.lead, broad=sign.broad)
        sides = one_a_side([pose, *sides], axis[0])
        if standing:
            pose, _, _ = refine(scans.moving_part(4000), scans.fixed, scans.nearest, pose, rounds=10)
            for _ in range(2 if sign.broad else 1):  # a broad peak may lie farther off than one look reaches
                pose, _ = peak_turn(sign.score(scans.moving_part(FINE_POINTS)), pose, *axis)
            chosen = Candidate(pose, weighed(scans, pose, tolerance, points=4000))
            if _fits_too(chosen.evidence, first.evidence) and _halves_agree(scans, sign, pose, axis):
                return Registration(SURE, f"shape can turn in itself, but not past {sign.words}", (chosen,))
    shown = [turned_about(side, *axis, turn) for side in sides for turn in SHOWN_TURNS]
    listed = tuple(Candidate(pose, weighed(scans, pose, tolerance, points=2000)) for pose in shown)
    return Registration(NOT_SURE, decided.reason, listed, decided.tie, axis)


def _fits_too(chosen: Evidence, first: Evidence) -> bool:
    """Whether a pose is no worse by shape; it may share less where its side was not seen."""
    return chosen.shared > (1.0 - Limits().lead_twin) * first.shared and chosen.against < first.against + 0.02


def _halves_agree(scans: Scans, sign: Sign, pose: Similarity, axis: tuple[Floats, Floats]) -> bool:
    """Whether each half of the moving scan asks for the same turn; more nearly so where the peak is broad."""
    found = [peak_turn(sign.score(half), pose, *axis)[0] for half in halves(scans.moving_part(FINE_POINTS))]
    return angle_between(found[0].rotation, found[1].rotation) < (0.5 if sign.broad else 1.0) * AGREE_DEG
