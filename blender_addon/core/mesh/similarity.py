"""Which similarity (rotation, translation, uniform scale) carries points onto points? A closed form, and their algebra."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..records import record


@record
class Similarity:
    """x -> scale * rotation @ x + translation.

    scale: > 0. rotation: (d, d), orthonormal with determinant +1. translation: (d,), in the unit of the target.
    """

    scale: float
    rotation: Floats
    translation: Floats

    @staticmethod
    def identity(dimensions: int = 3) -> Similarity:
        """The similarity that moves nothing."""
        return Similarity(1.0, np.eye(dimensions), np.zeros(dimensions))

    @staticmethod
    def from_matrix(matrix: Floats) -> Similarity:
        """From a homogeneous (d+1, d+1) matrix; ValueError when its linear part is no scaled rotation (to 1e-6)."""
        linear = np.asarray(matrix, float)[:-1, :-1]
        determinant = np.linalg.det(linear)
        if determinant <= 0:
            raise ValueError("the matrix mirrors or flattens, so it is no similarity")
        scale = determinant ** (1.0 / len(linear))
        rotation = linear / scale
        if not np.allclose(rotation @ rotation.T, np.eye(len(linear)), atol=1e-6):
            raise ValueError("the matrix shears or stretches, so it is no similarity")
        return Similarity(float(scale), rotation, np.asarray(matrix, float)[:-1, -1].copy())

    def apply(self, points: Floats) -> Floats:
        """The points (n, d) carried over."""
        return self.scale * np.asarray(points) @ self.rotation.T + self.translation

    def turn(self, directions: Floats) -> Floats:
        """Directions (n, d) turned, neither scaled nor moved."""
        return np.asarray(directions) @ self.rotation.T

    def inverse(self) -> Similarity:
        """The similarity that undoes this one."""
        rotation = self.rotation.T
        return Similarity(1.0 / self.scale, rotation, -(rotation @ self.translation) / self.scale)

    def after(self, first: Similarity) -> Similarity:
        """`first`, then this one."""
        return Similarity(self.scale * first.scale, self.rotation @ first.rotation, self.apply(first.translation[None])[0])

    @property
    def matrix(self) -> Floats:
        """Homogeneous (d+1, d+1) matrix."""
        size = len(self.translation)
        out = np.eye(size + 1)
        out[:size, :size] = self.scale * self.rotation
        out[:size, size] = self.translation
        return out


def fit_similarity(source: Floats, target: Floats, *, weights: Floats | None = None, scaled: bool = True) -> Similarity:
    """The similarity that carries `source` onto `target` with the least (weighted) sum of squares.

    source, target: (n, d) points, n >= d. weights: (n,) >= 0. scaled: solve for the scale too, else it is 1.
    Closed form with the determinant kept at +1 (Umeyama 1991, IEEE PAMI 13(4), 376-380; weights as in Horn 1987).
    Raises ValueError when the points leave the rotation open: fewer than d - 1 independent directions in either set.
    """
    source, target = np.asarray(source, float), np.asarray(target, float)
    if source.shape != target.shape or source.ndim != 2:
        raise ValueError(f"source {source.shape} and target {target.shape} must be equally many points")
    share = np.full(len(source), 1.0 / len(source)) if weights is None else np.asarray(weights, float) / np.sum(weights)
    source_mean, target_mean = share @ source, share @ target
    from_mean, to_mean = source - source_mean, target - target_mean
    covariance = (to_mean * share[:, None]).T @ from_mean
    left, values, right = np.linalg.svd(covariance)
    size = source.shape[1]
    if size > 1 and values[size - 2] <= 1e-12 * max(values[0], 1e-300):
        raise ValueError("the points lie on one line or on one spot, so the turn about it is open")
    signs = np.ones(size)
    if np.linalg.det(left) * np.linalg.det(right) < 0:
        signs[-1] = -1.0
    rotation = (left * signs) @ right
    variance = float(share @ (from_mean**2).sum(axis=1))
    scale = float(values @ signs) / variance if scaled else 1.0
    return Similarity(scale, rotation, target_mean - scale * rotation @ source_mean)


def angle_between(first: Floats, second: Floats) -> float:
    """The angle in degrees of the rotation that leads from one rotation (3, 3) to another; exact for small angles too."""
    turn = np.asarray(first).T @ np.asarray(second)
    sine = 0.5 * np.linalg.norm([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    return float(np.degrees(np.arctan2(sine, 0.5 * (np.trace(turn) - 1.0))))


def rotation_about(axis: str, angle: float | Floats) -> Floats:
    """Rotation matrices (..., 3, 3) about x, y or z by angles (...) in radians, counter-clockwise seen from the axis' tip."""
    cosine, sine = np.cos(angle), np.sin(angle)
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    matrix = np.zeros((*np.shape(angle), 3, 3)) + np.eye(3)
    matrix[..., i, i] = matrix[..., j, j] = cosine
    matrix[..., i, j], matrix[..., j, i] = -sine, sine
    return matrix


def rotation_from_vector(vectors: Floats) -> Floats:
    """Rotation matrices (..., 3, 3) of rotation vectors (..., 3) in radians (Rodrigues' formula)."""
    vectors = np.asarray(vectors, float)
    angle = np.linalg.norm(vectors, axis=-1)[..., None, None]
    cross = np.zeros((*vectors.shape[:-1], 3, 3))
    cross[..., 0, 1], cross[..., 0, 2], cross[..., 1, 2] = -vectors[..., 2], vectors[..., 1], -vectors[..., 0]
    cross[..., 1, 0], cross[..., 2, 0], cross[..., 2, 1] = vectors[..., 2], -vectors[..., 1], vectors[..., 0]
    safe = np.where(angle > 1e-9, angle, 1.0)
    first = np.where(angle > 1e-9, np.sin(safe) / safe, 1.0)
    second = np.where(angle > 1e-9, (1.0 - np.cos(safe)) / safe**2, 0.5)
    return np.eye(3) + first * cross + second * (cross @ cross)
