"""The lumps of a scan's own form, as a field over its surface that every photo of the piece sees.

A scan rounds off what is sharp and bulges where it was noisy, over millimetres: neighbouring patches are off together, and a
camera that is solved for as if each were off by itself takes a lump for another distance. The field is the height of the true
surface over the scan's along its normal, at the nodes of a grid in space, linear between them; a node's height is normal with
a deviation that is estimated beside it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats, Ints
from ...records import record

NODES = 24
"""Nodes along the piece's diagonal: 4 mm apart on our bench's owl. The correlation of two patches' errors falls there from 0.2
at 3 mm to 0.1 at 10."""
_CORNERS = np.array([[number & 1, number >> 1 & 1, number >> 2 & 1] for number in range(8)])
_STRIDES = np.array([1, 1 << 20, 1 << 40])
"""What makes one number of a node's three: a million nodes along each axis at the most."""


@record
class Field:
    """Points' shares in the nodes. index: for each photo (n, 8) nodes. share: (n, 8) of their heights. count: of all nodes."""

    index: list[Ints]
    share: list[Floats]
    count: int


def field_of(points: Sequence[Floats], step: float) -> Field:
    """The field at several photos' points (n, 3) mm, its nodes `step` mm apart; only those that some point shares in."""
    low = np.min([part.min(axis=0) for part in points], axis=0)
    named, share = [], []
    for part in points:
        at = (part - low) / step
        cell = np.floor(at).astype(np.int64)
        rest = (at - cell)[:, None, :]
        named.append((cell[:, None, :] + _CORNERS) @ _STRIDES)
        share.append(np.prod(np.where(_CORNERS == 1, rest, 1.0 - rest), axis=2))
    nodes, inverse = np.unique(np.concatenate([part.ravel() for part in named]), return_inverse=True)
    ends = np.cumsum([part.size for part in named])[:-1]
    index = [part.reshape(-1, 8) for part in np.split(inverse.ravel(), ends)]
    return Field(index, share, len(nodes))
