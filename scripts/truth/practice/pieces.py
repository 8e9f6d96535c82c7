"""Made-up pieces to learn from, never to judge by: random forms with random tooling. No bench shape comes from here.

Forms are blends of a few bodies, boxes and limbs; the surface carries what hands, tools and materials leave: strokes, combed
and hatched lines, cuts, scrapes, pellets, dents, pits, scales, cords, weave, grain. Some parts stay bare, as on real pieces.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from blender_addon.core.mesh.triangles import unit

from ..modelling import nets
from ..modelling.fields import Floats, Noise, box, cut, ellipsoid, joined, limb, ramp, rotation
from ..modelling.tooling import Canvas, fingertip, pellet, scraped, skin, spread, stroke
from ..pieces.shape import Shape

HALF = 21.0
"""Half size of the box that a form fills, mm."""


def practice(seed: int) -> Shape:
    """The random piece of a seed, standing on z = 0, about 40 mm large."""
    rng = np.random.default_rng(seed + 9000)
    field = _form(rng, seed)
    vertices, quads = nets.modelled(field, (-HALF - 2,) * 3, (HALF + 2,) * 3, step=0.55, splits=2)
    canvas = Canvas(vertices, quads, seed + 9001)
    chosen = rng.choice(len(TOOLING), size=int(rng.integers(2, 5)), replace=False)
    for vertex in chosen:
        before = canvas.height.copy()
        TOOLING[vertex](canvas, rng)
        place = canvas.noise(canvas.vertices + 13.0 * vertex, rng.uniform(14, 30))
        canvas.height = before + (canvas.height - before) * ramp(place, -0.5, 0.1)
        if rng.random() < 0.4:
            canvas.pressed(smoothing=0)
    canvas.height *= _firmness(seed)
    if rng.random() < 0.7:
        skin(canvas, rng.uniform(0.003, 0.02))
    canvas.pressed(smoothing=int(rng.integers(0, 2)))
    points = canvas.vertices - [0, 0, canvas.vertices[:, 2].min()]
    return Shape(f"practice{seed}", points, nets.triangles(canvas.quads), np.full((len(points), 3), 0.5))


def _firmness(seed: int) -> float:
    """How deep the tooling of a seed goes: two pieces in five are worked with a light hand, as smoothed or worn ones are."""
    rng = np.random.default_rng(seed + 9500)
    return float(rng.uniform(0.15, 0.6)) if rng.random() < 0.4 else 1.0


def _form(rng: np.random.Generator, seed: int) -> Callable[[Floats], Floats]:
    parts = []
    for number in range(int(rng.integers(3, 7))):
        spread_out = 0.0 if number == 0 else 9.0
        centre = rng.normal(0, 1, 3) * spread_out
        turn = rotation(*((axis, rng.uniform(-90, 90)) for axis in "xyz"))
        size = rng.uniform(0.35, 1.0, 3) * (14.0 if number == 0 else 9.0)
        parts.append((rng.choice(["body", "body", "box", "limb"]), np.clip(centre, -10, 10), size, turn, rng.uniform(0.5, 6.0)))
    hollow = (rng.normal(0, 8, 3), rng.uniform(4, 9, 3), rng.uniform(0.8, 3.0))
    wander = Noise(seed + 9100)

    def field(points: Floats) -> Floats:
        found = None
        for kind, centre, size, turn, blend in parts:
            if kind == "box":
                solid = box(points, centre, 0.8 * size, 1.0, turn)
            elif kind == "limb":
                end = np.clip(centre + turn[:, 0] * 1.6 * size[0], -14, 14)
                solid = limb(
                    points, np.stack([centre, 0.5 * (centre + end) + turn[:, 1] * 2.0, end]), 0.3 * size[1] * np.ones(3)
                )
            else:
                solid = ellipsoid(points, centre, size, turn)
            found = solid if found is None else joined(found, solid, blend)
        found = cut(found, ellipsoid(points, hollow[0], hollow[1]), hollow[2])
        return np.maximum(found + 0.5 * wander(points, 16.0), np.abs(points).max(axis=1) - HALF)

    return field


def _spots(canvas: Canvas, spacing: float) -> Floats:
    return spread(canvas, np.arange(len(canvas.vertices)), spacing)


def _way(canvas: Canvas, vertex: int, lead: Floats, loose: float) -> Floats:
    normal = canvas.normals[vertex]
    way = lead - (lead @ normal) * normal + loose * canvas.rng.normal(size=3)
    return unit(way - (way @ normal) * normal)


def _strokes(canvas: Canvas, rng: np.random.Generator) -> None:
    width, depth, lead, loose = rng.uniform(0.3, 2.2), rng.uniform(0.03, 0.28), rng.normal(size=3), rng.uniform(0.1, 1.5)
    for vertex in _spots(canvas, rng.uniform(1.0, 4.0) + width):
        stroke(
            canvas, canvas.vertices[vertex], _way(canvas, vertex, lead, loose), length=rng.uniform(2, 9),
            width=width * rng.uniform(0.6, 1.5), depth=depth * rng.uniform(-0.5, 1.3), bow=rng.normal(0, 0.5),
        )  # fmt: skip


def _combed(canvas: Canvas, rng: np.random.Generator) -> None:
    """Bundles of parallel lines, rounded or cut."""
    pitch, depth, lead, cutting = rng.uniform(0.4, 1.4), rng.uniform(0.03, 0.2), rng.normal(size=3), rng.random() < 0.5
    for vertex in _spots(canvas, rng.uniform(4.0, 9.0)):
        way = _way(canvas, vertex, lead, 0.5)
        length, lines = rng.uniform(3, 9), int(rng.integers(2, 9))
        index, along, across = canvas.patch(canvas.vertices[vertex], way, 0.5 * length + pitch * lines, facing=0.4)
        if not len(index):
            continue
        bend = across + rng.uniform(-0.04, 0.04) * along**2
        wave = np.cos(2 * np.pi * bend / pitch)
        profile = np.minimum(1.0, 2.2 * np.abs((bend / pitch) % 1.0 - 0.5)) - 1.0 if cutting else 0.5 * wave - 0.5
        inside = ramp(0.5 * length - np.abs(along), 0, 0.8) * ramp(0.5 * pitch * lines - np.abs(bend), 0, 0.2)
        canvas.height[index] += depth * profile * inside


def _cuts(canvas: Canvas, rng: np.random.Generator) -> None:
    """Straight cuts with sharp flanks, near each other or crossing."""
    for vertex in _spots(canvas, rng.uniform(2.5, 7.0)):
        way, width = _way(canvas, vertex, rng.normal(size=3), 0.5), rng.uniform(0.2, 1.1)
        length = rng.uniform(2, 10)
        index, along, across = canvas.patch(canvas.vertices[vertex], way, 0.6 * length, facing=0.5)
        if len(index):
            flank = np.clip(1 - np.abs(across) / (0.5 * width), 0, 1) * ramp(0.5 * length - np.abs(along), 0, 1.0)
            canvas.height[index] -= rng.uniform(0.15, 0.45) * width * flank


def _planed(canvas: Canvas, rng: np.random.Generator) -> None:
    """Scallops of a gouge whose rims stay as crisp ridges."""
    lead, level = rng.normal(size=3), np.zeros(len(canvas.vertices))
    deep, broad = rng.uniform(0.08, 0.3), rng.uniform(1.2, 4.0)
    for vertex in _spots(canvas, rng.uniform(0.7, 1.0) * broad):
        length, width = broad * rng.uniform(1.2, 2.5), broad * rng.uniform(0.8, 1.2)
        index, along, across = canvas.patch(canvas.vertices[vertex], _way(canvas, vertex, lead, 0.4), 0.8 * length, facing=0.7)
        bowl = np.square(across / (0.5 * width)) + np.square(along / (0.5 * length)) - 1.0
        level[index] = np.minimum(level[index], deep * rng.uniform(0.7, 1.3) * bowl)
    canvas.height += level


def _scraped(canvas: Canvas, rng: np.random.Generator) -> None:
    for vertex in _spots(canvas, rng.uniform(6, 10)):
        scraped(
            canvas, canvas.vertices[vertex], _way(canvas, vertex, rng.normal(size=3), 0.3), length=rng.uniform(4, 10),
            width=rng.uniform(2, 5), depth=rng.uniform(0.03, 0.2), chatter=rng.uniform(0.01, 0.04),
        )  # fmt: skip


def _pellets(canvas: Canvas, rng: np.random.Generator) -> None:
    size = rng.uniform(0.7, 3.5)
    for vertex in _spots(canvas, size * rng.uniform(0.7, 1.6)):
        pellet(
            canvas, canvas.vertices[vertex], _way(canvas, vertex, rng.normal(size=3), 1.0), length=size * rng.uniform(0.8, 2.0),
            width=size * rng.uniform(0.7, 1.2), height=rng.uniform(0.08, 0.28) * size**0.7,
        )  # fmt: skip


def _dents(canvas: Canvas, rng: np.random.Generator) -> None:
    for vertex in _spots(canvas, rng.uniform(3, 8)):
        fingertip(
            canvas, canvas.vertices[vertex], _way(canvas, vertex, rng.normal(size=3), 1.0), length=rng.uniform(3, 8),
            width=rng.uniform(2, 6), depth=rng.uniform(0.05, 0.3),
        )  # fmt: skip


def _pits(canvas: Canvas, rng: np.random.Generator) -> None:
    """Small round holes or warts."""
    size, sign = rng.uniform(0.15, 0.6), rng.choice([-1.0, 1.0])
    for vertex in _spots(canvas, rng.uniform(0.9, 3.0)):
        index, along, across = canvas.patch(canvas.vertices[vertex], _way(canvas, vertex, rng.normal(size=3), 1.0), 3 * size)
        canvas.height[index] += sign * rng.uniform(0.1, 0.5) * size * np.exp(-(along**2 + across**2) / size**2)


def _scales(canvas: Canvas, rng: np.random.Generator) -> None:
    """Rows of overlapping tongues: each rises to its free edge and drops there; some carry a rib or lines."""
    size, rise, lead = rng.uniform(1.4, 4.5), rng.uniform(0.08, 0.32), rng.normal(size=3)
    blunt, rib, lines = rng.uniform(1.6, 4.0), rng.uniform(-0.15, 0.15), rng.uniform(0.3, 0.8)
    lined = rng.uniform(0, 0.09) if rng.random() < 0.6 else 0.0
    for vertex in _spots(canvas, 0.75 * size):
        index, along, across = canvas.patch(canvas.vertices[vertex], _way(canvas, vertex, lead, 0.12), 1.1 * size)
        reach = np.abs(along / size) ** blunt + np.abs(across / (0.62 * size)) ** blunt
        share = 0.5 + 0.5 * along / size
        lip = ramp(1 - reach, 0.0, rng.uniform(0.1, 0.4))
        body = rise * (0.2 + 0.8 * share) + rib * np.exp(-((across / (0.12 * size)) ** 2)) * share
        grooves = lined * np.cos(2 * np.pi * (across + 0.35 * np.abs(across) * along / size) / lines)
        inside = reach < 1
        canvas.height[index] = np.where(inside, lip * (body + grooves), canvas.height[index])


def _cords(canvas: Canvas, rng: np.random.Generator) -> None:
    """Waving cords laid side by side."""
    points, pitch = canvas.vertices, rng.uniform(0.7, 2.4)
    lead = unit(rng.normal(size=3))
    level = points @ lead + rng.uniform(0.1, 0.8) * canvas.noise(points, rng.uniform(4, 10))
    share = (level / pitch) % 1.0 - 0.5
    canvas.height += rng.uniform(0.08, 0.26) * pitch * (np.sqrt(np.maximum(0.25 - share**2, 0)) * 2 - 0.8)


def _weave(canvas: Canvas, rng: np.random.Generator) -> None:
    points, pitch = canvas.vertices, rng.uniform(0.5, 1.2)
    frame = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    first, second = (points @ frame[:, k] + 0.25 * canvas.noise(points + 9 * k, 7.0) for k in range(2))
    over = np.cos(np.pi * first / pitch) * np.cos(np.pi * second / pitch)
    canvas.height += rng.uniform(0.03, 0.08) * np.sign(over) * np.abs(over) ** rng.uniform(0.5, 1.0)


def _grain(canvas: Canvas, rng: np.random.Generator) -> None:
    """Weathered grain or torn stone: lumps at many sizes, drawn out in one direction."""
    drawn = np.linalg.qr(rng.normal(size=(3, 3)))[0] * (1.0, rng.uniform(0.15, 1.0), 1.0)
    lumps = canvas.noise(canvas.vertices @ drawn, rng.uniform(0.8, 3.0), octaves=3, gain=0.7)
    shape = np.abs(lumps) if rng.random() < 0.4 else lumps
    canvas.height += rng.uniform(0.02, 0.07) * shape


TOOLING = (
    _strokes, _combed, _cuts, _planed, _scraped, _pellets, _dents, _pits, _scales, _cords, _weave, _grain, _strokes, _scales,
)  # fmt: skip
