"""The barn owl and its stone in full detail: the truth behind the demo scans. Deterministic from a seed."""

from __future__ import annotations

import numpy as np

from blender_addon.core.mesh.triangles import unit

from ..modelling import nets
from ..modelling.fields import Floats, Noise, both, box, ramp
from ..modelling.tooling import Canvas, downwards, feather, fingertip, laid, pellet, scraped, skin, spread, stroke
from . import owl_form
from .shape import Shape

HEIGHT = 80.0
"""mm, feet to crown."""
SLAB = (70.0, 55.0, 14.0)
"""mm, the offcut's length, depth and thickness."""


def owl(seed: int = 7, *, step: float = 0.55, splits: int = 2) -> Shape:
    """The owl, feet on z = 0, face towards -Y, HEIGHT mm high; about 1.2 M triangles with the defaults."""
    vertices, quads = nets.modelled(owl_form.owl, (-34, -30, -2), (34, 34, 84), step=step, splits=splits)
    canvas = Canvas(vertices, quads, seed)
    share = _shares(canvas.vertices)
    _plumage(canvas, share)
    canvas.pressed(smoothing=1)
    _tooling(canvas, share)
    skin(canvas)
    canvas.height *= 1.0 - 0.75 * ramp(-canvas.vertices[:, 2], -0.8, 0.0)
    canvas.pressed(smoothing=1)
    points = canvas.vertices - [0, 0, canvas.vertices[:, 2].min()]
    points *= HEIGHT / points[:, 2].max()
    return Shape("owl", points, nets.triangles(canvas.quads), _clay(points, seed))


def _shares(vertices: Floats) -> dict[str, Floats]:
    """How much (0 to 1) each vertex belongs to each part, and to finer regions of the head."""
    points = owl_form.unleaned(vertices)
    found = owl_form.parts(points)
    share = {name: ramp(-distance, -0.9, 0.1) for name, distance in found.items()}
    local = owl_form.head_local(points)
    edge = owl_form.heart(local)
    front = ramp(-local[:, 1], 1.0, 6.0) * share["head"]
    share["disc"] = ramp(-edge, 0.2, 1.2) * front
    share["rim"] = np.exp(-(((edge - 0.4) / 1.3) ** 2)) * front
    eye = np.min([np.linalg.norm((local - spot) * (1, 0.6, 1.1), axis=1) for spot in owl_form.EYES], axis=0)
    share["eye"] = ramp(-eye, -4.1, -3.3)
    share["beak"] = ramp(-np.linalg.norm((local - (0.15, -13.6, -3.6)) * (1.3, 0.8, 0.75), axis=1), -3.2, -2.5)
    share["foot"] = share["legs"] * ramp(-vertices[:, 2], -6.0, -4.6)
    return share


def _plumage(canvas: Canvas, share: dict[str, Floats]) -> None:
    for wing, name in zip(owl_form.WINGS, ("left", "right"), strict=True):
        _wing(canvas, wing, share[name] * (1 - share["foot"]))
    points, normals = canvas.vertices, canvas.normals
    ways = downwards(normals)
    plain = (1 - share["left"]) * (1 - share["right"]) * (1 - share["foot"]) * (1 - share["head"]) * (1 - share["tail"])
    back = plain * ramp(normals[:, 1], -0.1, 0.35) * ramp(points[:, 2], 14.0, 19.0)
    _rows(canvas, np.flatnonzero(back > 0.5), ways, spacing=3.3, length=6.6, half=2.3, thick=0.42, weight=back)
    breast = plain * ramp(-normals[:, 1], -0.3, 0.25) * ramp(points[:, 2], 15.0, 20.0)
    _dabs(canvas, np.flatnonzero(breast > 0.5), ways, breast)
    crown = share["head"] * (1 - share["disc"]) * (1 - share["rim"]) * (1 - share["eye"])
    outward = unit(downwards(normals, (0.0, 1.0, -0.45)))
    _rows(
        canvas,
        np.flatnonzero((crown > 0.5) & (normals[:, 2] > -0.75)),
        outward,
        spacing=2.5,
        length=4.6,
        half=1.5,
        thick=0.26,
        weight=crown,
    )
    tail = share["tail"] * ramp(normals[:, 1], -0.2, 0.3)
    _tail(canvas, tail)


def _rows(
    canvas: Canvas,
    candidates: Floats,
    ways: Floats,
    *,
    spacing: float,
    length: float,
    half: float,
    thick: float,
    weight: Floats,
) -> None:
    chosen = spread(canvas, candidates, spacing)
    chosen = chosen[np.argsort(canvas.vertices[chosen] @ np.array([0.0, 0.35, 1.0]) + canvas.rng.normal(0, 0.3, len(chosen)))]
    vary = canvas.rng.uniform(0.85, 1.2, len(chosen))
    laid(canvas, canvas.vertices[chosen], ways[chosen], length * vary, half * vary, thick=thick, weight=weight)


