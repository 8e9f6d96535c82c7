"""What a macro lens would find on a bench shape: its part in view on finer triangles, with strokes of 0.08 to 0.3 mm."""

from __future__ import annotations

from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import edges, vertex_normals
from scripts.truth.modelling.fields import Noise
from scripts.truth.pieces.shape import Shape

Floats = Any
FINER = 3
"""Halvings from which on the strokes are joined by finer ones."""


def refined(truth: Shape, centre: Floats, reach: float, *, depth: float = 1.0, halvings: int = 2, seed: int = 3) -> Shape:
    """The part of the truth within `reach` mm of `centre` on finer triangles, with fine strokes; beyond, the truth as it is.

    depth: factor on the strokes' depth; 0 leaves the part plain. halvings: of the truth's edges of 0.1 to 0.15 mm. The two
    parts overlap by a rim so that no gap shows.
    """
    near = np.linalg.norm(truth.vertices - centre, axis=1) < reach
    inside = near[truth.faces].all(axis=1)
    used, faces = np.unique(truth.faces[inside], return_inverse=True)
    vertices, albedo, faces = truth.vertices[used], truth.albedo[used], faces.reshape(-1, 3)
    for _ in range(halvings):
        vertices, albedo, faces = _halved(vertices, albedo, faces)
    vertices = _smoothed(vertices, faces, rounds=6)
    fade = np.clip((reach - np.linalg.norm(vertices - centre, axis=1)) / (0.1 * reach), 0, 1)
    height = depth * fade * (strokes(vertices, seed) + (scratches(vertices, seed) if halvings >= FINER else 0.0))
    vertices = vertices + height[:, None] * vertex_normals(vertices, faces)
    rest = truth.faces[~inside]
    return Shape(
        truth.name,
        np.concatenate([vertices, truth.vertices]),
        np.concatenate([faces, rest + len(vertices)]),
        np.concatenate([albedo * speckled(vertices, seed)[:, None], truth.albedo]),
    )


def strokes(points: Floats, seed: int) -> Floats:
    """(n,) mm height of fine scraping along two ways and of grain, some 0.01 mm deep and 0.08 to 0.3 mm across."""
    total = np.zeros(len(points))
    for number, (turn, across, along) in enumerate(((0.5, 0.16, 1.8), (-0.7, 0.26, 2.6), (1.3, 0.10, 1.0))):
        rotation = np.array([[np.cos(turn), 0, -np.sin(turn)], [0, 1, 0], [np.sin(turn), 0, np.cos(turn)]])
        local = points @ rotation.T / (across, across, along)
        amount = np.clip(0.5 + 0.8 * Noise(seed + 10 + number)(points, 2.2), 0, 1)
        total += 0.032 * across * amount * Noise(seed + number)(local, 1.6)
    return total + 0.0016 * Noise(seed + 20)(points, 0.11)


def scratches(points: Floats, seed: int) -> Floats:
    """(n,) mm height of what only a macro lens sees: scratches 0.03 to 0.06 mm across and grain of 0.05 mm."""
    total = 0.0008 * Noise(seed + 40)(points, 0.05)
    for number, (turn, across) in enumerate(((0.9, 0.030), (-0.2, 0.045))):
        rotation = np.array([[np.cos(turn), 0, -np.sin(turn)], [0, 1, 0], [np.sin(turn), 0, np.cos(turn)]])
        local = points @ rotation.T / (across, across, 12.0 * across)
        total += 0.03 * across * Noise(seed + 41 + number)(local, 1.6)
    return total


def speckled(points: Floats, seed: int) -> Floats:
    """(n,) factor on the albedo: a body that is uneven by 5 % at 1 mm and 4 % at 0.2 mm."""
    return 1.0 + 0.05 * Noise(seed + 30)(points, 1.0, octaves=2) + 0.04 * Noise(seed + 31)(points, 0.2)


def _halved(vertices: Floats, albedo: Floats, faces: Floats) -> tuple[Floats, Floats, Floats]:
    pairs, _ = edges(faces)
    stride = len(vertices)
    keys = pairs[:, 0] * stride + pairs[:, 1]

    def middle(a: int, b: int) -> Floats:
        low, high = np.minimum(faces[:, a], faces[:, b]), np.maximum(faces[:, a], faces[:, b])
        return stride + np.searchsorted(keys, low.astype(np.int64) * stride + high)

    ab, bc, ca = middle(0, 1), middle(1, 2), middle(2, 0)
    a, b, c = faces.T
    new = np.concatenate([np.stack(corners, axis=1) for corners in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    grown = (np.concatenate([values, values[pairs].mean(axis=1)]) for values in (vertices, albedo))
    return *grown, new  # type: ignore[return-value]


def _smoothed(vertices: Floats, faces: Floats, rounds: int) -> Floats:
    """The vertices eased to their neighbours' mean, so that the coarser triangles' edges don't show; the rim stays."""
    pairs, shared = edges(faces)
    fixed = np.zeros(len(vertices), bool)
    fixed[pairs[shared == 1].ravel()] = True
    count = np.maximum(np.bincount(pairs.ravel(), minlength=len(vertices)), 1)
    for _ in range(rounds):
        total = np.zeros_like(vertices)
        for axis in range(3):
            total[:, axis] = np.bincount(pairs[:, 0], vertices[pairs[:, 1], axis], len(vertices))
            total[:, axis] += np.bincount(pairs[:, 1], vertices[pairs[:, 0], axis], len(vertices))
        eased = 0.5 * vertices + 0.5 * total / count[:, None]
        vertices = np.where(fixed[:, None], vertices, eased)
    return vertices
