"""Where do the lamps, windows and cards of a set-up stand? Real sizes and distances in mm round the subject.

Radiances are relative: the grey card sets the exposure. A set-up is written for a camera in front and turned to where the
camera is. "Left" is the camera's left.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from ..arrays import Floats
from ..mesh.triangles import unit

SETUPS = (
    ("north_window", "North window", "One tall window at the camera's left, a dim room, a white card at the right"),
    ("soft", "Soft key, fill and rim", "A soft box high at the left, a weak fill, a narrow strip behind"),
    ("overcast", "Overcast sky", "Out of doors under cloud: soft from above, a black card at the right"),
    ("bench_lamp", "Bench lamp", "A small warm lamp near by at the left in a dim room, clear shadows"),
)


@dataclass(frozen=True)
class Lamp:
    """A light with an extent: centre and aim in mm, size in mm (round ones have equal sides), radiance, colour in kelvin."""

    name: str
    centre: Floats
    aim: Floats
    width: float
    height: float
    radiance: float
    kelvin: float
    round: bool = False
    spread: float = 180.0


@dataclass(frozen=True)
class Card:
    """A white or black card: centre and aim in mm, size in mm, albedo."""

    name: str
    centre: Floats
    aim: Floats
    width: float
    height: float
    albedo: float


@dataclass(frozen=True)
class Room:
    """What fills the rest of the sphere: radiance towards zenith, horizon and ground, colour in kelvin of each."""

    zenith: float
    horizon: float
    ground: float
    sky_kelvin: float = 5500.0
    ground_kelvin: float = 4500.0


@dataclass(frozen=True)
class SetUp:
    """A whole light."""

    lamps: tuple[Lamp, ...]
    cards: tuple[Card, ...]
    room: Room
    white_kelvin: float = 5600.0
    words: str = field(default="", compare=False)


def make_setup(
    name: str, *, subject: Floats, size: float, camera: Floats, turn: float = 0.0, cards: bool = True, strips: bool = False
) -> SetUp:
    """A built-in set-up.

    subject: (3,) middle of the subject in mm. size: its largest extent in mm; lamps keep their real sizes unless the subject
    is larger than a hand, then all grows with it. camera: (3,) unit direction from the subject to the camera. turn: degrees by
    which the lights are turned about the vertical, counter-clockwise from above. strips: two narrow lights that draw the
    edges of polished metal.
    """
    place = _Place(np.asarray(subject, float), max(1.0, size / 150.0), np.asarray(camera, float), turn)
    made = _MAKERS[name](place)
    lamps, kept = list(made.lamps), list(made.cards) if cards else []
    if strips:
        lamps += _strips(place, made)
    return SetUp(tuple(lamps), tuple(kept), made.room, made.white_kelvin)


STRIP_SHARES = 0.14, 0.10
"""How much light each strip throws on the subject, of all that the set-up throws: enough for a rim, too little for a shadow."""


def _strips(place: _Place, made: SetUp) -> list[Lamp]:
    """Narrow lights at either side a little behind the subject, in the set-up's own white: they draw the edges."""
    total, white = total_light(made, place.subject), made.white_kelvin
    rows = (("strip left", 118.0, 12.0, 420.0, 60.0, 400.0), ("strip right", -100.0, 18.0, 380.0, 45.0, -400.0))
    strips = []
    for (name, azimuth, elevation, distance, width, warmer), share in zip(rows, STRIP_SHARES, strict=True):
        lamp = place.lamp(name, (azimuth, elevation, distance), (width, 600.0), 1.0, white + warmer)
        strips.append(replace(lamp, radiance=share * total / _arriving(lamp, place.subject)[1]))
    return strips


