"""Bench shapes beside the owl: sharp tooling, cloth-like folds, a smooth form, a plain one, a thrown pot. In mm, on z = 0."""

from __future__ import annotations

import numpy as np

from blender_addon.core.mesh.triangles import unit

from ..modelling import nets
from ..modelling.fields import Floats, Noise, both, box, cut, ellipsoid, joined, ramp, rotation
from ..modelling.tooling import Canvas, downwards, skin, spread, stroke
from .shape import Shape


def _finished(name: str, canvas: Canvas, albedo: tuple[float, float, float], seed: int) -> Shape:
    points = canvas.vertices - [0, 0, canvas.vertices[:, 2].min()]
    tone = 1.0 + 0.05 * Noise(seed + 9)(points, 8.0, octaves=3)
    return Shape(name, points, nets.triangles(canvas.quads), np.clip(np.array(albedo) * tone[:, None], 0.02, 0.9))


def planes(points: Floats, normals: Floats, offsets: Floats) -> Floats:
    """(n,) distance to the convex solid of half spaces normals . p <= offsets."""
    found = np.full(len(points), -np.inf)
    for normal, offset in zip(normals, offsets, strict=True):
        found = np.maximum(found, points @ normal - offset)
    return found


def sharp(seed: int = 7) -> Shape:
    """A mask carved from a block with knife and chisel: flat cuts, crisp edges, V grooves, scalloped gouge marks."""
    rng = np.random.default_rng(seed + 200)
    ways = unit(rng.normal(size=(26, 3)) * (1.0, 0.9, 0.8))
    reach = np.abs(ways) @ np.array([21.0, 16.0, 29.0]) * rng.uniform(0.72, 0.86, 26)

    def field(points: Floats) -> Floats:
        local = points - (0, 0, 30.0)
        found = np.maximum(planes(local, ways, reach), box(local, (0, 0, 0), (21, 16, 29.9)))
        brow = planes(
            local - (0, -14.5, 8.0),
            unit(np.array([[0, -0.4, 1], [0, -0.8, -0.9], [0, 1, 0], [1, 0, 0.1], [-1, 0, 0.1]])),
            [3.2, 3.0, 6.0, 15.0, 14.2],
        )
        nose = planes(
            local - (0.4, -15.0, -1.0),
            unit(np.array([[0.8, -0.6, 0], [-0.85, -0.5, 0], [0, -0.3, -1], [0, -0.9, 0.55], [0, 1, 0]])),
            [2.4, 2.2, 7.5, 4.0, 6.0],
        )
        chin = planes(
            local - (0, -11.0, -19.0),
            unit(np.array([[0, -1, 0.5], [0, -0.6, -0.8], [0.7, -0.6, 0], [-0.7, -0.6, 0.1], [0, 1, 0], [0, 0, 1]])),
            [5, 4.5, 8, 8, 6, 5],
        )
        found = np.minimum(np.minimum(np.minimum(found, brow), nose), chin)
        for side, lift in ((-1.0, 0.0), (1.0, 0.7)):
            slot = box(local, (side * 7.2, -16.5, 2.5 + lift), (4.6, 4.5, 1.5), 0.0, rotation(("y", side * 9.0), ("x", -14.0)))
            found = np.maximum(found, -slot)
        mouth = box(local, (0.3, -15.5, -13.0), (6.4, 4.0, 0.9), 0.0, rotation(("y", -4.0)))
        return np.maximum(found, -mouth)

    vertices, quads = nets.modelled(field, (-24, -24, -1), (24, 20, 62), step=0.5, splits=2)
    canvas = Canvas(vertices, quads, seed + 201)
    _gouges(canvas)
    _knife(canvas)
    skin(canvas, 0.004)
    canvas.pressed(smoothing=0)
    return _finished("sharp", canvas, (0.45, 0.30, 0.17), seed)


def _gouges(canvas: Canvas) -> None:
    """Overlapping scallops of a shallow gouge: between neighbours a crisp ridge is left standing."""
    rng = canvas.rng
    level = np.zeros(len(canvas.vertices))
    chosen = spread(canvas, np.flatnonzero(canvas.normals[:, 2] > -0.6), 2.6)
    grain = unit(np.array([0.25, 0.1, 1.0]))
    for vertex in chosen:
        normal = canvas.normals[vertex]
        way = unit(grain - (grain @ normal) * normal + 0.25 * rng.normal(size=3))
        length, width = rng.uniform(4.5, 8.0), rng.uniform(2.2, 3.6)
        index, along, across = canvas.patch(canvas.vertices[vertex], way, 0.8 * length, facing=0.75)
        cutting = np.square(across / (0.5 * width)) + np.square(along / (0.5 * length))
        level[index] = np.minimum(level[index], rng.uniform(0.12, 0.24) * (cutting - 1.0))
    canvas.height += np.maximum(level, -0.3)


