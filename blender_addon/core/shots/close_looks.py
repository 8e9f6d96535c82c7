"""Where do the close looks of a piece go? To its head where it has one, then to its richest places; in the order they are shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .detail_spots import CloseLook, detail_magnification, detail_spots
from .head import Head
from .head_view import Lens, head_look
from .subject import Subject

APART = 0.8
"""How far from a head's middle, over the frame's height, another close look stays at the least."""
OF_PLACES = 0.85
"""How sure the choice of a place is where there is no head to be missed."""


@dataclass(frozen=True)
class Proposal:
    """A close look that could be taken: what it shows ('head' or 'place'), from where, and how sure it is the one to take."""

    shows: str
    look: CloseLook
    sure: float


def close_looks(subject: Subject, head: Head | None, lens: Lens, count: int) -> list[Proposal]:
    """Up to `count` close looks, the best first."""
    found: list[Proposal] = []
    usual = detail_magnification(subject, lens.frame_mm)
    frame = lens.frame_mm[0] / usual, lens.frame_mm[1] / usual
    if head is not None:
        found.append(Proposal("head", head_look(subject, head, lens), head.sure))
    places = detail_spots(
        subject, count + len(found), reach_mm=0.6 * min(frame), distance_mm=lens.distance(usual), frame=frame
    )
    for place in places:
        beside = all(
            np.linalg.norm(place.middle - other.look.middle) > APART * min(frame) for other in found if other.shows == "head"
        )
        if beside:
            found.append(Proposal("place", place, OF_PLACES))
    return found[:count]


def reordered(found: Sequence[Proposal], first: int | None) -> list[Proposal]:
    """The proposals with number `first` (1 is the best) shown before the others; as they are where there is no such number."""
    if first is None or not 1 <= first <= len(found):
        return list(found)
    return [found[first - 1], *(one for number, one in enumerate(found, 1) if number != first)]
