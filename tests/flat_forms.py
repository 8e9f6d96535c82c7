"""Flat things by formula: tables and slabs with nothing on them, and pieces that are flat themselves. z up, mm.

Each is the height of an upper face over a plan, alone as it is seen from above, or with walls and an underside.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from blender_addon.core.mesh.topology import rim_edges, submesh
from blender_addon.core.mesh.triangles import TriangleMesh

from .scan_shapes import grid_faces

Rng = np.random.Generator
CELLS = 110
NOISE_MM = 0.1
"""Spread of a phone scan's vertices (common practice: 0.1 to 0.3 mm on a piece of this size; these are 60 to 400 mm)."""


def plate(
    rng: Rng, half: tuple[float, float], height: Callable[[Any, Any], Any], *, inside: Callable[[Any, Any], Any] | None = None,
    thick: float = 0.0, bottom: bool = True,
) -> TriangleMesh:  # fmt: skip
    """An upper face over a rectangle of half sides `half` where `inside` holds, its height in mm; `thick` mm of walls below it,
    with an underside or open."""
    x, y = np.meshgrid(np.linspace(-half[0], half[0], CELLS), np.linspace(-half[1], half[1], CELLS), indexing="ij")
    faces, _ = grid_faces(CELLS, CELLS)
    top = np.stack([x, y, height(x, y) + thick], -1).reshape(-1, 3)
    mesh = TriangleMesh(top, faces[:, ::-1])  # looking up
    if inside is not None:
        mesh = submesh(mesh, inside(x, y).ravel()[faces].all(axis=1))
    if thick:
        mesh = _with_walls(mesh, bottom=bottom)
    return TriangleMesh(mesh.vertices + rng.normal(0.0, NOISE_MM, mesh.vertices.shape), mesh.faces)


def _with_walls(mesh: TriangleMesh, *, bottom: bool) -> TriangleMesh:
    """Walls from the rim down to z = 0 in five rows, and the upper face once more, level, as the underside."""
    edges, _ = rim_edges(mesh.faces, len(mesh.vertices))
    count, rows = len(mesh.vertices), 5
    levels = [mesh.vertices * [1, 1, 1 - row / rows] for row in range(rows + 1)]
    a, b = edges.T
    walls = []
    for row in range(rows):
        p, q, r, s = a + row * count, b + row * count, b + (row + 1) * count, a + (row + 1) * count
        walls += [np.stack([q, p, s], 1), np.stack([q, s, r], 1)]
    under = [mesh.faces[:, ::-1] + rows * count] if bottom else []
    whole = TriangleMesh(np.concatenate(levels), np.concatenate([mesh.faces, *walls, *under]))
    return submesh(whole, np.ones(len(whole.faces), bool))


def disc(radius: float) -> Callable[[Any, Any], Any]:
    """Which places lie in a circle."""
    return lambda x, y: np.hypot(x, y) < radius


def bumps(
    rng: Rng, count: int, reach: float, height: tuple[float, float], size: tuple[float, float]
) -> Callable[[Any, Any], Any]:
    """Round mounds (negative heights: pits) of chance heights and radii, in mm, within `reach` of the middle."""
    rows = [(*rng.uniform(-reach, reach, 2), rng.uniform(*height), rng.uniform(*size)) for _ in range(count)]

    def of(x: Any, y: Any) -> Any:
        return sum((h * np.maximum(1.0 - ((x - cx) ** 2 + (y - cy) ** 2) / r**2, 0.0) ** 0.5 for cx, cy, h, r in rows), 0.0 * x)

    return of


def waves(rng: Rng, amount: float, length: float) -> Callable[[Any, Any], Any]:
    """A sum of twelve waves of chance directions: standard deviation `amount`, wavelengths about `length`, mm."""
    angle, phase = rng.uniform(0, 2 * np.pi, 12), rng.uniform(0, 2 * np.pi, 12)
    k = 2 * np.pi / (length * rng.uniform(0.6, 1.6, 12))

    def of(x: Any, y: Any) -> Any:
        parts = [np.sin(f * (x * np.cos(a) + y * np.sin(a)) + p) for a, p, f in zip(angle, phase, k, strict=True)]
        return amount * np.sqrt(2 / 12) * sum(parts)

    return of