def _knife(canvas: Canvas) -> None:
    """V cuts with straight flanks, from hair-fine to a millimetre wide, some hatched, some crossed."""
    rng = canvas.rng
    for _ in range(46):
        vertex = rng.integers(len(canvas.vertices))
        normal = canvas.normals[vertex]
        way = unit(np.cross(normal, rng.normal(size=3)))
        side = np.cross(normal, way)
        width, gap, length = rng.uniform(0.25, 1.0), rng.uniform(0.9, 1.8), rng.uniform(3.0, 9.0)
        for number in range(int(rng.integers(2, 7))):
            centre = canvas.vertices[vertex] + number * gap * side
            index, along, across = canvas.patch(centre, unit(way + 0.05 * rng.normal(size=3)), 0.6 * length, facing=0.6)
            if len(index):
                flank = np.clip(1.0 - np.abs(across) / (0.5 * width), 0.0, 1.0) * ramp(0.5 * length - np.abs(along), 0.0, 1.0)
                canvas.height[index] = np.minimum(canvas.height[index], canvas.height[index] - 0.42 * width * flank)


def folds(seed: int = 7) -> Shape:
    """Cloth drawn over a shoulder-like form: deep folds that gather at the top, woven threads, a hem and a sewn seam."""
    wander = Noise(seed + 300)

    def radius(points: Floats) -> Floats:
        angle = np.arctan2(points[:, 1], points[:, 0])
        height = points[:, 2] / 62.0
        swing = angle + 0.35 * np.sin(2.2 * height + 0.6) + 0.10 * wander(points, 24.0)
        pleat = np.sin(7.0 * swing) + 0.45 * np.sin(11.0 * swing + 4.0 * height) + 0.25 * np.sin(17.0 * swing - 2.0 * height)
        depth = 4.4 * ramp(height, 0.98, 0.30) * (0.75 + 0.25 * np.sin(angle - 0.7))
        base = 9.0 + 15.0 * (1.0 - np.clip(height, 0, 1) ** 1.7) + 1.5 * np.sin(5.0 * height)
        return base + depth * np.sign(pleat) * np.abs(pleat) ** 0.8

    def field(points: Floats) -> Floats:
        side = (np.hypot(points[:, 0], points[:, 1]) - radius(points)) / 1.7
        cap = ellipsoid(points, (0, 0, 52.0), (12.5, 12.5, 10.0))
        return both(both(joined(side, cap, 5.0), points[:, 2] - 61.0, 6.0), -points[:, 2], 0.6)

    vertices, quads = nets.modelled(field, (-34, -34, -1), (34, 34, 64), step=0.55, splits=2)
    canvas = Canvas(vertices, quads, seed + 301)
    _woven(canvas)
    _sewn(canvas)
    for vertex in spread(canvas, np.flatnonzero(canvas.normals[:, 2] < 0.7), 4.5):
        way = unit(downwards(canvas.normals[vertex : vertex + 1], (0, 0, -1))[0] + 0.5 * canvas.rng.normal(size=3))
        stroke(
            canvas,
            canvas.vertices[vertex],
            way,
            length=canvas.rng.uniform(3, 8),
            width=canvas.rng.uniform(0.5, 1.4),
            depth=canvas.rng.normal(0, 0.12),
            bow=canvas.rng.normal(0, 0.5),
        )
    canvas.pressed(smoothing=0)
    return _finished("folds", canvas, (0.42, 0.36, 0.30), seed)


def _woven(canvas: Canvas) -> None:
    points = canvas.vertices
    across = np.arctan2(points[:, 1], points[:, 0]) * 17.0 + 0.25 * canvas.noise(points, 7.0)
    down = points[:, 2] + 0.25 * canvas.noise(points + 20.0, 7.0)
    over = np.cos(np.pi * across / 0.62) * np.cos(np.pi * down / 0.62)
    thread = 0.045 * np.sign(over) * np.abs(over) ** 0.7
    slub = 0.05 * ramp(canvas.noise(points * (0.15, 0.15, 1.0), 0.9), 1.3, 2.2)
    canvas.height += (thread + slub) * ramp(points[:, 2], 0.3, 1.5)


def _sewn(canvas: Canvas) -> None:
    """A doubled hem 4 mm above the ground and a seam up the back, each with its stitches."""
    points = canvas.vertices
    canvas.height += 0.45 * ramp(-points[:, 2], -5.0, -4.6)
    angle = np.arctan2(points[:, 1], points[:, 0])
    for off, along in ((points[:, 2] - 3.6, angle * 22.0), ((angle - 1.9) * 16.0, points[:, 2] * 1.0)):
        beat = np.mod(along / 1.9, 1.0) - 0.5
        stitch = np.sqrt(np.clip(1.0 - np.square(off / 0.28) - np.square(beat / 0.36), 0.0, 1.0))
        gather = -0.12 * np.exp(-np.square(off / 0.7))
        canvas.height += np.where(np.abs(off) < 3.0, 0.22 * stitch + gather, 0.0)


