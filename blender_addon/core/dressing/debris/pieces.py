"""What do the small pieces look like? Shavings that curl, offcuts, rolls, crumbs and grains of clay, wood or stone.

Each is a closed mesh at true size in mm, resting on z = 0 on the side on which it would come to lie, its bounding disc centred
on the origin. Thicknesses: planed wood 0.10 to 0.22 mm (Ugulino & Hernandez 2017, helical planing of red oak), hand-plane
shavings thinner (from memory 0.02 to 0.1 mm), sawdust 0.1 to 2 mm (from memory); clay trimmed with a loop tool 0.3 to 0.9 mm
(common practice).
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...mesh.similarity import rotation_about
from ...mesh.solids import ball, circle, cut_flat, framed_tube, moved, roughened, rounded_rectangle, tube
from ...mesh.triangles import TriangleMesh, unit
from ...records import record

CLASSES = ("shaving", "offcut", "roll", "crumb", "grain")
BODIES = ("clay", "wood", "stone")


@record
class Piece:
    """One shape. radius: of the bounding disc round the origin; height: from the rest to the top; thickness: of its body.

    base: (k, 3) points of the underside, the ones that can touch.
    """

    kind: str
    mesh: TriangleMesh
    radius: float
    height: float
    thickness: float
    base: Floats


def library(body: str = "clay", *, seed: int = 1, variants: int = 6) -> list[Piece]:
    """A set of pieces of one body ('clay', 'wood', 'stone'): `variants` of each class that this body breaks into."""
    if body not in BODIES:
        raise ValueError(f"body must be one of {BODIES}, not {body!r}")
    makers = {
        "clay": {"shaving": _clay_shaving, "offcut": _offcut, "roll": _roll, "crumb": _crumb, "grain": _grain},
        "wood": {"shaving": _wood_shaving, "offcut": _chip, "crumb": _splinter, "grain": _grain},
        "stone": {"offcut": _offcut, "crumb": _crumb, "grain": _grain},
    }[body]
    pieces = []
    for order, (kind, make) in enumerate(makers.items()):
        for number in range(variants):
            rng = np.random.default_rng([seed, BODIES.index(body), order, number])
            mesh, thickness = make(rng)
            pieces.append(_settled(kind, mesh, thickness))
    return pieces


def _settled(kind: str, mesh: TriangleMesh, thickness: float) -> Piece:
    """Stand the mesh on z = 0 with its bounding disc round the origin."""
    points = np.asarray(mesh.vertices, float)
    middle = 0.5 * (points[:, :2].min(axis=0) + points[:, :2].max(axis=0))
    points = points - [*middle, points[:, 2].min()]
    height = float(np.ptp(points[:, 2]))
    low = points[points[:, 2] <= max(0.06 * height, 0.15 * min(thickness, height))]
    return Piece(
        kind,
        TriangleMesh(points, mesh.faces),
        float(np.linalg.norm(points[:, :2], axis=1).max()),
        height,
        thickness,
        _thinned(low),
    )


def _thinned(points: Floats, most: int = 12) -> Floats:
    """The points farthest out in `most` directions, then some half as far out, then the middle one."""
    angle = np.linspace(0, 2 * np.pi, most, endpoint=False)
    ways = np.stack([np.cos(angle), np.sin(angle)])
    middle = points[:, :2].mean(axis=0)
    reach = (points[:, :2] - middle) @ ways
    far = np.argmax(reach, axis=0)
    half = np.argmin(
        np.linalg.norm(points[:, None, :2] - (middle + 0.5 * reach.max(axis=0)[:, None] * ways.T)[None], axis=2), axis=0
    )
    near = np.argmin(np.linalg.norm(points[:, :2] - middle, axis=1))
    rows = dict.fromkeys([*far.tolist(), *half[::2].tolist(), int(near)])
    return points[list(rows)]


# --- clay ----------------------------------------------------------------------------------------------------------------


def _clay_shaving(rng: np.random.Generator) -> tuple[TriangleMesh, float]:
    """A strip taken off by a loop tool: ragged at the edges, thicker in the middle than at the rim.

    Most are open and lie hollow side down, since damp clay sags under its own weight; some rolled up in front of the tool.
    """
    length, width = rng.uniform(7, 24), rng.uniform(2.0, 4.6)
    thickness = rng.uniform(0.35, 0.8)
    tightness = rng.uniform(0.5, 2.1) if rng.random() < 0.7 else rng.uniform(5.5, 8.5)  # radians of curl over the length
    return _curl(rng, (length, width, thickness), tightness, ragged=0.35, pinch=0.75, tail=0.6), thickness


def _wood_shaving(rng: np.random.Generator) -> tuple[TriangleMesh, float]:
    """A ribbon off a plane or knife: thin, even, half a turn to two and a half, the wider the longer."""
    thickness = rng.uniform(0.10, 0.22)
    length = rng.uniform(16, 60)
    radius = rng.uniform(2.6, 6.5)
    return _curl(
        rng, (length, rng.uniform(3.5, 9), thickness), min(length / radius, 15.0), ragged=0.12, pinch=0.3, tail=0.45
    ), thickness


def _curl(
    rng: np.random.Generator, size: tuple[float, float, float], tightness: float, *, ragged: float, pinch: float, tail: float,
) -> TriangleMesh:  # fmt: skip
    """A ribbon wound round a level axis, opening as it goes, drawn out sideways into a helix; `tail`: how wide its ends are."""
    length, width, thickness = size
    steps = max(24, int(10 * tightness))
    s = np.linspace(0, 1, steps)
    opening = rng.uniform(0.3, 0.85)
    angle = tightness * (s + opening * (s - s * s))  # tight at one end, loose at the other
    ahead = np.stack([np.cos(angle), np.sin(angle)], axis=1) * (length / steps)
    flat = np.cumsum(ahead, axis=0)
    helix = rng.uniform(0.15, 0.7) * width * max(tightness / 6.28, 0.4) * 2.2 * s
    path = np.column_stack([flat[:, 0], helix + 0.1 * width * noise_of(rng, s), flat[:, 1]])
    path = path @ rotation_about("y", _lying(path[:, [0, 2]], hollow_down=tightness < 2.2)).T
    taper = np.minimum(1.0, tail + 3.2 * np.minimum(s, 1 - s))
    wide = taper * (1 + ragged * noise_of(rng, 6 * s))
    thick = np.minimum(1.0, 0.35 + 2.5 * np.minimum(s, 1 - s)) * (1 + 0.15 * noise_of(rng, 4 * s))
    section = rounded_rectangle(width, thickness, 0.45 * thickness, 2)
    section = _denser(section, 5)
    section[:, 1] += pinch * 0.22 * thickness * ((2 * section[:, 0] / width) ** 2)
    side = np.array([0.0, 1.0, 0.0])
    return _swept(path, section, np.stack([wide, thick], axis=1), side)


def _lying(curve: Floats, *, hollow_down: bool) -> float:
    """The angle about y that brings a wound strip (n, 2 of x, z) to rest: its middle as low as it will go.

    An open strip can lie like a bridge or like a boat; on real floors most lie like bridges (from memory), and these cast the
    clearer shadow.
    """
    middle = curve - curve.mean(axis=0)
    angles = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    # rotation_about("y", a) takes z to -sin(a) x + cos(a) z
    height = -np.sin(angles)[:, None] * middle[None, :, 0] + np.cos(angles)[:, None] * middle[None, :, 1]
    low = -height.min(axis=1)
    if hollow_down:
        ends = height[:, [0, -1]].mean(axis=1)
        low = np.where(ends < 0, low - 1e3, low)
    return float(angles[np.argmin(low)])


def _swept(path: Floats, section: Floats, scale: Floats, side: Floats) -> TriangleMesh:
    """A section drawn along a path with its first axis held along `side`, as a ribbon's width is."""
    ahead = unit(np.gradient(path, axis=0))
    across = unit(side[None] - (ahead @ side)[:, None] * ahead)
    return framed_tube(path, section, scale, across, np.cross(across, ahead))


