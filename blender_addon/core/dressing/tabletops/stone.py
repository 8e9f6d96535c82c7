"""A slab of slate, split along its layers, its edges broken; lying on a bench. Millimetres."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...noise import layered, noise, smoothstep
from .grid import Extent, Tabletop, lines, sheet

THICKNESS = 11.0
"""Of the slab, mm: a usual tile of slate (common practice)."""


def slate(extent: Extent, size: tuple[float, float], *, wear: float = 0.5, seed: int = 1) -> Tabletop:
    """A slate slab of about `size` (width, depth); its top about z = 0.

    wear: 0 new to 1 old.
    """
    rng = np.random.default_rng([seed, 111])
    half = 0.5 * np.asarray(size)
    rim = [0.0, 0.25, 0.6, 1.1, 1.9, 3.0, 4.5, 6.5]
    xs, ys = (
        lines(
            -h,
            h,
            reach=extent.reach,
            fine=extent.fine,
            coarse=min(extent.coarse, 4.0),
            extra=[*(-h + np.array(rim)), *(h - np.array(rim))],
        )
        for h in half
    )
    x, y = np.meshgrid(xs, ys)
    z = _cleft(x, y, wear, seed)
    away = np.minimum(half[0] - np.abs(x), half[1] - np.abs(y))
    z = z - _broken(x, y, away, seed)
    # an irregular outline: move the rim in by an uneven amount, fading inwards
    ragged = 2.6 * np.abs(layered(x / 16.0, y / 16.0, seed=seed + 5, octaves=4)) + 1.6 * (
        1 + noise(x / 70.0, y / 70.0, seed=seed + 6)
    )
    inset = ragged * smoothstep(9.0, 0.0, away)
    sign_x = np.sign(x) * (half[0] - np.abs(x) < 9.0)
    sign_y = np.sign(y) * (half[1] - np.abs(y) < 9.0)
    turn = rng.uniform(-0.06, 0.06)
    px, py = x - sign_x * inset, y - sign_y * inset
    c, s = np.cos(turn), np.sin(turn)
    offset = rng.uniform(-0.08, 0.08, 2) * half
    mesh = sheet(c * px - s * py + offset[0], s * px + c * py + offset[1], z, {}, skirt=THICKNESS - 2.0)
    return Tabletop(mesh, "slate", THICKNESS)


def _cleft(x: Floats, y: Floats, wear: float, seed: int) -> Floats:
    """Terraces a few tenths of a mm high where layers end, with ripples and pits on them."""
    warp = 9.0 * noise(x / 45.0, y / 45.0, seed=seed + 1)
    plate = 2.2 * layered((x + warp) / 120.0, (y - warp) / 70.0, seed=seed + 2, octaves=4)
    step = np.floor(plate) + smoothstep(0.0, 0.10 + 0.15 * wear, plate - np.floor(plate))
    ripple = 0.16 * layered(x / 26.0, y / 11.0, seed=seed + 3, octaves=4)
    grit = 0.035 * layered(x / 2.1, y / 1.7, seed=seed + 4, octaves=3)
    return 0.6 * step + ripple + grit


def _broken(x: Floats, y: Floats, away: Floats, seed: int) -> Floats:
    """Chipped edges: flakes off the upper layers."""
    chip = 0.5 + 0.5 * layered(x / 14.0, y / 14.0, seed=seed + 7, octaves=3)
    reach = 1.2 + 5.0 * chip**2
    drop = np.clip(1 - away / reach, 0, 1)
    return 2.4 * np.floor(3 * drop + 0.4 * chip) / 3 + 0.5 * drop
