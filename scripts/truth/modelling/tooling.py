"""What hands and tools leave on a modelled surface: feathers, pellets, strokes, scrapes and fingertips as real displacement."""

from __future__ import annotations

from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import unit, vertex_normals

from . import nets
from .fields import Floats, Ints, Noise, ramp


class Canvas:
    """A fine quad mesh being worked on. Heights (n,) in mm are gathered along the normals and applied by `pressed`."""

    def __init__(self, vertices: Floats, quads: Ints, seed: int):
        self.vertices, self.quads = vertices, quads
        self.rng = np.random.default_rng(seed)
        self.noise = Noise(seed + 1)
        self.height = np.zeros(len(vertices))
        self._renew()

    def _renew(self) -> None:
        self.normals = vertex_normals(self.vertices, nets.triangles(self.quads))
        self.cell = 1.0
        self.low = self.vertices.min(axis=0)
        place = ((self.vertices - self.low) / self.cell).astype(np.int64)
        self.shape = place.max(axis=0) + 1
        keys = (place[:, 0] * self.shape[1] + place[:, 1]) * self.shape[2] + place[:, 2]
        self.order = np.argsort(keys, kind="stable")
        self.starts = np.searchsorted(keys[self.order], np.arange(self.shape.prod() + 1))

    def near(self, centre: Floats, reach: float) -> Ints:
        """Indices of vertices in the cells within `reach` mm of a point."""
        first = np.maximum(((centre - reach - self.low) / self.cell).astype(int), 0)
        last = np.minimum(((centre + reach - self.low) / self.cell).astype(int), self.shape - 1)
        if np.any(last < first):
            return np.zeros(0, np.int64)
        rows = (
            np.arange(first[0], last[0] + 1)[:, None] * self.shape[1] + np.arange(first[1], last[1] + 1)
        ).ravel() * self.shape[2]
        begin, end = self.starts[rows + first[2]], self.starts[rows + last[2] + 1]
        count = end - begin
        if not count.sum():
            return np.zeros(0, np.int64)
        return self.order[np.repeat(begin - np.concatenate([[0], np.cumsum(count)[:-1]]), count) + np.arange(count.sum())]

    def patch(self, centre: Floats, way: Floats, reach: float, *, facing: float = 0.25) -> tuple[Ints, Floats, Floats]:
        """Vertices round a point: index, distance along the tangent `way` and across it, in mm."""
        index = self.near(centre, reach)
        if not len(index):
            return index, np.zeros(0), np.zeros(0)
        closest = index[np.argmin(np.sum((self.vertices[index] - centre) ** 2, axis=1))]
        normal = self.normals[closest]
        along = way - (way @ normal) * normal
        along /= max(np.linalg.norm(along), 1e-9)
        index = index[self.normals[index] @ normal > facing]
        off = self.vertices[index] - self.vertices[closest]
        index, off = index[np.abs(off @ normal) < 0.6 * reach], off[np.abs(off @ normal) < 0.6 * reach]
        return index, off @ along, off @ np.cross(normal, along)

    def pressed(self, *, smoothing: int = 1) -> None:
        """Move the vertices by the gathered heights and begin anew."""
        height = self.height
        for _ in range(smoothing):
            height = 0.5 * (height + nets.neighbour_mean(height, self.quads))
        self.vertices = self.vertices + height[:, None] * self.normals
        self.height = np.zeros(len(self.vertices))
        self._renew()

    def eased(self, rounds: int = 1) -> None:
        """Let the mesh's vertices slide towards even spacing, without shrinking the form."""
        mean = nets.neighbour_mean(self.vertices, self.quads) - self.vertices
        for _ in range(rounds):
            along = np.einsum("ij,ij->i", mean, self.normals)[:, None] * self.normals
            self.vertices = self.vertices + 0.5 * (mean - along)
        self._renew()


