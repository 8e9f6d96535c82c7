"""Vessels and other things of a modeller's bench. Lengths in mm."""

from __future__ import annotations

import numpy as np

from ...mesh.solids import ball, circle, cut_flat, framed_tube, lathe, rounded_rectangle, slab
from ...mesh.triangles import Floats, TriangleMesh, unit
from ...noise import layered, noise
from .prop import Prop, assembled, profile


def jar(rng: np.random.Generator) -> Prop:
    """A small glazed jar, thrown and so not perfectly round, its foot left bare."""
    height, belly = rng.uniform(52, 84), rng.uniform(26, 38)
    foot, mouth, wall = 0.72 * belly, rng.uniform(0.7, 0.92) * belly, rng.uniform(2.6, 3.6)
    outside = profile([
        (foot - 1.5, 0.0), (foot, 0.8), (0.93 * belly, 0.22 * height), (belly, rng.uniform(0.45, 0.6) * height),
        (0.94 * belly, 0.8 * height), (mouth, 0.93 * height), (mouth + 1.2, height - 1.2), (mouth + 0.4, height),
    ])  # fmt: skip
    inside = profile([
        (mouth - 1.6, height - 0.8), (mouth - wall, 0.92 * height), (0.92 * belly - wall, 0.75 * height),
        (belly - wall, 0.5 * height),
        (foot - wall, 5.5), (0.0, 4.6),
    ])  # fmt: skip
    ring = np.array([[0.0, 0.9], [foot - 5.0, 0.9], [foot - 4.0, 0.0]])
    whole = lathe(np.concatenate([ring, outside, inside]), sides=72)
    points = np.asarray(whole.vertices, float).copy()
    angle = np.arctan2(points[:, 1], points[:, 0])
    out = 1 + 0.008 * np.sin(2 * angle + 1.0) + 0.004 * noise(points[:, 2] / 3.2, 0.3, seed=int(rng.integers(999)))
    points[:, :2] *= out[:, None]
    bare = points[whole.faces][:, :, 2].max(axis=1) < 0.14 * height
    bare &= np.linalg.norm(points[whole.faces][:, :, :2].mean(axis=1), axis=1) > 0.4 * foot
    glaze = str(rng.choice(["celadon glaze", "blue glaze", "brown glaze", "white glaze"]))
    parts = [(TriangleMesh(points, whole.faces[~bare]), glaze)]
    if bare.any():
        parts.append((TriangleMesh(points, whole.faces[bare]), "stoneware"))
    return assembled("jar", parts)


def sponge(rng: np.random.Generator) -> Prop:
    """A worn sponge, pulled out of shape, full of holes."""
    size = np.array([rng.uniform(30, 40), rng.uniform(22, 30), rng.uniform(12, 18)])
    mesh = ball(6)
    p = np.sign(mesh.vertices) * np.abs(mesh.vertices) ** 0.72  # squarer than a ball
    p = p / np.abs(p).max() * size
    low = noise(p[:, 0] / 19, p[:, 1] / 17 + p[:, 2] / 15, seed=int(rng.integers(999)))
    p = p + unit(p) * 2.6 * low[:, None]
    seed = int(rng.integers(999))
    # holes of a few sizes: where two unlike fields are both low
    for scale, depth in ((3.4, 2.6), (1.7, 1.1)):
        a = noise(p[:, 0] / scale + 0.31 * p[:, 2] / scale, p[:, 1] / scale, seed=seed)
        b = noise(p[:, 2] / scale, (p[:, 0] - p[:, 1]) / scale, seed=seed + 7)
        hole = np.clip(-(a + b) - 0.05, 0, 0.7) / 0.7
        p = p - unit(p) * (depth * hole**0.6)[:, None]
        seed += 31
    mesh = cut_flat(TriangleMesh(p, mesh.faces), np.array([0.0, 0.0, -1.0]), 0.72 * size[2])
    return assembled("sponge", [(mesh, "sponge")])


