"""Hand tools of a modeller's bench. Lengths in mm, all lying along x."""

from __future__ import annotations

import numpy as np

from ...mesh.solids import circle, framed_tube, lathe, moved, rounded_rectangle, slab, strip_faces, tube, turn
from ...mesh.triangles import Floats, TriangleMesh
from .prop import ALONG_X, Prop, assembled, profile


def _handle(rng: np.random.Generator, length: float, thick: float, *, neck: float) -> TriangleMesh:
    """A turned handle along x from 0 to `length`, its neck at the far end."""
    belly, r = rng.uniform(0.35, 0.6), thick / 2
    outline = profile([
        (0.0, 0.0), (0.62 * r, 0.4), (0.86 * r, 2.0), (r * rng.uniform(0.9, 1.0), 0.2 * length), (r, belly * length),
        (r * rng.uniform(0.72, 0.85), 0.8 * length), (neck / 2, 0.97 * length), (neck / 2, length), (0.0, length),
    ])  # fmt: skip
    return moved(lathe(outline, sides=28), ALONG_X)


def _ferrule(start: float, end: float, wide: float, narrow: float) -> TriangleMesh:
    """A metal sleeve along x with two rolled rings."""
    a, b = wide / 2, narrow / 2
    z = np.linspace(start, end, 40)
    r = a + (b - a) * (z - start) / (end - start)
    for ring in (0.2, 0.32, 0.8):
        r = r - 0.25 * np.exp(-((((z - start) / (end - start) - ring) / 0.03) ** 2))
    outline = np.concatenate([[[0.0, start]], np.column_stack([r, z]), [[0.0, end]]])
    return moved(lathe(outline, sides=28), ALONG_X)


def loop_tool(rng: np.random.Generator) -> Prop:
    """A wooden handle with a loop of flat wire, for taking off clay."""
    length, thick = rng.uniform(105, 135), rng.uniform(9.5, 12.5)
    neck = rng.uniform(6.2, 7.4)
    reach, wide = rng.uniform(24, 36), rng.uniform(15, 24)
    s = np.linspace(0, 1, 61)
    shape = rng.uniform(1.4, 2.6)
    angle = np.pi * (2 * s - 1)
    x = reach * (0.5 + 0.5 * np.cos(angle)) ** (1 / shape)
    y = 0.5 * wide * np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** 0.9 * np.clip(x / (0.3 * reach), 0.12, 1.0)
    start = length + 17.0
    path = np.column_stack([start - 2 + x, y, np.zeros_like(x)])
    wire = tube(path, rounded_rectangle(0.8, 2.2, 0.3, 3))
    bend = rng.uniform(-0.12, 0.12)
    wire = moved(wire, turn("x", 0.0) @ turn("y", bend), [start * (1 - np.cos(bend)), 0.0, start * np.sin(bend)])
    return assembled("loop tool", [
        (_handle(rng, length, thick, neck=neck), str(rng.choice(["beech", "walnut", "worn paint"]))),
        (_ferrule(length - 4.0, start, neck + 1.2, neck - 0.4), "brass"), (wire, "steel"),
    ])  # fmt: skip


def needle_tool(rng: np.random.Generator) -> Prop:
    """A needle in a slim turned handle."""
    length = rng.uniform(82, 105)
    needle = np.array([[0.0, 0.0], [0.55, 0.0], [0.55, 32.0], [0.1, 46.0], [0.0, 46.3]]) + [0.0, length - 6]
    return assembled("needle tool", [
        (_handle(rng, length, rng.uniform(7, 9), neck=4.6), str(rng.choice(["beech", "boxwood"]))),
        (_ferrule(length - 9.0, length + 2.0, 5.6, 3.0), "brass"), (moved(lathe(needle, sides=12), ALONG_X), "steel"),
    ])  # fmt: skip


def brush(rng: np.random.Generator) -> Prop:
    """A round brush with a lacquered handle, its hairs a little splayed and stiff with old slip."""
    length, thick = rng.uniform(140, 175), rng.uniform(6.5, 9.0)
    r = thick / 2
    tail = profile([
        (0.0, 0.0), (0.9, 0.6), (1.15, 8.0), (0.55 * r, 0.42 * length), (r, 0.82 * length), (0.8 * r, 0.95 * length),
        (0.74 * r, length), (0.0, length),
    ])  # fmt: skip
    head = rng.uniform(16, 26)
    start = length + rng.uniform(20, 28)
    parts = [
        (moved(lathe(tail, sides=24), ALONG_X), str(rng.choice(["red lacquer", "black lacquer", "beech"]))),
        (_ferrule(length - 5.0, start, 1.6 * r + 0.8, 1.7 * r), str(rng.choice(["brass", "steel"]))),
        (_hairs(rng, start - 1.0, head, 0.8 * r), "bristle"),
    ]
    return assembled("brush", parts)