def _denser(section: Floats, parts: int) -> Floats:
    """The outline with its long sides divided."""
    after = np.roll(section, -1, axis=0)
    long = np.linalg.norm(after - section, axis=1)
    out = []
    for a, b, length in zip(section, after, long, strict=True):
        count = parts if length > 0.4 * long.max() else 1
        out += [a + (b - a) * t for t in np.arange(count) / count]
    return np.array(out)


def noise_of(rng: np.random.Generator, s: Floats) -> Floats:
    """A slow random curve over s, about -1 to 1."""
    phase = rng.uniform(0, 6.28, 3)
    return (np.sin(3.1 * s + phase[0]) + 0.6 * np.sin(7.3 * s + phase[1]) + 0.4 * np.sin(13.7 * s + phase[2])) / 1.6


def _offcut(rng: np.random.Generator) -> tuple[TriangleMesh, float]:
    """A lump cut off with a knife or wire: two or three clean faces, the rest torn and rounded."""
    size = np.array([rng.uniform(1.6, 3.2), rng.uniform(1.1, 2.2), rng.uniform(0.7, 1.4)])
    mesh = roughened(ball(4), 0.16, 0.55, seed=int(rng.integers(1 << 30)))
    mesh = TriangleMesh(mesh.vertices * size, mesh.faces)
    mesh = roughened(mesh, 0.05, 0.35, seed=int(rng.integers(1 << 30)))
    for _ in range(int(rng.integers(1, 4))):
        normal = unit(np.array([*rng.normal(size=2), rng.uniform(-0.2, 1.2)]))
        reach = float((mesh.vertices @ normal).max())
        mesh = cut_flat(mesh, normal, reach * rng.uniform(0.35, 0.75))
    mesh = _on_its_side(mesh)
    mesh = cut_flat(mesh, np.array([0.0, 0.0, -1.0]), 0.5 * np.ptp(mesh.vertices[:, 2]) * rng.uniform(0.3, 0.7))
    return mesh, float(np.ptp(mesh.vertices[:, 2]))


