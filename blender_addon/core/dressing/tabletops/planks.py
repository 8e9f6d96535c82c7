"""A workbench of planks: boards sawn from logs, with gaps, end joints, knots, saw marks and wear, in millimetres.

Boards run along x. Each is cut from a log of its own, so its rings, its knots and the way the grain passes round them are one
field, which the relief (hard latewood stands out) and the material (dark latewood) share.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...noise import layered, noise, smoothstep
from ...records import record
from .grid import Extent, Tabletop, lines, sheet

ROUNDING = (0.0, 0.22, 0.5, 0.95, 1.6, 2.6)
"""Distances from a board's edge, mm, at which the grid has lines for the worn arris."""


@record
class Planks:
    """The kind of planks. Lengths in mm; wear 0 (freshly sawn) to 1 (a bench used for many years)."""

    width: float = 88.0
    length: float = 1700.0
    gap: float = 0.9
    ring: float = 2.6
    thickness: float = 36.0
    wear: float = 0.6
    saw_marks: float = 0.5


@record
class _Row:
    """Boards side by side along x: low and high edge in y, and the joints' places in x with their widths."""

    low: float
    high: float
    joints: tuple[tuple[float, float], ...]


def planks(extent: Extent, kind: Planks, *, seed: int = 1) -> Tabletop:
    """A tabletop of planks.

    Returns
    -------
    Tabletop whose top lies about z = 0, with values `wood_grain` (along mm, across mm, ring count, mm outside the nearest knot)
    and `wood_board` (tone 0-1, hue 0-1, dirt 0-1, polish 0-1).
    """
    rng = np.random.default_rng([seed, 101])
    rows = _layout(extent, kind, rng)
    across, owner = _across_lines(rows, extent)
    along = _along_lines(rows, extent)
    height = np.zeros((len(across), len(along)))
    grain, board = np.zeros((*height.shape, 4)), np.zeros((*height.shape, 4))
    place_y = np.repeat(across[:, None], len(along), axis=1)
    for index, row in enumerate(rows):
        here = owner == index
        z, grain[here], board[here], shift = _row_of_boards(
            row, along, across[here], kind, extent, rng, seed * 977 + index * 53
        )
        height[here] = z
        place_y[here] += shift
    place_x = np.repeat(along[None, :], len(across), axis=0)
    mesh = sheet(place_x, place_y, height, {"wood_grain": grain, "wood_board": board}, skirt=kind.thickness)
    return Tabletop(mesh, "planks", kind.thickness, notes={"boards": float(sum(len(row.joints) + 1 for row in rows))})


def _layout(extent: Extent, kind: Planks, rng: np.random.Generator) -> list[_Row]:
    """Rows from the front edge to the back; no two alike in width, joints staggered."""
    rows: list[_Row] = []
    y = extent.near_y
    last = 1e9
    while y < extent.far_y - 0.35 * kind.width:
        width = kind.width * rng.uniform(0.68, 1.3)
        high = min(y + width, extent.far_y)
        if extent.far_y - high < 0.35 * kind.width:
            high = extent.far_y
        joints = []
        x = -extent.width / 2 + rng.uniform(0.25, 1.0) * kind.length
        while x < extent.width / 2 - 0.2 * kind.length:
            if abs(x - last) < 0.18 * kind.length:
                x += 0.3 * kind.length
            joints.append((x, kind.gap * rng.uniform(0.3, 1.3)))
            last = x
            x += kind.length * rng.uniform(0.75, 1.35)
        gap = kind.gap * rng.uniform(0.45, 2.1)
        rows.append(_Row(y, high - (gap if high < extent.far_y else 0.0), tuple(joints)))
        y = high
    return rows


def _across_lines(rows: list[_Row], extent: Extent) -> tuple[Floats, Ints]:
    """Lines in y, each owned by one row; a row's first and last line are the foot of its edges, in the gap."""
    every = lines(extent.near_y, extent.far_y, reach=extent.reach, fine=extent.fine, coarse=extent.coarse)
    places, owners = [], []
    for index, row in enumerate(rows):
        inner = every[(every > row.low + ROUNDING[-1] + 0.3) & (every < row.high - ROUNDING[-1] - 0.3)]
        edges = [row.low + off for off in ROUNDING] + [row.high - off for off in ROUNDING]
        mine = np.sort(np.concatenate([inner, edges, [row.low - 0.04, row.high + 0.04]]))
        places.append(mine)
        owners.append(np.full(len(mine), index))
    return np.concatenate(places), np.concatenate(owners)