def _hairs(rng: np.random.Generator, start: float, length: float, radius: float) -> TriangleMesh:
    """A tuft: a body that narrows to a point, fluted into strands, bent to one side by use."""
    rows, columns = 26, 72
    s = np.linspace(0, 1, rows)[:, None]
    angle = np.linspace(0, 2 * np.pi, columns, endpoint=False)[None]
    body = radius * (1 + 0.35 * np.sin(np.pi * np.minimum(1.15 * s, 1.0))) * np.sqrt(np.clip(1 - s**2.6, 0.0, 1.0))
    strands = 0.10 * np.sin(11 * angle + 1.3 * s) + 0.06 * np.sin(23 * angle - 2 * s) + 0.05 * np.sin(36 * angle)
    ring = body * (1 + strands * s**0.5)
    bend = rng.uniform(-0.16, 0.16) * length * s**2
    points = np.stack(
        [start + length * s + 0 * angle, ring * np.cos(angle) + bend, ring * np.sin(angle) - 0.05 * length * s**2], -1
    )
    flat = points.reshape(-1, 3)
    return TriangleMesh(flat, strip_faces(rows, columns, closed_columns=True))


def pencil(rng: np.random.Generator) -> Prop:
    """A six-sided pencil, used and sharpened with a knife."""
    length, across = rng.uniform(85, 165), 7.2
    r = across / np.sqrt(3)
    cone, point = rng.uniform(17, 22), rng.uniform(5.0, 7.5)
    hexagon = rounded_rectangle(1, 1, 0.1, 2)
    angle = np.arange(48) / 48 * 2 * np.pi
    side = np.pi / 3
    hexagon = (across / 2 / np.cos(np.mod(angle + side / 2, side) - side / 2))[:, None] * np.stack(
        [np.cos(angle), np.sin(angle)], 1
    )
    hexagon = hexagon * np.minimum(1.0, 0.985 * r / np.linalg.norm(hexagon, axis=1))[:, None]
    body = tube(
        np.array([[0, 0, 0], [0.5, 0, 0], [length * 0.5, 0, 0], [length, 0, 0.0]]),
        hexagon,
        scale=np.array([[0.93, 0.93], [1, 1], [1, 1], [1, 1]]),
    )
    s = np.linspace(0, 1, 14)
    facets = 1 + 0.02 * np.sin(9 * s + rng.uniform(0, 6))
    wood = np.column_stack([length - 1.2 + (cone + 1.2) * s, 0 * s, 0 * s])
    radius = (r - 0.05 + (1.25 - r) * s) * facets
    bare = tube(wood, circle(1.0, 24), scale=np.column_stack([radius, radius]))
    tip = np.array([[1.2, 0.0], [1.15, 0.4], [0.45, point], [0.25, point + 0.4], [0.0, point + 0.5]]) + [
        0.0,
        length + cone - 0.5,
    ]
    lead = moved(lathe(tip, sides=16), ALONG_X)
    end = moved(lathe(np.array([[0.0, -0.25], [1.1, -0.2], [1.1, 0.3], [0.0, 0.3]]), sides=16), ALONG_X)
    paint = str(rng.choice(["yellow lacquer", "green lacquer", "red lacquer", "black lacquer"]))
    roll = turn("x", np.pi / 6)  # lies on a flat
    return assembled("pencil", [(moved(part, roll), material) for part, material in (
        (body, paint), (bare, "bare wood"), (lead, "graphite"), (end, "graphite"))])  # fmt: skip


def _blade(outline: Floats, thickness: float) -> TriangleMesh:
    return slab(outline, thickness, rounding=0.45 * thickness, steps=2)


def knife(rng: np.random.Generator) -> Prop:
    """A thin-bladed knife for trimming clay: two wooden scales riveted to a tang."""
    grip, blade, wide = rng.uniform(95, 112), rng.uniform(70, 95), rng.uniform(12, 16)
    s = np.linspace(0, 1, 20)
    edge = np.column_stack([blade * s, -wide / 2 + wide * 0.9 * np.clip((s - 0.55) / 0.45, 0, 1) ** 2.2])
    back = np.column_stack([blade * s[::-1][1:], wide / 2 - 0.6 * np.clip((s[::-1][1:] - 0.8) / 0.2, 0, 1)])
    outline = np.concatenate([edge, back]) + [grip - 2.0, 0.0]
    steel = _blade(outline, 1.1)
    t = np.linspace(0, 1, 30)
    waist = 1 - 0.22 * np.sin(np.pi * t) ** 2 + 0.10 * np.sin(2 * np.pi * t)
    half = 0.5 * (wide + 4) * waist * np.sqrt(np.clip(1 - np.abs(2 * t - 1) ** 9, 0.05, 1))
    shape = np.concatenate([np.column_stack([grip * t, -half]), np.column_stack([grip * t[::-1], half[::-1]])])
    scale = slab(shape, 5.2, rounding=2.2, steps=4)
    parts = [
        (moved(steel, np.eye(3), [0, 0, 4.9]), "steel"),
        (scale, "walnut"),
        (moved(scale, np.eye(3), [0, 0, 5.9]), "walnut"),
    ]
    core = slab(shape * [0.99, 0.96], 0.9, rounding=0.2, steps=2)
    parts.append((moved(core, np.eye(3), [0.5, 0, 5.1]), "steel"))
    for share in (0.22, 0.55, 0.84):
        rivet = lathe(np.array([[0.0, 0.0], [1.9, 0.0], [2.1, 0.15], [1.9, 0.35], [0.0, 0.42]]), sides=18)
        parts.append((moved(rivet, np.eye(3), [share * grip, 0.0, 10.95]), "brass"))
    return assembled("knife", parts)


