"""Refines a nearly right pose: point-to-plane iterations with scale, robust against noise and missing parts."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...mesh.similarity import Similarity, rotation_from_vector
from ...statistics import robust_deviation
from .evidence import Nearest
from .surfels import Surfels


def solve_step(points: Floats, normals: Floats, residual: Floats, weights: Floats, *, size: float, scaled: bool) -> Similarity:
    """One Gauss-Newton step of the point-to-plane error (Chen & Medioni 1992), with scale as the seventh unknown.

    points: (n, 3) of the moving scan, posed. normals: (n, 3) of their targets.
    residual: (n,) signed distance to the targets' planes. weights: (n,) of the points.
    size: a length that gives turn and shift a common unit. scaled: whether the scale may change.
    Turn and scale are about the points' weighted mean.
    """
    normal_matrix, weighted, centre = _normal_matrix(points, normals, weights, size=size)
    normal_matrix += 1e-7 * max(float(weights.sum()), 1e-12) * np.eye(len(normal_matrix))
    step = -np.linalg.solve(normal_matrix, weighted.T @ residual)
    scale = 1.0 + float(np.clip(step[6] / size, -0.2, 0.2)) if scaled else 1.0
    rotation = rotation_from_vector(step[:3] / size)
    return Similarity(scale, rotation, centre - scale * rotation @ centre + step[3:6])


def _normal_matrix(
    points: Floats, normals: Floats, weights: Floats, *, size: float, scaled: bool = True
) -> tuple[Floats, Floats, Floats]:
    """J'WJ of the point-to-plane error, J'W transposed (n, 6 or 7), and the centre about which turns and scale are taken."""
    centre = weights @ points / max(float(weights.sum()), 1e-12)
    x, y, z = ((points - centre) / size).T
    u, v, w = normals.T
    columns = [y * w - z * v, z * u - x * w, x * v - y * u, u, v, w]
    if scaled:
        columns.append(x * u + y * v + z * w)
    jacobian = np.stack(columns, axis=1)
    weighted = jacobian * weights[:, None]
    return weighted.T @ jacobian, weighted, centre


def firmness(points: Floats, normals: Floats) -> float:
    """How well a surface holds its weakest freedom (turn, shift, scale): least eigenvalue over the mean (Gelfand 2003).

    0 for a plane, a ball or a round disc, which can slide or turn in themselves. points: (n, 3), normals: (n, 3).
    """
    size = float(np.sqrt(np.mean(((points - points.mean(axis=0)) ** 2).sum(axis=1))))
    matrix, _, _ = _normal_matrix(points, normals, np.ones(len(points)), size=max(size, 1e-300))
    values = np.linalg.eigvalsh(matrix)
    return float(max(values[0], 0.0) / max(values.mean(), 1e-300))


def loose_axis(points: Floats, normals: Floats, *, firm: float) -> tuple[Floats, Floats] | None:
    """The axis (direction, point) about which alone a surface can turn in itself, or None: nothing or more is loose.

    firm: eigenvalues above this share of their mean hold. The unit and frame are those of the points.
    """
    size = float(np.sqrt(np.mean(((points - points.mean(axis=0)) ** 2).sum(axis=1))))
    matrix, _, centre = _normal_matrix(points, normals, np.ones(len(points)), size=max(size, 1e-300))
    values, vectors = np.linalg.eigh(matrix)
    if values[0] >= firm * values.mean() or values[1] < firm * values.mean():
        return None
    turn, shift = vectors[:3, 0], vectors[3:6, 0]
    length = float(np.linalg.norm(turn))
    if length < 0.3:
        return None
    axis = turn / length
    middle = centre + size * np.cross(axis, shift) / length  # a turn about a point off the centre also shifts the centre
    return axis, middle


def refine(
    moving: Surfels,
    fixed: Surfels,
    nearest: Nearest,
    start: Similarity,
    *,
    rounds: int = 30,
    reach: float | None = None,
    tolerance: float = 1e-7,
) -> tuple[Similarity, float, float]:
    """The pose after robust iterations, the RMS of the matched points' distances to their planes, and the share matched.

    moving, fixed: the scans. nearest: the query onto the fixed one. start: the pose to begin with.
    rounds: at most. reach: greatest distance of a pair, in the fixed scan's unit. tolerance: ends when a round moves no point
    by more than this times the size.

    Pairs count where normals agree within 53 degrees and the distance is below 3 times the median (or `reach`); the residuals
    are weighed by Cauchy's function of 2 robust standard deviations.
    """
    size = float(np.linalg.norm(np.ptp(fixed.points, axis=0)))
    pose, rms, matched = start, float("inf"), 0.0
    for _ in range(rounds):
        points, normals = pose.apply(moving.points), pose.turn(moving.normals)
        index, _ = nearest(points)
        target, direction = fixed.points[index], fixed.normals[index]
        offset = points - target
        distance = np.linalg.norm(offset, axis=1)
        agree = np.einsum("ij,ij->i", normals, direction) > 0.6
        agree &= ~fixed.rim[index]
        if agree.sum() < 12:
            return pose, float("inf"), 0.0
        limit = 3.0 * float(np.median(distance[agree])) + 1e-9 * size
        used = agree & (distance < (limit if reach is None else min(limit, reach)))
        if used.sum() < 12:
            return pose, float("inf"), 0.0
        residual = np.einsum("ij,ij->i", offset, direction)[used]
        deviation = robust_deviation(residual, 0.0) + 1e-12 * size
        weights = 1.0 / (1.0 + (residual / (2.0 * deviation)) ** 2)
        step = solve_step(points[used], direction[used], residual, weights, size=size, scaled=True)
        pose = step.after(pose)
        rms, matched = float(np.sqrt(np.mean(residual**2))), float(used.mean())
        moved = np.abs(step.apply(points[used]) - points[used]).max()
        if moved < tolerance * size:
            break
    return pose, rms, matched
