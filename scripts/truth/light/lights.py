"""The rooms that scans are made in, as light from every direction; and what a phone's camera does to what it sees."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import unit

Floats = Any
Radiance = Callable[[Floats], Floats]
"""(d, 3) unit directions towards the light, piece at the origin, z up, to (d, 3) linear RGB radiance."""
NAMES = ("window", "lamps", "overcast", "travelling", "tent")


@dataclass(frozen=True)
class Light:
    """One room. `rooms`: one radiance function, or several where the light moves with the phone, each with the direction
    (3,) of the photos that it was seen in; each surface is then shown by the photos that it faces."""

    name: str
    rooms: tuple[Radiance, ...]
    views: tuple[Any, ...] = ()


def light(name: str, seed: int = 0) -> Light:
    """One of NAMES. The seed turns the room about the piece and varies it a little. Raises KeyError for another name."""
    rng = np.random.default_rng(seed + 1000 * NAMES.index(name) if name in NAMES else 0)
    return {"window": _window, "lamps": _lamps, "overcast": _overcast, "travelling": _travelling, "tent": _tent}[name](rng)


def turned(lighting: Light, degrees: float) -> Light:
    """The same room with the piece turned in it about the vertical by `degrees` (the light turns the other way round it)."""
    angle = np.radians(degrees)
    spin = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    rooms = tuple((lambda ways, room=room: room(ways @ spin.T)) for room in lighting.rooms)
    return Light(lighting.name, rooms, tuple(view @ spin for view in lighting.views))


def _towards(azimuth: float, elevation: float) -> Floats:
    a, e = np.radians(azimuth), np.radians(elevation)
    return np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])


def _room(ways: Floats, ceiling: float, walls: float, table: float) -> Floats:
    up = ways[:, 2:]
    level = np.where(up > 0.6, ceiling, np.where(up > 0.0, walls + (ceiling - walls) * np.clip(up / 0.6, 0, 1) ** 2, table))
    return level * np.array([1.0, 0.96, 0.90])


def _lobe(ways: Floats, towards: Floats, degrees: float) -> Floats:
    """A soft round source, 1 at its middle, of about `degrees` radius."""
    angle = np.degrees(np.arccos(np.clip(ways @ towards, -1, 1)))
    return (1.0 / (1.0 + np.exp((angle - degrees) / (0.18 * degrees))))[:, None]


def _window(rng: Any) -> Light:
    middle, half = rng.uniform(-150, -30), (rng.uniform(16, 24), rng.uniform(20, 28))
    low = rng.uniform(18, 28)

    def room(ways: Floats) -> Floats:
        azimuth = (np.degrees(np.arctan2(ways[:, 1], ways[:, 0])) - middle + 180) % 360 - 180
        elevation = np.degrees(np.arcsin(np.clip(ways[:, 2], -1, 1))) - low
        pane = 1.0 / (1.0 + np.exp((np.abs(azimuth) - half[0]) / 3.0)) / (1.0 + np.exp((np.abs(elevation) - half[1]) / 3.0))
        return 11.0 * pane[:, None] * np.array([0.93, 0.98, 1.06]) + _room(ways, 0.75, 0.38, 0.28)

    return Light("window", (room,))


def _lamps(rng: Any) -> Light:
    first = rng.uniform(0, 360)
    lamps = [
        (_towards(first, rng.uniform(35, 55)), 42.0, (1.0, 0.86, 0.66)),
        (_towards(first + rng.uniform(95, 150), rng.uniform(20, 45)), 20.0, (0.96, 1.0, 1.02)),
    ]

    def room(ways: Floats) -> Floats:
        total = _room(ways, 0.55, 0.30, 0.22)
        for towards, power, tint in lamps:
            total = total + power * _lobe(ways, towards, 9.0) * np.array(tint)
        return total

    return Light("lamps", (room,))


def _overcast(rng: Any) -> Light:
    brighter = _towards(rng.uniform(0, 360), 40)

    def room(ways: Floats) -> Floats:
        """CIE overcast sky, (1 + 2 sin elevation) / 3 of the zenith (CIE S 003, value from memory), over a grey ground."""
        sky = (1.0 + 2.0 * np.maximum(ways[:, 2:], 0.0)) / 3.0 * (1.0 + 0.25 * np.maximum(ways @ brighter, 0.0))[:, None]
        return np.where(ways[:, 2:] > 0, sky, 0.22) * np.array([0.97, 0.99, 1.03])

    return Light("overcast", (room,))


def _tent(rng: Any) -> Light:
    towards = [_towards(angle + rng.uniform(-15, 15), 35) for angle in (20.0, 150.0, 265.0)]

    def room(ways: Floats) -> Floats:
        glow = 0.8 + 0.25 * np.maximum(ways[:, 2:], 0.0) + sum(0.45 * _lobe(ways, direction, 28.0) for direction in towards)
        return np.where(ways[:, 2:] > -0.15, glow, 0.55) * np.array([1.0, 0.99, 0.97])

    return Light("tent", (room,))


def _travelling(rng: Any) -> Light:
    rooms, views = [], []
    first = rng.uniform(0, 360)
    for elevation, count in ((18.0, 8), (52.0, 6)):
        for number in range(count):
            azimuth = first + 360.0 * number / count
            views.append(_towards(azimuth, elevation))
            lamp = _towards(azimuth + 24.0, elevation + 17.0)
            rooms.append(
                lambda ways, lamp=lamp: (
                    24.0 * _lobe(ways, lamp, 11.0) * np.array([1.0, 0.97, 0.92]) + _room(ways, 0.5, 0.42, 0.30)
                )
            )
    return Light("travelling", tuple(rooms), tuple(views))


def shares(lighting: Light, normals: Floats) -> Floats:
    """(n, rooms) how much of each room's photos a surface shows: those that it faces most, blended."""
    if len(lighting.rooms) == 1:
        return np.ones((len(normals), 1))
    facing = np.exp(14.0 * (normals @ unit(np.array(lighting.views)).T))
    return facing / facing.sum(axis=1, keepdims=True)