class _Place:
    """Directions round the subject: azimuth 0 is towards the camera, positive to the camera's left."""

    def __init__(self, subject: Floats, scale: float, camera: Floats, turn: float):
        self.subject, self.scale = subject, scale
        flat = np.array([camera[0], camera[1], 0.0])
        self.front = unit(flat) if np.linalg.norm(flat) > 1e-6 else np.array([0.0, -1.0, 0.0])
        self.turn = np.radians(turn)

    def point(self, azimuth: float, elevation: float, distance: float) -> Floats:
        turn, up = self.turn - np.radians(azimuth), np.radians(elevation)
        x, y = self.front[:2]
        flat = np.array([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn), 0.0])
        return self.subject + self.scale * distance * (np.cos(up) * flat + np.sin(up) * np.array([0.0, 0.0, 1.0]))

    def lamp(
        self, name: str, where: tuple[float, float, float], size: tuple[float, float], radiance: float, kelvin: float, *,
        round: bool = False,
    ) -> Lamp:  # fmt: skip
        """where: azimuth, elevation (degrees) and distance (mm). size: width and height (mm)."""
        width, height = (self.scale * side for side in size)
        return Lamp(name, self.point(*where), self.subject, width, height, radiance, kelvin, round)

    def card(
        self, name: str, azimuth: float, elevation: float, distance: float, width: float, height: float, albedo: float
    ) -> Card:
        centre = self.point(azimuth, elevation, distance)
        return Card(name, centre, self.subject, self.scale * width, self.scale * height, albedo)


def _north_window(place: _Place) -> SetUp:
    window = place.lamp("window", (60.0, 33.0, 950.0), (700.0, 1000.0), 10.0, 6400.0)
    card = place.card("white card", -82.0, 8.0, 330.0, 210.0, 260.0, 0.85)
    # The room is hardly warmer than the window: a camera balanced for the lit side makes shadows orange soon enough.
    return SetUp((window,), (card,), Room(0.07, 0.17, 0.10, 5800.0, 5600.0), 6200.0)


def _soft(place: _Place) -> SetUp:
    key = place.lamp("key", (48.0, 42.0, 620.0), (450.0, 600.0), 10.0, 5600.0)
    fill = place.lamp("fill", (-55.0, 15.0, 900.0), (700.0, 700.0), 0.9, 5400.0)
    rim = place.lamp("rim", (-145.0, 35.0, 620.0), (120.0, 600.0), 12.0, 6000.0)
    return SetUp((key, fill, rim), (), Room(0.12, 0.16, 0.10, 5800.0, 5600.0), 5500.0)


def _overcast(place: _Place) -> SetUp:
    """Horizon a third of the zenith: the CIE standard overcast sky (Moon & Spencer 1942); a black card gives form a side."""
    card = place.card("black card", -78.0, 14.0, 260.0, 340.0, 320.0, 0.04)
    return SetUp((), (card,), Room(3.0, 1.0, 0.25, 6800.0, 6500.0), 6300.0)


def _bench_lamp(place: _Place) -> SetUp:
    lamp = place.lamp("lamp", (44.0, 46.0, 430.0), (120.0, 120.0), 60.0, 3300.0, round=True)
    card = place.card("white card", -85.0, 5.0, 300.0, 180.0, 220.0, 0.75)
    return SetUp((lamp,), (card,), Room(0.13, 0.24, 0.12, 4300.0, 3800.0), 3500.0)


_MAKERS = {"north_window": _north_window, "soft": _soft, "overcast": _overcast, "bench_lamp": _bench_lamp}


def flux(setup: SetUp, subject: Floats) -> Floats:
    """(3,) net flux of light at the subject, for each channel alike: its direction is where the light mainly comes from.

    Lamps by their middle (they are small against their distance for a direction), the room in closed form: a sky that falls
    off linearly with the cosine from zenith Z to horizon H and a uniform ground G gives pi (H + 2 (Z - H)/3 - G) upwards.
    """
    room = setup.room
    total = np.array([0.0, 0.0, np.pi * (room.horizon + 2.0 * (room.zenith - room.horizon) / 3.0 - room.ground)])
    for lamp in setup.lamps:
        way, arriving = _arriving(lamp, subject)
        total += arriving * way
    return total


def total_light(setup: SetUp, subject: Floats) -> float:
    """All light from above the horizon that arrives at the subject, from whatever side, in the unit of `flux`."""
    room = setup.room
    sky = np.pi * (room.horizon + room.zenith)
    return float(sky + sum(_arriving(lamp, subject)[1] for lamp in setup.lamps))


def _arriving(lamp: Lamp, subject: Floats) -> tuple[Floats, float]:
    """(3,) unit direction to a lamp and its radiance times the solid angle it fills, as if it were small."""
    way = lamp.centre - subject
    far = float(np.linalg.norm(way))
    area = lamp.width * lamp.height * (np.pi / 4 if lamp.round else 1.0)
    return way / far, lamp.radiance * area / far**2
