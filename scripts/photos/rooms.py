"""Which light do the photos see? Light from all round on even directions, and lamps with rays of their own."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.mesh.triangles import unit
from blender_addon.scene.images import read_pixels

Floats = Any
EVEN = 384
LAMP_RAYS = 64
NAMES = ("interior", "area", "overcast", "two_lamps")


@dataclass(frozen=True)
class Lamp:
    """A round lamp far away: towards (3,) unit, half_angle in degrees, radiance (3,)."""

    towards: tuple[float, float, float]
    half_angle: float
    radiance: tuple[float, float, float]


AREA = Lamp((0.62, -0.62, 0.48), 16.0, (14.0, 13.6, 13.0))
WARM = Lamp((-0.85, -0.30, 0.42), 7.0, (70.0, 52.0, 32.0))
COOL = Lamp((0.35, 0.80, 0.48), 10.0, (18.0, 22.0, 28.0))
LAMPS = (AREA, WARM, COOL)
IN_ROOM = {"interior": (), "area": (AREA,), "overcast": (), "two_lamps": (WARM, COOL)}


def even_directions() -> Floats:
    """(EVEN, 3) unit directions, even over the sphere (golden-angle spiral)."""
    step = np.arange(EVEN) + 0.5
    angle, height = np.pi * (3.0 - np.sqrt(5.0)) * step, 1.0 - 2.0 * step / EVEN
    ring = np.sqrt(1.0 - height**2)
    return np.stack([ring * np.cos(angle), ring * np.sin(angle), height], axis=1)


def lamp_directions(lamp: Lamp) -> tuple[Floats, float]:
    """(LAMP_RAYS, 3) directions spread over a lamp's disc, and the solid angle of each in steradians."""
    towards = unit(np.array(lamp.towards))
    across = unit(np.cross(towards, (0.0, 0.0, 1.0)))
    upward = np.cross(towards, across)
    step = np.arange(LAMP_RAYS) + 0.5
    angle = np.pi * (3.0 - np.sqrt(5.0)) * step
    cosine = 1.0 - (1.0 - np.cos(np.radians(lamp.half_angle))) * step / LAMP_RAYS
    sine = np.sqrt(1.0 - cosine**2)
    ways = cosine[:, None] * towards + sine[:, None] * (np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * upward)
    return ways, float(2.0 * np.pi * (1.0 - np.cos(np.radians(lamp.half_angle))) / LAMP_RAYS)


def surroundings(name: str) -> Floats:
    """(EVEN, 3) radiance from all round in a room, its lamps left out."""
    ways = even_directions()
    up = ways[:, 2:]
    if name == "interior":
        return _light_image("interior.exr")
    if name == "overcast":  # a sky three times as bright above as at the horizon (Moon and Spencer 1942), over grass
        return np.where(up > 0, (1.0 + 2.0 * np.maximum(up, 0.0)) / 3.0, 0.12) * np.array([0.96, 1.0, 1.06])
    if name == "area":  # a dim room
        return np.where(up > 0, 0.30, 0.18) * np.array([1.0, 0.97, 0.92])
    return np.where(up > 0.0, 0.42, 0.25) * np.array([0.98, 1.0, 1.0])


def _light_image(name: str) -> Floats:
    """(EVEN, 3) mean radiance of one of Blender's own light images in the cell of each direction."""
    folder = Path(bpy.utils.system_resource("DATAFILES", path="studiolights/world"))
    image = bpy.data.images.load(str(folder / name), check_existing=False)
    pixels = read_pixels(image)[::2, ::2, :3]
    bpy.data.images.remove(image)
    height, width = pixels.shape[:2]
    elevation = np.pi * ((np.arange(height) + 0.5) / height - 0.5)
    azimuth = -2.0 * np.pi * ((np.arange(width) + 0.5) / width - 0.5)
    level, turn = np.meshgrid(elevation, azimuth, indexing="ij")
    towards = np.stack([np.cos(level) * np.cos(turn), np.cos(level) * np.sin(turn), np.sin(level)], axis=-1).reshape(-1, 3)
    cell, area = np.argmax(towards @ even_directions().T, axis=1), np.cos(level).ravel()
    total = np.stack([np.bincount(cell, area * channel, EVEN) for channel in pixels.reshape(-1, 3).T], axis=1)
    return total / np.maximum(np.bincount(cell, area, EVEN), 1e-9)[:, None]
