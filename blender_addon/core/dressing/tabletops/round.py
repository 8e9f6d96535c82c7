"""Round tabletops: a potter's bat on the bench, and a sheet of paper that rises without a seam. Lengths in mm."""

from __future__ import annotations

import numpy as np

from ...noise import layered, noise
from .grid import Extent, Tabletop, disc, polar

BAT_THICKNESS = 19.0
"""Of a plaster bat, mm (common practice)."""


def bat(extent: Extent, diameter: float, *, seed: int = 1, wear: float = 0.5) -> Tabletop:
    """A plaster bat with the rings left by turning, a rounded edge and old nicks; its top about z = 0.

    diameter: mm. wear: 0 new to 1 old.
    """
    rng = np.random.default_rng([seed, 131])
    radius = 0.5 * diameter
    flat = radius - 3.2
    rings = np.concatenate([[0.0], np.arange(extent.fine, min(extent.reach, flat), extent.fine)])
    rings = np.concatenate([rings, np.linspace(rings[-1], flat, max(4, int((flat - rings[-1]) / 1.6)) + 1)[1:]])
    round_off = np.linspace(0, np.pi / 2, 8)[1:]
    radii = np.concatenate([rings, flat + 3.2 * np.sin(round_off)])
    sides = int(np.clip(2 * np.pi * min(extent.reach, radius) / (1.6 * extent.fine), 120, 900))
    x, y = polar(radii, sides)
    wave = 0.030 * np.sin(radii / rng.uniform(0.55, 0.85)) * (0.5 + 0.5 * np.sin(radii / 13.0 + rng.uniform(0, 6)))
    z = np.repeat(wave[:, None], sides, axis=1)
    z = (
        z
        + 0.10 * layered(x / 60.0, y / 60.0, seed=seed + 1, octaves=3)
        + 0.02 * layered(x / 1.6, y / 1.6, seed=seed + 2, octaves=2)
    )
    pits = np.clip(noise(x / 1.9, y / 1.9, seed=seed + 3) - 0.62, 0, 1)
    z = z - 0.8 * pits * wear
    drop = np.concatenate([np.zeros(len(rings)), 3.2 * (1 - np.cos(round_off))])
    z = z - drop[:, None]
    nick = np.clip(noise(x / 8.0, y / 8.0, seed=seed + 4) - 0.45, 0, 1) * np.clip((radii - flat + 4.0) / 7.0, 0, 1)[:, None]
    z = z - 3.0 * wear * nick
    centre = rng.uniform(-0.1, 0.1, 2) * (radius - min(extent.reach, radius))
    return Tabletop(disc(x + centre[0], y + centre[1], z, skirt=BAT_THICKNESS - 5.0), "plaster", BAT_THICKNESS)


def sweep(extent: Extent, *, floor: float, height: float, seed: int = 1) -> Tabletop:
    """A sheet of paper: level out to the radius `floor`, then rising all round in a wide curve to `height`.

    The rise is the part `beyond`, which carries nothing and is visible only from inside, so that it is the background of
    every shot.
    """
    sides = 240
    radii = np.concatenate([np.linspace(0.0, floor, 90)])
    x, y = polar(radii, sides)
    z = 0.05 * layered(x / 130.0, y / 130.0, seed=seed + 1, octaves=2)
    z *= np.clip((floor - radii) / (0.3 * floor), 0.0, 1.0)[:, None]
    bend = 0.55 * height
    angle = np.linspace(0, np.pi / 2, 40)
    rise = np.concatenate([floor + bend * np.sin(angle), [floor + bend, floor + bend]])
    up = np.concatenate([bend * (1 - np.cos(angle)), [0.75 * height, height]])
    wall_x, wall_y = polar(rise, sides)
    beyond = disc(wall_x, wall_y, np.repeat(up[:, None], sides, axis=1))
    return Tabletop(disc(x, y, z), "paper", 1.0, beyond=beyond)