def rib(rng: np.random.Generator) -> Prop:
    """A kidney-shaped wooden rib with a thumb hole's hollow left out, thin at its working edge."""
    long, wide, thick = rng.uniform(88, 112), rng.uniform(46, 58), rng.uniform(4.5, 6.5)
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    r = 1 + 0.10 * np.cos(2 * angle + rng.uniform(-0.3, 0.3))
    x, y = 0.5 * long * r * np.cos(angle), 0.5 * wide * r * np.sin(angle)
    y = y - 0.30 * wide * np.exp(-((x / (0.28 * long)) ** 2)) * (y > 0) * rng.uniform(0.5, 1.0)
    body = slab(np.column_stack([x, y]), thick, rounding=0.42 * thick, steps=4, dome=np.array([0.15, 0.35, 0.6]))
    points = np.asarray(body.vertices, float).copy()
    thin = np.clip((0.1 * wide - points[:, 1]) / (0.5 * wide), 0, 1)
    points[:, 2] = np.where(points[:, 2] > 0.5 * thick, points[:, 2] - 0.4 * thick * thin**2, points[:, 2])
    return assembled("rib", [(TriangleMesh(points, body.faces), str(rng.choice(["beech", "walnut", "boxwood"])))])


def boxwood_tool(rng: np.random.Generator) -> Prop:
    """A modelling tool of boxwood, a spatula at one end and a point at the other."""
    length = rng.uniform(140, 175)
    s = np.linspace(0, 1, 46)
    flat = np.clip((0.30 - s) / 0.30, 0, 1)
    sharp = np.clip((s - 0.66) / 0.34, 0, 1)
    wide = 4.0 + rng.uniform(2.5, 4.0) * flat**1.2 * (1 - flat**5) - 3.2 * sharp**1.5
    tall = 4.0 - 2.9 * flat**0.8 - 3.2 * sharp**1.3
    tip = np.sqrt(np.clip(1 - flat**8, 0.02, 1))
    bow = rng.uniform(2, 5) * flat**2 + rng.uniform(0, 4) * sharp**2
    path = np.column_stack([length * s, rng.uniform(-2, 2) * np.sin(np.pi * s), bow])
    ahead = np.gradient(path, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    across = np.tile([0.0, 1.0, 0.0], (len(s), 1))
    mesh = framed_tube(
        path, circle(1.0, 24), np.column_stack([wide * tip, np.maximum(tall, 0.5) * tip]), across, np.cross(ahead, across)
    )
    return assembled("boxwood tool", [(mesh, "boxwood")])


def cutting_wire(rng: np.random.Generator) -> Prop:
    """A wire with two wooden toggles, thrown down in a loop."""
    reach = rng.uniform(55, 80)
    s = np.linspace(0, 1, 160)
    turns = rng.uniform(1.4, 2.3) * 2 * np.pi
    radius = reach * (0.75 + 0.25 * np.sin(2.3 * s * np.pi + rng.uniform(0, 6)))
    angle = turns * s
    z = 0.45 + 1.4 * np.maximum(0.0, np.sin(3.1 * np.pi * s)) ** 2
    path = np.column_stack([radius * np.cos(angle), 0.7 * radius * np.sin(angle), z])
    parts = [(tube(path, circle(0.4, 8)), "steel")]
    outline = profile([(0.0, -17.0), (4.2, -16.6), (5.0, -14.0), (4.6, 0.0), (5.0, 14.0), (4.2, 16.6), (0.0, 17.0)])
    for end, heading in ((path[0], angle[0]), (path[-1], angle[-1])):
        toggle = moved(lathe(outline, sides=24), turn("z", heading + rng.uniform(-0.4, 0.4)) @ ALONG_X)
        parts.append((moved(toggle, np.eye(3), [end[0], end[1], 5.0]), "beech"))
    return assembled("cutting wire", parts)