def string(rng: np.random.Generator) -> Prop:
    """A small hank of twisted string with a loose end."""
    inner, thick, turns = rng.uniform(15, 22), rng.uniform(1.5, 2.2), int(rng.integers(6, 10))
    steps = 44 * turns
    s = np.linspace(0, 1, steps)
    angle = 2 * np.pi * turns * s
    layer = np.floor(turns * s)
    radius = inner + (layer % 4) * thick * 0.98 + 0.8 * noise(angle / 2.2, 0.4, seed=int(rng.integers(999)))
    z = (
        thick / 2
        + np.floor(layer / 4) * thick * 0.86
        + 0.25 * thick * (1 + noise(angle / 1.7, 3.1, seed=int(rng.integers(999))))
    )
    path = np.column_stack([radius * np.cos(angle), 0.9 * radius * np.sin(angle), z])
    away = np.linspace(0, 1, 40)[1:, None]
    ahead = unit(path[-1] - path[-2])
    side = np.array([ahead[1], -ahead[0], 0.0])
    swing = rng.uniform(-1, 1)
    end = path[-1] + 48 * away * ahead + 20 * (swing * away**2 + 0.25 * np.sin(5 * away)) * side
    end[:, 2] = np.maximum(path[-1, 2] * (1 - 2.5 * away[:, 0]) + thick / 2 * 2.5 * away[:, 0], thick / 2)
    end[away[:, 0] > 0.4, 2] = thick / 2
    return assembled("string", [(_twisted(np.concatenate([path, end]), thick), "string")])


def _twisted(path: Floats, thick: float) -> TriangleMesh:
    """Two plies wound round each other along a path."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    place = np.arange(0.0, length[-1], 0.42 * thick)
    path = np.stack([np.interp(place, length, path[:, axis]) for axis in range(3)], axis=1)
    ahead = unit(np.gradient(path, axis=0))
    side = unit(np.cross(ahead, [0.0, 0.0, 1.0]))
    above = np.cross(side, ahead)
    angle = (2 * np.pi / (3.4 * thick) * place)[:, None]
    ply = circle(1.0, 14)
    ply *= (0.36 + 0.64 * np.abs(np.cos(np.linspace(0, 2 * np.pi, 14, endpoint=False))) ** 0.8)[:, None]
    across, over = np.cos(angle) * side + np.sin(angle) * above, np.cos(angle) * above - np.sin(angle) * side
    return framed_tube(path, ply, np.full((len(path), 2), thick / 2), across, over)


def rule(rng: np.random.Generator) -> Prop:
    """A steel rule, 150 mm and a little over; the division is in its material."""
    plate = slab(rounded_rectangle(156.0, 19.0, 1.2, 4), 0.75, rounding=0.12, steps=2, dome=np.array([0.4, 0.8]))
    return assembled("rule", [(plate, "rule")])


def lump(rng: np.random.Generator) -> Prop:
    """A lump of the work's clay: wired off on one side, pressed on another, torn where it was pulled off."""
    size = np.array([rng.uniform(18, 28), rng.uniform(15, 21), rng.uniform(12, 17)])
    mesh = ball(6)
    p = np.sign(mesh.vertices) * np.abs(mesh.vertices) ** 0.85 * size
    seed = int(rng.integers(999))
    p = p + unit(p) * (2.4 * noise(p[:, 0] / 15 + p[:, 2] / 21, p[:, 1] / 15 - p[:, 2] / 17, seed=seed))[:, None]
    mesh = TriangleMesh(p, mesh.faces)
    for _ in range(3):
        normal = unit(np.array([*rng.normal(size=2), rng.uniform(0.0, 1.3)]))
        mesh = cut_flat(mesh, normal, float((mesh.vertices @ normal).max()) * rng.uniform(0.62, 0.85))
    p = np.asarray(mesh.vertices)
    torn = np.clip(noise(p[:, 0] / 12, p[:, 1] / 12 + p[:, 2] / 10, seed=seed + 3), 0, 1)
    rough = layered(p[:, 0] / 2.4 + p[:, 2] / 3.1, p[:, 1] / 2.4 - p[:, 2] / 2.7, seed=seed + 5, octaves=3)
    p = p + unit(p) * (1.1 * torn * rough)[:, None]
    mesh = cut_flat(TriangleMesh(p, mesh.faces), np.array([0.0, 0.0, -1.0]), 0.6 * size[2])
    return assembled("lump", [(mesh, "clay")])