def bare_tables(seed: int) -> dict[str, TriangleMesh]:
    """Tables and slabs without a piece."""
    rng = np.random.default_rng([seed, 1])
    a, b = rng.uniform(90, 200), rng.uniform(70, 150)
    small = min(a, b)
    level = lambda x, y: 0.0 * x  # noqa: E731
    crumbs = bumps(rng, int(rng.integers(4, 15)), 0.85 * small, (1.0, 5.0), (2.0, 7.0))
    clutter = bumps(rng, int(rng.integers(3, 7)), 0.8 * small, (6.0, 0.15 * small), (5.0, 0.13 * small))
    ragged = waves(rng, 0.06, 1.3)
    return {
        "sheet": plate(rng, (a, b), level),
        "bumpy sheet": plate(rng, (a, b), waves(rng, rng.uniform(0.2, 0.003 * small), rng.uniform(12, 60))),
        "bowed sheet": plate(rng, (a, b), lambda x, y: 0.006 * small * (x / a) ** 2),
        "ragged sheet": plate(
            rng, (a, b), level, inside=lambda x, y: np.hypot(x / a, y / b) < 0.85 + ragged(np.arctan2(y, x), 0 * x)
        ),
        "slab": plate(rng, (a, b), level, thick=rng.uniform(8, 0.4 * small)),
        "slab without its underside": plate(rng, (a, b), level, thick=rng.uniform(8, 0.4 * small), bottom=False),
        "round slab": plate(rng, (a, a), level, inside=disc(0.95 * a), thick=rng.uniform(6, 0.3 * a)),
        "sheet with crumbs": plate(rng, (a, b), crumbs),
        "slab with crumbs": plate(rng, (a, b), crumbs, thick=rng.uniform(8, 0.3 * small)),
        "sheet with clutter": plate(rng, (a, b), clutter),
    }


def flat_pieces(seed: int) -> dict[str, TriangleMesh]:
    """Pieces that are flat: each has more on it than a table."""
    rng = np.random.default_rng([seed, 2])
    a, b = rng.uniform(40, 90), rng.uniform(40, 90)
    small = min(a, b)
    figure = bumps(rng, 9, 0.45 * small, (0.04 * small, 0.1 * small), (0.15 * small, 0.4 * small))
    petals = int(rng.integers(5, 9))

    def flower(x: Any, y: Any) -> Any:
        r, t = np.hypot(x, y) / small, np.arctan2(y, x)
        return 0.035 * small * np.clip(4 * (0.35 + 0.3 * np.abs(np.cos(petals * t / 2)) - r), 0.0, 1.0)

    def coin(x: Any, y: Any) -> Any:
        r = np.hypot(x, y) / 20.0
        head = np.maximum(1.0 - ((x + 1) / 8) ** 2 - ((y - 1) / 10) ** 2, 0.0) ** 0.5 + 0.2 * waves_fine(x, y) * (r < 0.5)
        return 0.9 * head + 0.5 * (r > 0.86)

    waves_fine = waves(rng, 0.5, 4.0)
    strokes = [(rng.uniform(-0.8, 0.8), rng.uniform(-0.8, 0.8), rng.uniform(0, np.pi)) for _ in range(40)]

    def letters(x: Any, y: Any) -> Any:
        deep = 0.0 * x
        for cx, cy, t in strokes:
            u = (x - cx * a) * np.cos(t) + (y - cy * b) * np.sin(t)
            v = -(x - cx * a) * np.sin(t) + (y - cy * b) * np.cos(t)
            deep = np.maximum(deep, np.clip(1.0 - np.abs(v) / 2.0, 0.0, 1.0) * (np.abs(u) < 6.0))
        return -1.8 * deep

    def spiral(x: Any, y: Any) -> Any:
        r, t = np.hypot(x, y) / small, np.arctan2(y, x)
        return 0.05 * small * np.maximum(np.sin(18 * r - t), 0.0) * (r < 0.75)

    fish = lambda x, y: (np.hypot(x / (0.7 * a), y / (0.5 * b)) < 1) | ((x > 0.5 * a) & (np.abs(y) < 0.9 * (x - 0.4 * a)))  # noqa: E731
    rim = lambda x, y: 0.12 * a * np.clip((np.hypot(x, y) / a - 0.65) / 0.2, 0, 1)  # noqa: E731
    bowl = lambda deep: lambda x, y: deep * (np.hypot(x, y) / a) ** 2  # noqa: E731
    return {
        "plaque from the front": plate(rng, (a, b), figure),
        "plaque": plate(rng, (a, b), figure, thick=rng.uniform(5, 12)),
        "frieze all over": plate(rng, (a, b), waves(rng, 0.02 * small, 0.4 * small)),
        "coin": plate(rng, (20.0, 20.0), coin, inside=disc(19.5), thick=2.5),
        "tile with a flower": plate(rng, (small, small), flower, thick=rng.uniform(5, 12)),
        "tile with a flower from the front": plate(rng, (small, small), flower),
        "low bowl": plate(rng, (a, a), bowl(rng.uniform(0.15, 0.4) * a), inside=disc(0.95 * a)),
        "low bowl with its underside": plate(rng, (a, a), bowl(rng.uniform(0.15, 0.4) * a), inside=disc(0.95 * a), thick=6.0),
        "plate with a rim": plate(rng, (a, a), rim, inside=disc(0.95 * a), thick=5.0),
        "inscription": plate(rng, (a, b), letters, thick=rng.uniform(8, 15)),
        "fossil": plate(rng, (a, b), spiral, thick=rng.uniform(8, 15)),
        "flat fish": plate(rng, (a, b), lambda x, y: 0.0 * x, inside=fish, thick=6.0),
        "domed medallion": plate(
            rng, (a, a), lambda x, y: 0.06 * a * (1 - (np.hypot(x, y) / a) ** 2), inside=disc(0.95 * a), thick=4.0
        ),
    }
