"""Refines hundreds of poses at once: trimmed point-to-plane iterations on whole arrays, and the score of each pose."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.similarity import rotation_from_vector
from ...records import record
from .grid import ClosestGrid
from .poses import Poses
from .surfels import Surfels

SCALE_RANGE = (0.72, 1.39)
"""Range of a pose's scale over its starting scale: without a bound it collapses onto a flat patch."""


@record
class Target:
    """What is aligned to: surfels in single precision and their grid."""

    points: Floats
    normals: Floats
    rim: Ints
    grid: ClosestGrid
    size: float

    @staticmethod
    def of(surfels: Surfels, *, cells: int = 48) -> Target:
        """From surfels."""
        points, normals = surfels.points.astype(np.float32), surfels.normals.astype(np.float32)
        return Target(points, normals, surfels.rim, ClosestGrid(surfels.points, cells=cells), surfels.size)


def improved(
    moving: Surfels, target: Target, poses: Poses, *, rounds: int, size: float, trim: float, hold_scale: int = 0
) -> Poses:
    """The poses after trimmed, normal-compatible point-to-plane steps (Chen & Medioni 1992; Chetverikov 2002).

    moving: the scan whose b poses are refined. target: the scan that it is aligned to.
    rounds: number of steps. trim: share of the points that counts in each pose.
    size: a length in the target's unit from which the reach starts, shrinking round by round.
    hold_scale: rounds before the scale is freed.
    """
    points, normals = moving.points.astype(np.float32), moving.normals.astype(np.float32)
    scale, rotation, translation = (part.astype(np.float32) for part in (poses.scale, poses.rotation, poses.translation))
    low, high = scale * SCALE_RANGE[0], scale * SCALE_RANGE[1]
    kept = max(int(trim * len(points)), 8)
    for turn in range(rounds):
        reach = size * (0.25 * 0.82**turn + 0.03)
        spots = scale[:, None, None] * (points[None] @ rotation.transpose(0, 2, 1)) + translation[:, None]
        facing = normals[None] @ rotation.transpose(0, 2, 1)
        index = target.grid.nearest(spots)
        to, direction = target.points[index], target.normals[index]
        offset = spots - to
        residual = np.einsum("bni,bni->bn", offset, direction)
        square = np.einsum("bni,bni->bn", offset, offset)
        square[(np.einsum("bni,bni->bn", facing, direction) < 0.5) | target.rim[index]] = np.float32(1e12)
        limit = np.minimum(np.partition(square, kept - 1, axis=1)[:, kept - 1], reach * reach)
        weights = (square <= limit[:, None]).astype(np.float32)
        step = _step(spots, direction, residual, weights, size, scaled=turn >= hold_scale)
        grow, turned, centre, shift = step
        grow = np.clip(scale * grow, low, high) / scale
        rotation = turned @ rotation
        translation = grow[:, None] * np.einsum("bij,bj->bi", turned, translation - centre) + centre + shift
        scale = scale * grow
    return Poses(scale, rotation, translation)


def _step(
    spots: Floats, direction: Floats, residual: Floats, weights: Floats, size: float, *, scaled: bool
) -> tuple[Floats, Floats, Floats, Floats]:
    """One Gauss-Newton step a pose: growth (b,), turn (b, 3, 3) about the centre (b, 3), and shift (b, 3)."""
    total = np.maximum(weights.sum(axis=1), 1.0)
    centre = np.einsum("bn,bni->bi", weights, spots) / total[:, None]
    arm = (spots - centre[:, None]) * np.float32(2.0 / size)
    jacobian = np.zeros((*residual.shape, 7 if scaled else 6), np.float32)
    for axis in range(3):
        first, second = (axis + 1) % 3, (axis + 2) % 3
        jacobian[..., axis] = arm[..., first] * direction[..., second] - arm[..., second] * direction[..., first]
    jacobian[..., 3:6] = direction
    if scaled:
        jacobian[..., 6] = np.einsum("bni,bni->bn", arm, direction)
    weighted = jacobian * weights[..., None]
    matrix = (weighted.transpose(0, 2, 1) @ jacobian).astype(float)
    matrix += (2e-4 * total)[:, None, None] * np.eye(matrix.shape[-1])
    right = np.einsum("bnk,bn->bk", weighted, residual).astype(float)
    step = -np.linalg.solve(matrix, right[..., None])[..., 0].astype(np.float32)
    arm_size = np.float32(size / 2.0)
    grow = 1.0 + np.clip(step[:, 6] / arm_size, -0.15, 0.15) if scaled else np.ones(len(step), np.float32)
    turned = rotation_from_vector(step[:, :3] / arm_size).astype(np.float32)
    return grow.astype(np.float32), turned, centre, step[:, 3:6]


def scores(
    moving: Surfels, fixed: Surfels, target: Target, back: Target, poses: Poses, *, reach: float, partial: bool
) -> Floats:
    """(b,) the overlap of two surfaces in each of b poses, less the share that lies in space that the other scan saw to be
    empty.

    moving, fixed: the scans. target, back: grids onto the fixed and onto the moving one. poses: of the moving scan.
    reach: how near counts as overlap, in the target's unit. partial: as in `evidence.Inside`.

    Twice the shared area over the sum of both (Dice 1945), counted both ways, so that neither shrinking into a flat patch nor
    covering only a corner pays.
    """
    there, free = _shares(moving, target, poses, np.full(len(poses), reach), outside=True, inside=not partial)
    scale = poses.scale.astype(np.float32)
    rotation = poses.rotation.astype(np.float32)
    inverse = Poses(
        1.0 / scale, rotation.transpose(0, 2, 1), -np.einsum("bji,bj->bi", rotation, poses.translation) / scale[:, None]
    )
    hither, free_back = _shares(fixed, back, inverse, reach / scale, outside=not partial, inside=True)
    moving_area, fixed_area = moving.area * scale**2, fixed.area
    return ((there - free) * moving_area + (hither - free_back) * fixed_area) / (moving_area + fixed_area)


def _shares(
    moving: Surfels, target: Target, poses: Poses, reach: Floats, *, outside: bool, inside: bool
) -> tuple[Floats, Floats]:
    """(b,) share of the moving points within reach (b,) of the target, facing the same way; and share that speaks against."""
    points, normals = moving.points.astype(np.float32), moving.normals.astype(np.float32)
    turn = poses.rotation.astype(np.float32).transpose(0, 2, 1)
    spots = (
        poses.scale.astype(np.float32)[:, None, None] * (points[None] @ turn) + poses.translation.astype(np.float32)[:, None]
    )
    index = target.grid.nearest(spots)
    direction = target.normals[index]
    offset = spots - target.points[index]
    across = np.einsum("bni,bni->bn", offset, direction)
    square = np.einsum("bni,bni->bn", offset, offset)
    agree = np.einsum("bni,bni->bn", normals[None] @ turn, direction) > 0.5
    reach = reach.astype(np.float32)[:, None]
    wide = np.maximum(reach, 2.0 * np.float32(target.grid.cell))  # along the surface the grid is no finer than its cells
    seen = ~target.rim[index]
    on = (np.abs(across) < reach) & (square < wide * wide) & agree & seen
    wrong = np.zeros_like(on)
    if outside:
        wrong |= across > wide
    if inside:
        wrong |= across < -wide
    return on.mean(axis=1), (wrong & ~on & seen).mean(axis=1)