def _dabs(canvas: Canvas, candidates: Floats, ways: Floats, weight: Floats) -> None:
    """The breast: pellets of clay pressed on and drawn down, bigger below."""
    size = 1.0 + 0.35 * ramp(-canvas.vertices[:, 2], -52.0, -22.0)
    chosen = spread(canvas, candidates, 2.5 * size)
    for vertex in chosen[np.argsort(canvas.vertices[chosen, 2])]:
        vary = canvas.rng.uniform(0.8, 1.25) * size[vertex]
        tilt = 0.14 * canvas.rng.normal(size=3)
        pellet(
            canvas,
            canvas.vertices[vertex],
            unit(ways[vertex] + tilt),
            length=3.3 * vary,
            width=2.7 * vary,
            height=0.36 * vary,
            scale=weight,
        )


def _wing(canvas: Canvas, wing: owl_form.Wing, weight: Floats) -> None:
    """Four rows: small scales on the shoulder, two rows of coverts, then the long flight feathers fanned towards the tip."""
    axes = wing.frame()
    rng = canvas.rng
    rows = []
    for start, stop, gap, length, half, thick in ((1.0, 13.0, 3.2, 5.2, 2.0, 0.55), (15.0, 22.0, 4.6, 8.0, 2.1, 0.70)):
        for row, along in enumerate(np.arange(start, stop, gap)):
            for across in np.arange(-9.5, 9.6, 1.75 * half) + (0.9 * half if row % 2 else 0.0):
                rows.append((along + 0.035 * across**2 * 0.6, across, length, half, thick, 0.0))
    for number, across in enumerate(np.linspace(-8.2, 8.2, 8)):
        rows.append((23.5 + 0.02 * across**2, across, 13.5 + 3.0 * (number % 2), 1.95, 0.85, -0.020 * across))
    for number, across in enumerate(np.linspace(-5.4, 5.4, 6)):
        rows.append((33.0 + 0.6 * number, across, 17.0, 1.75, 1.0, -0.030 * across))
    rows.sort(key=lambda row: -row[0])
    roots, ways, lengths, halves, thicks = [], [], [], [], []
    for along, across, length, half, thick, fan in rows:
        vary = rng.uniform(0.9, 1.12)
        spot = wing.shoulder + (along + rng.normal(0, 0.25)) * axes[0] + (across + rng.normal(0, 0.15)) * axes[1]
        share = np.clip(along / wing.length, 0, 1)
        spot = (
            spot
            + (3.6 * np.sqrt(max(1 - ((share - 0.22) / 0.86) ** 2, 0.03)) + 2.2 * np.sin(np.pi * share) - 0.012 * across**2)
            * axes[2]
        )
        roots.append(spot)
        ways.append(unit(axes[0] + (fan - 0.03) * axes[1]))
        lengths.append(length * vary)
        halves.append(half * vary)
        thicks.append(thick)
    outside = weight * ramp(canvas.normals @ axes[2], 0.05, 0.4)
    for thick in sorted(set(thicks)):
        pick = [place for place, value in enumerate(thicks) if value == thick]
        _laid_over(
            canvas,
            [roots[p] for p in pick],
            [ways[p] for p in pick],
            [lengths[p] for p in pick],
            [halves[p] for p in pick],
            thick,
            outside,
        )


def _laid_over(canvas: Canvas, roots: list, ways: list, lengths: list, halves: list, thick: float, weight: Floats) -> None:
    before = canvas.height.copy()
    canvas.height = np.zeros_like(before)
    laid(
        canvas,
        np.array(roots),
        np.array(ways),
        np.array(lengths),
        np.array(halves),
        thick=thick,
        barb=0.12,
        pitch=0.72 if thick < 0.8 else 1.0,
        weight=weight,
    )
    canvas.height = np.where(np.abs(canvas.height) > 1e-6, np.maximum(canvas.height, 0.6 * before), before)


def _tail(canvas: Canvas, weight: Floats) -> None:
    roots, ways = [], []
    for across in (-5.0, 5.2, -2.6, 2.8, 0.1):
        roots.append((0.5 + 0.6 * across, 14.6, 19.5))
        ways.append(unit(np.array([0.035 * across, 0.28, -1.0])))
    laid(canvas, np.array(roots), np.array(ways), np.full(5, 20.0), np.full(5, 1.9), thick=0.55, weight=weight)