def _pebble(points: Floats, noise: Noise) -> Floats:
    body = joined(
        ellipsoid(points, (-3, 0, 17), (24, 18, 17)), ellipsoid(points, (9, -3, 22), (15, 14, 17), rotation(("y", 25.0))), 9.0
    )
    return both(body + 0.8 * noise(points, 30.0), -points[:, 2], 2.0)


def smooth(seed: int = 7) -> Shape:
    """A water-worn pebble form with some two dozen shallow strokes, far apart."""
    noise = Noise(seed + 400)
    vertices, quads = nets.modelled(lambda points: _pebble(points, noise), (-31, -24, -1), (31, 22, 46), step=0.55, splits=2)
    canvas = Canvas(vertices, quads, seed + 401)
    rng = canvas.rng
    chosen = spread(canvas, np.flatnonzero(canvas.normals[:, 2] > -0.5), 11.0)
    for vertex in chosen:
        way = unit(np.cross(canvas.normals[vertex], rng.normal(size=3)))
        stroke(
            canvas,
            canvas.vertices[vertex],
            way,
            length=rng.uniform(4, 10),
            width=rng.uniform(0.6, 2.0),
            depth=rng.uniform(0.05, 0.13),
            bow=rng.normal(0, 0.6),
        )
    canvas.height += 0.012 * canvas.noise(canvas.vertices, 4.0, octaves=2)
    canvas.pressed(smoothing=1)
    return _finished("smooth", canvas, (0.36, 0.33, 0.30), seed)


def plain(seed: int = 7) -> Shape:
    """A form without any detail: whatever is drawn on it is invented."""

    def field(points: Floats) -> Floats:
        body = joined(ellipsoid(points, (0, 0, 20), (20, 17, 20.5)), ellipsoid(points, (3, -1, 41), (11, 10, 13)), 12.0)
        return both(cut(body, ellipsoid(points, (0, -24, 22), (9, 9, 12)), 5.0), -points[:, 2], 2.0)

    vertices, quads = nets.modelled(field, (-24, -22, -1), (24, 22, 57), step=0.55, splits=2)
    return _finished("plain", Canvas(vertices, quads, seed + 501), (0.5, 0.5, 0.48), seed)


def pot(seed: int = 7) -> Shape:
    """A thrown jar: throwing rings, a trimmed foot with chatter, combed bands and a slip line, a little off round."""
    noise = Noise(seed + 600)

    def field(points: Floats) -> Floats:
        height = points[:, 2] / 58.0
        profile = (
            15.0
            + 10.5 * np.sin(np.pi * np.clip(0.08 + 0.80 * height, 0, 1)) ** 1.2
            - 3.0 * ramp(height, 0.80, 0.90)
            + 2.0 * ramp(height, 0.90, 1.0)
        )
        round_off = 0.5 * np.cos(2.0 * np.arctan2(points[:, 1], points[:, 0]) + 0.4) + 0.3 * noise(points, 30.0)
        side = (np.hypot(points[:, 0], points[:, 1]) - profile - round_off) / 1.25
        body = both(both(side, points[:, 2] - 58.0, 1.6), -points[:, 2], 1.0)
        well = ellipsoid(points, (0, 0, 62.0), (14.5, 14.5, 13.0))
        return cut(body, well, 1.8)

    vertices, quads = nets.modelled(field, (-30, -30, -1), (30, 30, 60), step=0.55, splits=2)
    canvas = Canvas(vertices, quads, seed + 601)
    points = canvas.vertices
    angle, up = np.arctan2(points[:, 1], points[:, 0]), points[:, 2]
    spiral = up + 1.6 * angle / (2 * np.pi) + 0.25 * canvas.noise(points, 12.0)
    wall = ramp(-np.abs(canvas.normals[:, 2]), -0.9, -0.6)
    thrown = np.abs(np.sin(np.pi * spiral / 1.6)) ** 0.7 - 0.6
    strength = 0.5 + 0.5 * canvas.noise(points * (0.05, 0.05, 1.0), 7.0)
    canvas.height += 0.10 * wall * thrown * np.clip(strength, 0, 1.4)
    chatter = 0.06 * np.maximum(np.sin(angle * 95.0 + 2.5 * up), -0.3) * ramp(-up, -11.0, -9.0)
    canvas.height += wall * chatter
    for middle, pitch, count in ((24.0, 0.55, 6), (40.0, 0.8, 4)):
        lane = up - middle - 0.5 * np.sin(5.0 * angle + middle)
        comb = np.where(np.abs(lane) < 0.5 * pitch * count, np.cos(2 * np.pi * lane / pitch) - 1.0, 0.0)
        canvas.height += 0.07 * wall * comb
    skin(canvas, 0.006)
    canvas.pressed(smoothing=0)
    return _finished("pot", canvas, (0.33, 0.20, 0.12), seed)
