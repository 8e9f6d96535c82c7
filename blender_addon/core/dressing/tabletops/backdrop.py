"""What stands far behind the table: a room that is always out of focus, in millimetres.

Four walls round the table that meet in rounded corners, a floor, and on each wall objects large enough to be recognised when
blurred: shelves with pots, leaning boards, a whitewashed window niche, a hung apron or sheet. No two walls alike.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from ...arrays import Floats
from ...mesh.similarity import rotation_about
from ...mesh.solids import lathe, moved, rounded_rectangle, slab, slotted
from ...mesh.topology import joined
from ...mesh.triangles import TriangleMesh
from ...records import record
from ..background import Hung, box_edges, moved_along

WALL, WOOD, DARK, PALE, GLAZED, CLAY = range(6)
"""Material slots of the room."""

FLOOR = -780.0
"""Height of the floor under a table top, mm (common practice: benches stand 75 to 90 cm high)."""

CEILING = 1900.0
"""Height of the ceiling over a table top, mm."""

LOOSE = 320.0
"""Largest size, mm, of objects that can be removed: pots, but no board and no shelf."""


CORNER = 0.2
"""Radius of the corners, in half widths of the room: an edge between two walls would stand behind a head seen at 45 degrees."""


@record
class Furnishing:
    """An object at a wall, by the wall's number; `ways` (1 or 2, 3), unit vectors at right angles, are the only directions in
    which it can be moved: along the wall, and up and down where it hangs. What hangs or stands together has one `group`."""

    mesh: TriangleMesh
    ways: Floats
    wall: int
    group: int

    def moved(self, shift: Floats) -> TriangleMesh:
        """The mesh moved by `shift` (2,) mm along the wall and up, as far as it can be."""
        return moved(self.mesh, np.eye(3), moved_along(self.ways, shift))


@record
class Workshop:
    """A room in its parts: `shell` (floor and walls), `fixed` (shelves, panels, boards), `loose` (pots)."""

    shell: tuple[TriangleMesh, ...]
    fixed: tuple[Furnishing, ...]
    loose: tuple[Furnishing, ...]
    half: float

    def hung(self, wall: int) -> dict[int, Hung]:
        """The fixed things of a wall by their groups, as `quiet_arrangement` takes them."""
        there = [part for part in self.fixed if part.wall == wall]
        found = {}
        for group in dict.fromkeys(part.group for part in there):
            parts = [part for part in there if part.group == group]
            edges = [box_edges(part.mesh) for part in parts]
            ends, normals = (np.concatenate(several) for several in zip(*edges, strict=True))
            found[group] = Hung(ends, normals, parts[0].ways)
        return found


def workshop_parts(half: float, *, seed: int = 1, scale: float = 1.0) -> Workshop:
    """A workshop of four walls, `half` from the middle to each, mm; scale: how much larger than usual its contents
    are."""
    room = _usual(half / scale, seed)
    if scale == 1.0:
        return room
    shell = tuple(replace(part, vertices=np.asarray(part.vertices) * scale) for part in room.shell)
    fixed, loose = (
        tuple(replace(part, mesh=replace(part.mesh, vertices=np.asarray(part.mesh.vertices) * scale)) for part in parts)
        for parts in (room.fixed, room.loose)
    )
    return Workshop(shell, fixed, loose, half)


GROUPS = 100
"""More groups than there are at a wall."""


def _usual(half: float, seed: int) -> Workshop:
    rng = np.random.default_rng([seed, 301])
    shell = [_floor(half), _walls(half)]
    fixed: list[Furnishing] = []
    loose: list[Furnishing] = []
    start = int(rng.integers(4))
    for side in range(4):
        face = rotation_about("z", (side + start) * np.pi / 2)
        make = (_shelves, _niche, _shelves, _boards)[side]
        ways = np.array([face @ [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])[: 1 if make is _boards else 2]
        for part, group in make(half, rng):
            placed = Furnishing(moved(part, face), ways, side, GROUPS * side + group)
            (loose if np.ptp(placed.mesh.vertices, axis=0).max() < LOOSE else fixed).append(placed)
    return Workshop(tuple(shell), tuple(fixed), tuple(loose), half)


def assembled(
    room: Workshop,
    *,
    shifts: Mapping[int, Floats] | None = None,
    away: Callable[[Floats], bool] | None = None,
    without: Collection[int] = (),
) -> TriangleMesh:
    """The room as one mesh, what is at each wall moved by its shift (2,) mm along it and up.

    Loose objects that would then be inside a wall, or for whose points (n, 3) mm `away` is true, are left out.

    without: groups that are left out, with what stands on them.
    """
    ways = dict.fromkeys(range(4), np.zeros(2)) | dict(shifts or {})
    placed = [part.moved(ways[part.wall]) for part in room.loose if part.group not in without]
    inside = [part for part in placed if _in_room(part.vertices, room.half)]
    kept = [part for part in inside if away is None or not away(part.vertices)]
    fixed = [part.moved(ways[part.wall]) for part in room.fixed if part.group not in without]
    return joined([*room.shell, *fixed, *kept])


def _in_room(points: Floats, half: float) -> bool:
    """Whether points (n, 3) mm lie before the walls and their rounded corners."""
    over = np.maximum(np.abs(points[:, :2]) - (1.0 - CORNER) * half, 0.0)
    return bool((np.hypot(*over.T) < CORNER * half).all())


def plain_wall(half: float) -> TriangleMesh:
    """Four bare walls and a floor."""
    return joined([_floor(half), _walls(half)])


def _floor(half: float) -> TriangleMesh:
    corners = np.array([[-half, -half, FLOOR], [half, -half, FLOOR], [half, half, FLOOR], [-half, half, FLOOR]])
    return slotted(TriangleMesh(corners, np.array([[0, 1, 2], [0, 2, 3]])), DARK)


def _walls(half: float) -> TriangleMesh:
    """The four walls and the corners between them, seen from the middle."""
    ring = rounded_rectangle(2.0 * half, 2.0 * half, CORNER * half, 12)
    corners = np.concatenate([np.column_stack([ring, np.full(len(ring), height)]) for height in (FLOOR, CEILING)])
    here, count = np.arange(len(ring)), len(ring)
    after = (here + 1) % count
    faces = np.concatenate(
        [np.column_stack([after, here, here + count]), np.column_stack([after, here + count, after + count])]
    )
    return slotted(TriangleMesh(corners, faces), WALL)


def _box(size: ArrayLike, centre: ArrayLike, slot: int) -> TriangleMesh:
    sides, middle = np.asarray(size, float), np.asarray(centre, float)
    body = slab(rounded_rectangle(sides[0], sides[1], 3.0, 3), sides[2], rounding=2.0)
    return slotted(moved(body, np.eye(3), middle - [0, 0, sides[2] / 2]), slot)


def _pot(rng: np.random.Generator, height: float, slot: int) -> TriangleMesh:
    """A vase, bowl or jar of a random outline."""
    belly, foot, neck = rng.uniform(0.28, 0.55), rng.uniform(0.15, 0.3), rng.uniform(0.1, 0.35)
    z = np.linspace(0, 1, 14)
    swell = foot + (belly - foot) * np.sin(np.pi * np.minimum(z / rng.uniform(0.8, 1.3), 1.0)) + (neck - foot) * z**3
    outside = np.column_stack([np.maximum(swell, 0.06), z]) * height
    inside = outside[::-1][:4] - [0.05 * height, 0.0]
    profile = np.concatenate([[[0.0, 0.0]], outside, np.maximum(inside, [1.0, 0.0]), [[0.0, inside[-1, 1]]]])
    return slotted(lathe(profile, sides=32), slot)


Part = tuple[TriangleMesh, int]
"""An object at a wall, and the number of what hangs or stands together with it."""


def _shelves(half: float, rng: np.random.Generator) -> list[Part]:
    parts: list[Part] = []
    for group, level in enumerate((-480.0, -150.0, 130.0, 470.0)):  # a low camera sees two of them over the table's edge
        z = level + rng.uniform(-30, 30)
        length, middle = rng.uniform(1.3, 1.9) * half, rng.uniform(-0.05, 0.05) * half
        parts.append((_box([length, 200.0, 24.0], [middle, half - 110.0, z], WOOD), group))
        x = middle - length / 2 + 60.0
        while x < middle + length / 2 - 60.0:
            height = rng.uniform(80, 235)
            slot = int(rng.choice([GLAZED, CLAY, CLAY, PALE, DARK, WOOD]))
            pot = moved(_pot(rng, height, slot), np.eye(3), [x, half - 110.0 + rng.uniform(-40, 40), z + 12.0])
            parts.append((pot, group))
            x += height * rng.uniform(0.75, 1.3) + (rng.uniform(60, 220) if rng.random() < 0.3 else 0.0)
    return parts


def _niche(half: float, rng: np.random.Generator) -> list[Part]:
    """A pale panel with bars, as a window with a drawn blind shows, and a sill with a few things on it."""
    x, width, height = rng.uniform(-0.3, 0.3) * half, rng.uniform(620, 820), rng.uniform(800, 1000)
    z = -150.0 + height / 2
    parts = [_box([width, 16.0, height], [x, half - 12.0, z], PALE)]
    for off in (-width / 2, 0.0, width / 2):
        parts.append(_box([36.0, 50.0, height + 40.0], [x + off, half - 30.0, z], WOOD))
    for off in (-height / 2, height * 0.12, height / 2):
        parts.append(_box([width + 40.0, 46.0, 34.0], [x, half - 28.0, z + off], WOOD))
    parts.append(_box([width + 160.0, 170.0, 30.0], [x, half - 90.0, z - height / 2 - 30.0], WOOD))
    for _ in range(3):
        place = [x + rng.uniform(-0.45, 0.45) * width, half - 100.0, z - height / 2 - 15.0]
        parts.append(moved(_pot(rng, rng.uniform(90, 190), int(rng.choice([GLAZED, CLAY, DARK]))), np.eye(3), place))
    found = [(part, 0) for part in parts]
    for group, side in ((1, -1), (2, 1)):
        curtain = [150.0, 12.0, 900.0], [x + side * (width / 2 + 190.0), half - 20.0, z - 80.0]
        found.append((_box(*curtain, int(rng.choice([CLAY, DARK]))), group))
    return found


def _boards(half: float, rng: np.random.Generator) -> list[Part]:
    """Planks and panels that lean against the wall, a low bench with buckets."""
    parts: list[Part] = []
    x = -0.7 * half
    while x < 0.7 * half:
        width, height = rng.uniform(70, 260), rng.uniform(700, 1700)
        board = _box([width, 22.0, height], [0.0, 0.0, height / 2], int(rng.choice([WOOD, WOOD, PALE, DARK, CLAY])))
        lean = rotation_about("x", -rng.uniform(0.06, 0.16)) @ rotation_about("y", rng.uniform(-0.05, 0.05))
        parts.append((moved(board, lean, [x, half - 0.16 * height - 20.0, FLOOR]), 1 + len(parts)))
        x += width + rng.uniform(10, 260)
    middle = rng.uniform(-200, 200)
    parts.append((_box([900.0, 260.0, 40.0], [middle, half - 330.0, -330.0], WOOD), 0))
    for _ in range(5):
        place = [middle + rng.uniform(-340, 340), half - 330.0 + rng.uniform(-60, 60), -310.0]
        parts.append(
            (moved(_pot(rng, rng.uniform(120, 300), int(rng.choice([GLAZED, CLAY, PALE, DARK]))), np.eye(3), place), 0)
        )
    return parts