def _tooling(canvas: Canvas, share: dict[str, Floats]) -> None:
    rng, points, normals = canvas.rng, canvas.vertices, canvas.normals
    ways = downwards(normals)
    local = owl_form.head_local(owl_form.unleaned(points))
    disc = np.flatnonzero((share["disc"] > 0.5) & (share["eye"] < 0.2) & (share["beak"] < 0.2))
    for vertex in spread(canvas, disc, 1.0):
        eye = owl_form.EYES[int(local[vertex, 0] > 0)]
        away = owl_form.TURN @ ((local[vertex] - eye) * (1, 0, 1))
        stroke(
            canvas,
            points[vertex],
            unit(away),
            length=rng.uniform(2.0, 3.2),
            width=rng.uniform(0.3, 0.55),
            depth=rng.uniform(0.07, 0.16),
            bow=rng.normal(0, 0.12),
            scale=share["disc"] * (1 - share["eye"]),
        )
    for vertex in spread(canvas, np.flatnonzero(share["rim"] > 0.6), 1.1):
        spin = unit(np.cross(normals[vertex], ways[vertex]) + 0.8 * rng.normal(size=3))
        stroke(canvas, points[vertex], spin, length=1.8, width=rng.uniform(0.35, 0.7), depth=rng.uniform(0.08, 0.2))
    legs = np.flatnonzero((share["legs"] > 0.6) & (share["foot"] < 0.3))
    for vertex in spread(canvas, legs, 1.5):
        stroke(
            canvas,
            points[vertex],
            unit(ways[vertex] + 0.12 * rng.normal(size=3)),
            length=rng.uniform(3, 5.5),
            width=rng.uniform(0.4, 1.0),
            depth=rng.uniform(0.1, 0.28),
            bow=rng.normal(0, 0.25),
            scale=share["legs"] * (1 - share["foot"]),
        )
    breast = np.flatnonzero((share["torso"] > 0.6) & (normals[:, 1] < 0.2) & (share["left"] + share["right"] < 0.2))
    for vertex in spread(canvas, breast, 1.5):
        for turn in (-0.25, 0.0, 0.25)[: rng.integers(1, 4)]:
            way = unit(ways[vertex] + turn * np.cross(normals[vertex], ways[vertex]) + 0.08 * rng.normal(size=3))
            stroke(
                canvas,
                points[vertex],
                way,
                length=rng.uniform(1.6, 3.0),
                width=rng.uniform(0.22, 0.45),
                depth=rng.uniform(0.05, 0.14),
            )
    foot = np.flatnonzero(share["foot"] > 0.6)
    for vertex in spread(canvas, foot, 1.2):
        around = unit(np.cross(normals[vertex], [0.0, -1.0, 0.0]))
        stroke(
            canvas,
            points[vertex],
            around,
            length=rng.uniform(1.2, 2.2),
            width=rng.uniform(0.25, 0.5),
            depth=rng.uniform(0.05, 0.12),
        )
    _marks(canvas, share, ways)


def _marks(canvas: Canvas, share: dict[str, Floats], ways: Floats) -> None:
    """Marks that follow no plan: broad fingertips, scraped planes on shoulders and back, stray nicks."""
    rng, points = canvas.rng, canvas.vertices
    calm = np.flatnonzero((share["eye"] < 0.1) & (share["beak"] < 0.1) & (share["foot"] < 0.2))
    for vertex in rng.choice(calm, 26, replace=False):
        fingertip(
            canvas,
            points[vertex],
            unit(ways[vertex] + 0.4 * rng.normal(size=3)),
            length=rng.uniform(5, 8),
            width=rng.uniform(4, 6),
            depth=rng.uniform(0.06, 0.16),
        )
    for vertex in rng.choice(calm, 22, replace=False):
        scraped(
            canvas,
            points[vertex],
            unit(ways[vertex] + 0.7 * rng.normal(size=3)),
            length=rng.uniform(4, 8),
            width=rng.uniform(1.6, 3.2),
            depth=rng.uniform(0.05, 0.12),
            chatter=rng.uniform(0.010, 0.022),
        )
    for vertex in rng.choice(len(points), 170, replace=False):
        way = unit(np.cross(canvas.normals[vertex], rng.normal(size=3)))
        stroke(
            canvas,
            points[vertex],
            way,
            length=rng.uniform(1.0, 4.5),
            width=rng.uniform(0.2, 0.6),
            depth=rng.uniform(0.05, 0.16),
            bow=rng.normal(0, 0.3),
        )


def _clay(points: Floats, seed: int) -> Floats:
    """(n, 3) linear albedo of the bare stoneware: buff, with iron specks."""
    noise = Noise(seed + 5)
    tone = 1.0 + 0.06 * noise(points, 9.0, octaves=3)
    speck = ramp(noise(points, 0.8), 2.0, 2.6)
    buff = np.array([0.40, 0.31, 0.22]) * tone[:, None]
    return np.clip(buff * (1.0 - 0.7 * speck[:, None]), 0.02, 0.9)