def _roll(rng: np.random.Generator) -> tuple[TriangleMesh, float]:
    """A bit rolled between finger and table: a short bent roll with pinched ends."""
    radius, length = rng.uniform(0.5, 1.1), rng.uniform(4, 11)
    s = np.linspace(0, 1, 28)
    bend = rng.uniform(-1.2, 1.2) * (s - 0.5) + 0.25 * noise_of(rng, 2 * s)
    path = np.cumsum(np.stack([np.cos(bend), np.sin(bend), 0 * s], axis=1), axis=0) * length / len(s)
    ends = np.sqrt(np.clip(1 - (2 * np.abs(s - 0.5)) ** rng.uniform(4, 9), 0.02, 1))
    ends = ends * (1 + 0.15 * noise_of(rng, 3 * s))
    mesh = tube(path, circle(radius, 14), scale=np.stack([ends, ends * 0.94], axis=1))
    return cut_flat(mesh, np.array([0.0, 0.0, -1.0]), 0.86 * radius), 1.8 * radius


def _crumb(rng: np.random.Generator) -> tuple[TriangleMesh, float]:
    """A torn crumb, rough all over, lying on its broadest side."""
    size = np.array([1.0, rng.uniform(0.6, 0.95), rng.uniform(0.4, 0.75)]) * 0.75
    mesh = roughened(ball(3), 0.28, 0.5, seed=int(rng.integers(1 << 30)))
    mesh = roughened(TriangleMesh(mesh.vertices * size, mesh.faces), 0.07, 0.16, seed=int(rng.integers(1 << 30)))
    for _ in range(int(rng.integers(0, 3))):
        normal = unit(rng.normal(size=3))
        mesh = cut_flat(mesh, normal, float((mesh.vertices @ normal).max()) * rng.uniform(0.5, 0.8))
    mesh = _on_its_side(mesh)
    mesh = cut_flat(mesh, np.array([0.0, 0.0, -1.0]), 0.5 * np.ptp(mesh.vertices[:, 2]) * rng.uniform(0.35, 0.7))
    return mesh, float(np.ptp(mesh.vertices[:, 2]))


def _on_its_side(mesh: TriangleMesh) -> TriangleMesh:
    """The mesh tipped over until its thinnest way is up, its middle at the origin: nothing comes to lie on end."""
    points = mesh.vertices - 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    ways = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2]
    ways[0] *= np.sign(np.linalg.det(ways))
    points = points @ ways.T
    return TriangleMesh(points - 0.5 * (points.min(axis=0) + points.max(axis=0)), mesh.faces)


def _grain(rng: np.random.Generator) -> tuple[TriangleMesh, float]:
    """A grain of powder or sawdust."""
    size = np.array([1.0, rng.uniform(0.6, 0.9), rng.uniform(0.45, 0.7)]) * 0.16
    mesh = roughened(ball(1), 0.3, 0.7, seed=int(rng.integers(1 << 30)))
    mesh = cut_flat(TriangleMesh(mesh.vertices * size, mesh.faces), np.array([0.0, 0.0, -1.0]), size[2] * 0.6)
    return mesh, float(np.ptp(mesh.vertices[:, 2]))


# --- wood ----------------------------------------------------------------------------------------------------------------


def _chip(rng: np.random.Generator) -> tuple[TriangleMesh, float]:
    """A chip off a gouge: a thin curved flake, its hollow side down."""
    thickness = rng.uniform(0.3, 0.9)
    return _curl(
        rng, (rng.uniform(4, 10), rng.uniform(2, 5), thickness), rng.uniform(0.3, 1.1), ragged=0.3, pinch=0.2, tail=0.35
    ), thickness


def _splinter(rng: np.random.Generator) -> tuple[TriangleMesh, float]:
    """A short sliver along the grain."""
    length, thickness = rng.uniform(1.2, 4.0), rng.uniform(0.15, 0.45)
    s = np.linspace(0, 1, 10)
    path = np.stack([length * s, 0.06 * length * noise_of(rng, s), 0 * s], axis=1)
    ends = np.clip(0.25 + 3 * np.minimum(s, 1 - s), 0, 1)
    mesh = tube(
        path,
        rounded_rectangle(thickness * rng.uniform(1.0, 2.2), thickness, 0.1 * thickness, 2),
        scale=np.stack([ends, ends], 1),
    )
    return moved(mesh, np.eye(3)), thickness