def feather(
    along: Floats, across: Floats, length: float, half: float, *, thick: float, barb: float, rng: Any, pitch: float = 0.68
) -> Floats:
    """(n,) height of one modelled feather, rooted at along = 0, tip at `length`; 0 where it is not.

    Thin at the root, thick at the tip (so that rows overlap like shingles), a pressed shaft and slanting barb strokes
    `pitch` mm apart.
    """
    share = along / length
    round_tip = np.sqrt(np.clip(1.0 - (np.maximum(share - 0.52, 0.0) / 0.48) ** 2, 0.0, 1.0))
    breadth = half * np.minimum(1.0, 0.55 + 1.2 * np.maximum(share, 0.0)) * round_tip
    inside = (share > 0) & (share < 1)
    edge = np.minimum((breadth - np.abs(across)), 0.7 * (length - along))
    lip = ramp(edge, 0.0, 0.28)
    body = thick * (0.25 + 0.75 * np.clip(share, 0, 1)) * (1.0 - 0.3 * np.square(across / max(half, 1e-6)))
    bend = 0.12 * half * np.sin(3.0 * share + rng.uniform(0, 6))
    side = across - bend
    shaft = 0.17 * np.exp(-((side / 0.20) ** 2)) * ramp(share, 0.05, 0.2) * ramp(-share, -0.96, -0.8)
    pitch = pitch * rng.uniform(0.82, 1.18)
    phase = (along - 1.15 * np.abs(side)) / pitch + rng.uniform()
    wander = 0.25 * np.sin(phase * 1.7 + rng.uniform(0, 6))
    groove = np.power(0.5 + 0.5 * np.cos(2 * np.pi * (phase + wander)), 2.5)
    barbs = barb * groove * ramp(np.abs(side), 0.15, 0.5) * ramp(edge, 0.15, 0.6)
    return np.where(inside & (edge > 0), lip * body - shaft - barbs, 0.0)


def laid(
    canvas: Canvas,
    roots: Floats,
    ways: Floats,
    lengths: Floats,
    halves: Floats,
    *,
    thick: float,
    barb: float = 0.09,
    pitch: float = 0.68,
    weight: Floats | None = None,
) -> None:
    """Lay feathers on the canvas, later ones over earlier ones where they are higher."""
    top = np.zeros(len(canvas.vertices))
    for root, way, length, half in zip(roots, ways, lengths, halves, strict=True):
        centre = root + 0.5 * length * way
        index, along, across = canvas.patch(centre, way, 0.62 * length + half)
        if len(index) < 12:
            continue
        turn = np.radians(canvas.rng.normal(0, 3.5))
        along, across = along * np.cos(turn) + across * np.sin(turn), across * np.cos(turn) - along * np.sin(turn)
        high = feather(
            along + 0.5 * length,
            across,
            length,
            half,
            thick=thick * canvas.rng.uniform(0.8, 1.2),
            barb=barb,
            rng=canvas.rng,
            pitch=pitch,
        )
        top[index] = np.where(np.abs(high) > 0, np.where(high > 0.35 * top[index], high, top[index]), top[index])
    canvas.height += top if weight is None else top * weight


def stroke(
    canvas: Canvas,
    start: Floats,
    way: Floats,
    *,
    length: float,
    width: float,
    depth: float,
    bow: float = 0.0,
    scale: Floats | None = None,
) -> None:
    """One stroke of a tool of `width` mm, `depth` mm deep, with the burr it raises on both sides."""
    centre = start + 0.5 * length * way
    index, along, across = canvas.patch(centre, way, 0.55 * length + 2.0 * width, facing=0.4)
    if not len(index):
        return
    across = across - bow * (1.0 - np.square(2.0 * along / length))
    ends = ramp(0.5 * length - np.abs(along), -0.2 * width, 0.9 * width)
    press = np.clip(0.75 + 0.5 * along / length, 0.3, 1.3)
    side = across / (0.5 * width)
    gouge = -np.exp(-(side**2) * 1.4) + 0.32 * np.exp(-((np.abs(side) - 1.55) ** 2) * 5.0)
    change = depth * press * ends * gouge
    canvas.height[index] += change if scale is None else change * scale[index]