def stand(seed: int = 7, *, step: float = 0.8, splits: int = 2) -> Shape:
    """The offcut of terrazzo: sawn faces, one broken edge, top on z = 0."""
    noise = Noise(seed + 11)
    length, depth, thick = SLAB

    def field(points: Floats) -> Floats:
        slab = box(points, (2.0, 1.0, -thick / 2), (length / 2, depth / 2, thick / 2), 0.7)
        crack = points @ unit(np.array([0.86, -0.42, 0.28])) - 29.0
        crack = crack + 1.5 * noise(points, 11.0, octaves=4, gain=0.55) + 2.2 * noise(points + 50.0, 26.0)
        chipped = points @ unit(np.array([-0.7, -0.7, 0.75])) - 37.5 + 0.8 * noise(points + 9.0, 6.0, octaves=3)
        return both(both(slab, crack, 0.25), chipped, 0.2)

    vertices, quads = nets.modelled(field, (-38, -30, -16), (40, 32, 3), step=step, splits=splits)
    canvas = Canvas(vertices, quads, seed + 3)
    sawn = ramp(np.abs(canvas.normals).max(axis=1), 0.985, 0.999)
    wall = sawn * ramp(-np.abs(canvas.normals[:, 2]), -0.5, -0.2)
    arc = np.hypot(canvas.vertices[:, 2] + 120.0, canvas.vertices[:, 0] * 0.8 + canvas.vertices[:, 1])
    canvas.height += 0.02 * wall * np.sin(2 * np.pi * arc / 1.1) + 0.012 * canvas.noise(canvas.vertices, 2.0, octaves=3)
    canvas.height += 0.05 * (1 - sawn) * canvas.noise(canvas.vertices, 1.2, octaves=3, gain=0.8)
    canvas.pressed(smoothing=0)
    return Shape("stand", canvas.vertices, nets.triangles(canvas.quads), terrazzo(canvas.vertices, seed))


CHIPS = np.array(
    [[0.56, 0.51, 0.42], [0.25, 0.115, 0.085], [0.07, 0.075, 0.08], [0.15, 0.19, 0.15], [0.36, 0.26, 0.15], [0.66, 0.64, 0.60]]
)
"""Linear albedo of the marble chips: cream, rosso, black, verde, ochre, white."""


def terrazzo(points: Floats, seed: int) -> Floats:
    """(n, 3) linear albedo: angular chips of marble of three sizes in warm grey cement, cut through where the stone ends."""
    rng = np.random.default_rng(seed + 21)
    noise = Noise(seed + 22)
    colour = np.array([0.36, 0.335, 0.30]) * (1.0 + 0.05 * noise(points, 3.0, octaves=3)[:, None])
    for spacing, size, share in ((7.5, 0.38, 0.55), (3.6, 0.36, 0.55), (1.6, 0.34, 0.45)):
        colour = _chips(points, colour, rng, noise, spacing, size, share)
    return np.clip(colour, 0.02, 0.9)


def _chips(
    points: Floats, colour: Floats, rng: np.random.Generator, noise: Noise, spacing: float, size: float, share: float
) -> Floats:
    low = points.min(axis=0) - 2 * spacing
    shape = np.ceil((points.max(axis=0) + 2 * spacing - low) / spacing).astype(int)
    jitter = rng.uniform(0.15, 0.85, (*shape, 3))
    present = rng.uniform(size=tuple(shape)) < share
    kinds = rng.choice(len(CHIPS), tuple(shape), p=(0.34, 0.14, 0.14, 0.08, 0.11, 0.19))
    planes = unit(rng.normal(size=(*shape, 7, 3)))
    cut = size * spacing * rng.uniform(0.5, 1.1, (*shape, 7))
    base = np.floor((points - low) / spacing).astype(int)
    grain = noise(points, 0.7, octaves=2)
    for step in np.ndindex(3, 3, 3):
        cell = tuple((base + np.array(step) - 1).T)
        off = points - (low + spacing * (np.stack(cell, axis=1) + jitter[cell]))
        index = np.flatnonzero(present[cell] & (np.einsum("ij,ij->i", off, off) < (1.2 * spacing) ** 2))
        where = tuple(axis[index] for axis in cell)
        inside = (np.einsum("nkc,nc->nk", planes[where], off[index]) - cut[where]).max(axis=1) < 0
        index = index[inside]
        kind = kinds[tuple(axis[index] for axis in cell)]
        colour[index] = CHIPS[kind] * (1.0 + 0.07 * grain[index, None])
    return colour


__all__ = ["HEIGHT", "SLAB", "feather", "owl", "stand", "terrazzo"]
