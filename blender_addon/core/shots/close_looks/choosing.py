"""Where do the close looks of a piece go? To its head where it has one, then to its richest places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...mesh.triangles import TriangleMesh
from ...records import record
from ..subject import Subject
from .crops import worth_of
from .detail_spots import CloseLook, detail_magnification, detail_spots
from .head import find_head
from .head_view import Lens, head_look

APART, OTHER_SIDE_DEG = 0.5, 70.0
"""Least distance from the middle of a head's frame, as a share of that frame's height, of another close look from the same
side."""
OF_PLACES = 0.85
"""Confidence in the choice of a place where there is no head that should have been shown."""


@record
class Proposal:
    """A close look that could be taken: what it shows ('head', 'part' of what has no neck, or 'place'), from where, how sure it
    is the one to take, and the same head from its other side where that was asked for."""

    shows: str
    look: CloseLook
    sure: float
    other: CloseLook | None = None

    def turned(self) -> Proposal:
        """The same from its other side; as it is where there is none."""
        return self if self.other is None else replace(self, look=self.other, other=self.look)


def close_looks(
    subject: Subject, mesh: TriangleMesh, lens: Lens, count: int, *, front_chance: float = 1.0, other_side: bool = False
) -> list[Proposal]:
    """Up to `count` close looks of a piece, the best first.

    mesh: the piece, closed, in mm, beside the subject's points. front_chance: the chance (0 to 1) that -Y is its front; where
    it is below 1 a close look at a head is no surer than that, since from which side a head shows its face follows mostly from
    the front. other_side: find the head's close look from its other side as well; so it is where the front is not sure.
    """
    found: list[Proposal] = []
    worth = worth_of(subject)
    usual = detail_magnification(subject, lens.frame_mm)
    frame = lens.frame_mm[0] / usual, lens.frame_mm[1] / usual
    head = find_head(mesh, subject, worth)
    look = None if head is None else head_look(subject, head, lens, worth)
    if head is not None and look is not None:
        both = other_side or front_chance < 1.0
        other = head_look(subject, head, lens, worth, other_side=True) if both else None
        found.append(Proposal("head" if head.neck else "part", look, min(head.sure, front_chance), other))
    places = detail_spots(
        subject, count + 2 * len(found), reach_mm=0.6 * min(frame), distance_mm=lens.distance(usual), frame=frame, worth=worth
    )
    found += [
        Proposal("place", place, OF_PLACES) for place in places if not any(_alike(proposal, place, frame) for proposal in found)
    ]
    return found[:count]


def _alike(proposal: Proposal, place: CloseLook, frame: tuple[float, float]) -> bool:
    """Whether a place is already shown by the close look at a head."""
    if proposal.shows == "place":
        return False
    turned = abs((place.azimuth_deg - proposal.look.azimuth_deg + 180.0) % 360.0 - 180.0)
    near = float(np.linalg.norm(place.middle - proposal.look.middle)) < APART * min(frame) / proposal.look.grown
    return near and turned < OTHER_SIDE_DEG


def reordered(found: Sequence[Proposal], first: int | None) -> list[Proposal]:
    """The proposals with number `first` (1 is the best) shown before the others; as they are where there is no such number."""
    if first is None or not 1 <= first <= len(found):
        return list(found)
    return [found[first - 1], *(proposal for number, proposal in enumerate(found, 1) if number != first)]
