"""Many similarities at once, as arrays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.similarity import Similarity
from ...records import record


@record
class Poses:
    """b similarities: scale (b,), rotation (b, 3, 3), translation (b, 3)."""

    scale: Floats
    rotation: Floats
    translation: Floats

    def __len__(self) -> int:
        return len(self.scale)

    def __getitem__(self, which: Ints | list[int]) -> Poses:
        return Poses(self.scale[which], self.rotation[which], self.translation[which])

    def single(self, place: int) -> Similarity:
        """One of them, as a Similarity in double precision with the rotation made orthonormal."""
        left, _, right = np.linalg.svd(self.rotation[place].astype(float))
        return Similarity(float(self.scale[place]), left @ right, self.translation[place].astype(float))

    @staticmethod
    def of(parts: Sequence[Similarity]) -> Poses:
        """Similarities as arrays."""
        return Poses(
            np.array([part.scale for part in parts], float),
            np.array([part.rotation for part in parts], float).reshape(-1, 3, 3),
            np.array([part.translation for part in parts], float).reshape(-1, 3),
        )

    @staticmethod
    def joined(parts: Sequence[Poses]) -> Poses:
        """Several sets as one."""
        return Poses(
            np.concatenate([part.scale for part in parts]),
            np.concatenate([part.rotation for part in parts]),
            np.concatenate([part.translation for part in parts]),
        )

    def anchored(self, source: Floats, target: Floats) -> Poses:
        """The same turns and scales with translations that carry `source` (b, 3) or (3,) onto `target`."""
        source = np.broadcast_to(source, (len(self), 3))
        moved = self.scale[:, None] * np.einsum("bij,bj->bi", self.rotation, source)
        return Poses(self.scale, self.rotation, np.broadcast_to(target, (len(self), 3)) - moved)


def distinct(
    poses: Poses, order: Ints, *, centre: Floats, size: float, limit: int, nearer: float = 0.06, a_turn: int | None = None
) -> list[int]:
    """The first `limit` of `order` that differ: from each earlier one by more than `nearer` times the size somewhere.

    a_turn: how many may share a rotation (within 5 degrees), so that shifted ones of a likely turn don't crowd out other turns.

    centre, size: of the moving points. How far two poses carry a point apart is measured at six points round the centre, half
    the size away, and relative to the scaled size.
    """
    probes = centre + 0.5 * size * np.concatenate([np.eye(3), -np.eye(3)])
    spots = poses.scale[:, None, None] * np.einsum("bij,kj->bki", poses.rotation, probes) + poses.translation[:, None]
    kept: list[int] = []
    for place in order:
        apart = [
            np.linalg.norm(spots[place] - spots[k], axis=1).max() / (size * max(poses.scale[place], poses.scale[k]))
            for k in kept
        ]
        if a_turn is not None:
            traces = np.einsum("kij,ij->k", poses.rotation[kept], poses.rotation[place])
            if (traces > 1.0 + 2.0 * np.cos(np.radians(5.0))).sum() >= a_turn:
                continue
        if all(far > nearer for far in apart):
            kept.append(int(place))
            if len(kept) == limit:
                break
    return kept