def _along_lines(rows: list[_Row], extent: Extent) -> Floats:
    extra = []
    for row in rows:
        for x, gap in row.joints:
            for off in ROUNDING:
                extra += [x - gap / 2 - off, x + gap / 2 + off]
            extra += [x - gap / 2 + 0.04, x + gap / 2 - 0.04]
    return lines(-extent.width / 2, extent.width / 2, reach=extent.reach, fine=extent.fine, coarse=extent.coarse, extra=extra)


def _row_of_boards(
    row: _Row, along: Floats, across: Floats, kind: Planks, extent: Extent, rng: np.random.Generator, seed: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Height, grain and board values of one row, (lines of the row, all lines along), and its sideways wander."""
    shape = (len(across), len(along))
    height, grain, board = np.zeros(shape), np.zeros((*shape, 4)), np.zeros((*shape, 4))
    cuts = [-extent.width / 2 - 1.0, *[x for x, _ in row.joints], extent.width / 2 + 1.0]
    widths = [0.0, *[gap for _, gap in row.joints], 0.0]
    shift = 0.22 * kind.wear * noise(along / 70.0, 0.5, seed=seed)[None, :] + np.zeros(shape)
    for number in range(len(cuts) - 1):
        here = (along >= cuts[number]) & (along < cuts[number + 1])
        if not here.any():
            continue
        low, high = cuts[number] + widths[number] / 2, cuts[number + 1] - widths[number + 1] / 2
        x, y = np.meshgrid(along[here], across)
        end = np.minimum(x - low, high - x)
        edge = np.minimum(y - row.low, row.high - y)
        middle = 0.5 * (row.low + row.high)
        z, g, b = _board(x - 0.5 * (low + high), y - middle, (edge, end), row.high - row.low, kind, rng, seed + 7 * number)
        height[:, here], grain[:, here], board[:, here] = z, g, b
    return height, grain, board, shift


def _board(
    x: Floats, y: Floats, borders: tuple[Floats, Floats], width: float, kind: Planks, rng: np.random.Generator, seed: int
) -> tuple[Floats, Floats, Floats]:
    """One board in its own frame (x along, y across from its middle, mm); borders: how far its long edge and its end are."""
    edge, end = borders
    y_grain, knot, rings = _log(x, y, width, kind, rng, seed)
    wear = kind.wear * np.clip(0.75 + 0.6 * layered(x / 140.0, y / 60.0, seed=seed + 1, octaves=3), 0.0, 1.3)
    z = rng.normal(0.0, 0.16) + 0.0012 * rng.normal() * x * 0.35 + rng.normal(0.0, 0.004) * y
    z = z - rng.uniform(0.05, 0.35) * (2 * y / width) ** 2  # cupped: boards dry hollow or crowned
    z = z + 0.12 * layered(x / 90.0, y / 35.0, seed=seed + 2, octaves=3)
    part = np.mod(rings, 1.0)
    late = smoothstep(0.45, 0.9, part) * (1 - smoothstep(0.93, 1.0, part))
    z = z + 0.14 * wear * (late - 0.35) * (1 - smoothstep(-1.0, 1.0, -knot))
    z = (
        z
        + 0.25 * wear * smoothstep(-6.0, 1.5, -knot)
        - 0.35 * smoothstep(0.55, 0.95, np.abs(noise(x / 3.1, y / 2.3, seed=seed + 9))) * (knot < -0.5)
    )
    z = z + _saw(x, y, kind, wear, rng, seed) - _dents(x, y, width, wear, rng)
    arris = (0.9 + 1.6 * kind.wear) * (0.8 + 0.5 * noise(x / 22.0, np.sign(y) * 3.7, seed=seed + 3))
    z = z - _rounded(edge, np.maximum(arris, 0.35)) - _rounded(end, np.maximum(0.8 * arris, 0.3))
    nick = smoothstep(0.55, 0.9, noise(x / 9.0, np.sign(y) * 9.1, seed=seed + 4)) * kind.wear
    z = z - 1.4 * nick * smoothstep(2.4, 0.2, edge)
    fallen = smoothstep(0.02, -0.02, np.minimum(edge, end))
    z = np.where(fallen > 0.5, -5.5 + 1.4 * noise(x / 12.0, y / 3.0, seed=seed + 5), z)
    dirt = np.clip(
        smoothstep(3.2, 0.1, np.minimum(edge, end)) * 0.8 + smoothstep(0.2, 0.75, layered(x / 55.0, y / 28.0, seed=seed + 6)),
        0,
        1,
    )
    grain = np.stack([x + 1000.0 * rng.uniform(-3, 3), y_grain + 300.0 * rng.uniform(-3, 3), rings, knot], axis=-1)
    tone, hue = rng.uniform(0, 1), rng.uniform(0, 1)
    values = np.stack([np.full(x.shape, tone), np.full(x.shape, hue), dirt, np.clip(wear, 0, 1)], axis=-1)
    return z, grain, values


def _log(
    x: Floats, y: Floats, width: float, kind: Planks, rng: np.random.Generator, seed: int
) -> tuple[Floats, Floats, Floats]:
    """Where the board lay in its log: place across the grain (mm), mm outside the nearest knot, rings from the pith."""
    knot = np.full(x.shape, 30.0)
    for _ in range(rng.poisson(max(np.ptp(x), 1.0) / 300.0)):
        kx, ky = rng.uniform(x.min(), x.max()), rng.uniform(-0.42, 0.42) * width
        radius = float(np.clip(rng.lognormal(np.log(3.6), 0.5), 1.5, 11.0))
        dx, dy = x - kx, y - ky
        around = np.hypot(dx / 1.25, dy) + 0.4 * radius * 0.3 * noise(dx / radius, dy / radius, seed=seed + 11)
        y = ky + dy * (1 - 0.93 * np.exp(-(((dx / 2.6) ** 2 + dy**2) / (1.7 * radius) ** 2)))
        knot = np.minimum(knot, around - radius)
    quarter = rng.random() < 0.3
    pith_y = rng.choice([-1.0, 1.0]) * rng.uniform(110, 190) if quarter else rng.uniform(-0.3, 0.3) * width
    pith_z = rng.uniform(15, 70)
    drift = (
        x * rng.normal(0.0, 0.035) + 7.0 * noise(x / 210.0, seed=seed + 12) + 1.2 * noise(x / 48.0, y / 30.0, seed=seed + 13)
    )
    radius = np.hypot(y - pith_y + 2.5 * noise(x / 180.0, seed=seed + 14), pith_z + drift)
    radius = radius + 3.0 * noise(radius / 16.0, seed=seed + 15) + 0.25 * noise(x / 16.0, y / 2.5, seed=seed + 16)
    return y, knot, radius / (kind.ring * rng.uniform(0.75, 1.35))


def _saw(x: Floats, y: Floats, kind: Planks, wear: Floats, rng: np.random.Generator, seed: int) -> Floats:
    """Marks of a circular saw: arcs across the grain, uneven in depth, planed or worn away in places."""
    if rng.random() < 0.25:
        return np.zeros(x.shape)
    blade, pitch = rng.uniform(170, 320), rng.uniform(1.7, 3.6)
    place = (
        x + np.sign(rng.normal()) * (np.sqrt(blade**2 - np.minimum(np.abs(y + rng.uniform(-30, 30)), 0.9 * blade) ** 2) - blade)
    ) / pitch
    place = place + 0.35 * noise(x / 30.0, seed=seed + 21)
    depth = 0.11 * kind.saw_marks * (0.4 + 0.6 * np.abs(noise(np.floor(place) * 0.73, seed=seed + 22)))
    kept = smoothstep(-0.25, 0.5, layered(x / 80.0, y / 40.0, seed=seed + 23)) * np.clip(1.25 - wear, 0.1, 1.0)
    return depth * kept * (np.abs(np.mod(place, 1.0) - 0.5) * 2 - 0.5)


def _dents(x: Floats, y: Floats, width: float, wear: Floats, rng: np.random.Generator) -> Floats:
    """Dents where things fell on the bench: shallow pits with soft rims."""
    total = np.zeros(x.shape)
    for _ in range(rng.poisson(np.ptp(x) * width / 2600.0)):
        radius = float(np.clip(rng.lognormal(0.1, 0.5), 0.5, 4.0))
        centre_x, centre_y = rng.uniform(x.min(), x.max()), rng.uniform(-0.5, 0.5) * width
        turn, stretch = rng.uniform(0, np.pi), rng.uniform(1.0, 2.8)
        near = (np.abs(x[0] - centre_x) < 4 * radius * stretch).nonzero()[0]
        if not len(near):
            continue
        dx, dy = x[:, near] - centre_x, y[:, near] - centre_y
        u, v = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
        total[:, near] += rng.uniform(0.08, 0.22) * np.sqrt(radius) * np.exp(-((u / stretch) ** 2 + v**2) / radius**2)
    return total * np.minimum(wear, 1.0)


def _rounded(distance: Floats, radius: Floats) -> Floats:
    """How far a rounded arris lies below the face, at a distance inside the edge."""
    inside = np.clip(radius - np.maximum(distance, 0.0), 0.0, None)
    return radius - np.sqrt(np.maximum(radius**2 - inside**2, 0.0))