def pellet(
    canvas: Canvas, centre: Floats, way: Floats, *, length: float, width: float, height: float, scale: Floats | None = None
) -> None:
    """A dab of clay pressed on and drawn out along `way`: round at its start, smeared at its end."""
    index, along, across = canvas.patch(centre, way, 1.1 * length, facing=0.3)
    if not len(index):
        return
    smear = np.where(along > 0, along / (0.75 * length), along / (0.45 * length))
    radius = np.sqrt(smear**2 + np.square(across / (0.5 * width * (1.0 - 0.25 * np.clip(smear, -1, 1)))))
    dome = np.sqrt(np.clip(1.0 - radius**2, 0.0, 1.0)) * ramp(1.0 - radius, 0.0, 0.25) * (1.0 - 0.55 * np.clip(smear, 0, 1))
    thumb = 0.25 * np.exp(-(((along + 0.05 * length) / (0.22 * length)) ** 2) - np.square(across / (0.26 * width)))
    change = height * (dome - thumb * (dome > 0))
    canvas.height[index] = np.maximum(canvas.height[index], change if scale is None else change * scale[index])


def fingertip(canvas: Canvas, centre: Floats, way: Floats, *, length: float, width: float, depth: float) -> None:
    """A shallow hollow drawn by a fingertip, that also wipes out the finer marks under it."""
    index, along, across = canvas.patch(centre, way, 0.8 * length, facing=0.3)
    if not len(index):
        return
    fade = np.exp(-np.square(along / (0.42 * length)) - np.square(across / (0.42 * width)))
    canvas.height[index] = canvas.height[index] * (1.0 - 0.75 * fade) - depth * fade


def scraped(canvas: Canvas, centre: Floats, way: Floats, *, length: float, width: float, depth: float, chatter: float) -> None:
    """A plane cut by a flat tool, with the fine ripples of its chatter across the pull and lines along it."""
    index, along, across = canvas.patch(centre, way, 0.6 * (length + width), facing=0.3)
    if not len(index):
        return
    rng = canvas.rng
    flat = ramp(0.5 * width - np.abs(across), 0.0, 0.25) * ramp(0.5 * length - np.abs(along), 0.0, 0.8)
    ripple = chatter * np.sin(2 * np.pi * along / rng.uniform(0.5, 0.9) + 0.4 * np.sin(across * 1.3))
    lines = sum(0.5 * chatter * np.cos(2 * np.pi * across / period + rng.uniform(0, 6)) for period in (0.31, 0.47, 0.83))
    canvas.height[index] += flat * (-depth + ripple + lines)


def skin(canvas: Canvas, amount: float = 0.018) -> None:
    """The clay's own skin: fine lumps, soft hollows and a few pits where grog was dragged out."""
    points = canvas.vertices
    canvas.height += amount * canvas.noise(points, 1.3, octaves=3, gain=0.75) + 3.5 * amount * canvas.noise(
        points, 6.0, octaves=2
    )
    pits = canvas.noise(points + 31.7, 0.7)
    canvas.height -= 3.0 * amount * ramp(pits, 2.1, 3.2)


def downwards(normals: Floats, towards: Floats = (0.0, 0.35, -1.0)) -> Floats:
    """(n, 3) unit tangents: which way plumage lies on a surface, down and towards the back."""
    towards = np.asarray(towards, float)
    return unit(towards - (normals @ towards)[:, None] * normals)


def spread(canvas: Canvas, candidates: Ints, spacing: Floats | float) -> Ints:
    """A well-spaced choice of vertices: none nearer than `spacing` mm to another, in random order by seed."""
    spacing = np.broadcast_to(spacing, len(canvas.vertices))
    free = np.zeros(len(canvas.vertices), bool)
    free[candidates] = True
    chosen = []
    for vertex in canvas.rng.permutation(candidates):
        if free[vertex]:
            chosen.append(vertex)
            index = canvas.near(canvas.vertices[vertex], spacing[vertex])
            free[index[np.sum((canvas.vertices[index] - canvas.vertices[vertex]) ** 2, axis=1) < spacing[vertex] ** 2]] = False
    return np.array(chosen, np.int64)
