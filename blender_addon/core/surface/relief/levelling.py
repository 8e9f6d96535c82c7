"""Brings the log shading of all patches to one level, as the exposures of a stitched panorama are.

Shading is read patch by patch up to a constant. Where patches overlap they show the same surface, so that their levels follow
from each other.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...arrays import Floats, Ints
from ...records import record
from ...threads import in_parallel
from ..patches import Cloud, Patches


@record
class LevellingConstants:
    """Numbers of bringing patches to one level."""

    rounds: int = 60
    """Rounds of the relaxation (a guess)."""
    held: float = 0.02
    """Part by which a level shrinks towards 0 each round: variation broader than a few patches belongs to the fitted light (a
    guess)."""


LEVELLING = LevellingConstants()


def levels(patches: Patches, cloud: Cloud, shade: Floats) -> Floats:
    """(p,) float32 to add to each patch's log shading (p, cells, cells), so that those that overlap agree.

    cloud: some of the surface's texels, a few hundred a patch.
    """
    read = list(in_parallel(_reader(patches, cloud, shade), patches.runs()))
    patch, texel, seen, weight = (np.concatenate(part) for part in zip(*read, strict=True))
    count, size = len(patches), len(cloud.order)
    whole = np.maximum(np.bincount(texel, weight, size), 1e-9)
    total = np.maximum(np.bincount(patch, weight, count), 1e-9)
    own = np.bincount(patch, weight * seen, count) / total
    mean = np.bincount(texel, weight * seen, size) / whole
    level = np.zeros(count)
    for _ in range(LEVELLING.rounds):
        joint = mean + np.bincount(texel, weight * level[patch], size) / whole
        level = (1 - LEVELLING.held) * (np.bincount(patch, weight * joint[texel], count) / total - own)
    return level.astype(np.float32)


def _reader(patches: Patches, cloud: Cloud, shade: Floats) -> Callable[[tuple[int, int]], tuple[Ints, Ints, Floats, Floats]]:
    def read(ends: tuple[int, int]) -> tuple[Ints, Ints, Floats, Floats]:
        """Patch, texel, shading and weight of every texel in the core of each patch of a run."""
        members = patches.members(cloud, *ends)
        core = np.flatnonzero(members.weight > 1e-4)
        patch = members.patch[core] + ends[0]
        seen = shade[patch, members.y[core].astype(np.int32), members.x[core].astype(np.int32)]
        return patch, members.texel[core], seen.astype(np.float32), members.weight[core]

    return read
