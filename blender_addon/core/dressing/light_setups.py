"""Where do the lamps, windows and cards of a set-up stand? Real sizes and distances in mm round the subject.

Radiances are relative: the grey card sets the exposure. A set-up is defined for a camera in front and turned to
where the camera is. "Left" is the camera's left.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Floats
from .setups import kinds
from .setups.setup import Card, Lamp, Place, Room, SetUp

SETUPS = tuple((kind.key, kind.label, kind.words) for kind in kinds().values())
"""As a setting offers them."""


def make_setup(
    name: str, *, subject: Floats, size: float, camera: Floats, turn: float = 0.0, cards: bool = True, strips: bool = False
) -> SetUp:
    """A built-in set-up.

    subject: (3,) middle of the subject in mm. size: its largest extent in mm; lamps keep their real sizes unless the subject is
    larger than a hand; then all grow with it. camera: (3,) unit direction from the subject to the camera. turn: degrees by
    which the lights are turned about the vertical, counter-clockwise from above. strips: adds two narrow lights that show the
    edges of polished metal. cards: whether the set-up's reflectors and flags stand there too.
    """
    place = Place(np.asarray(subject, float), max(1.0, size / 150.0), np.asarray(camera, float), turn)
    plain = kinds()[name].make(place)
    lamps, kept = list(plain.lamps), list(plain.cards) if cards else []
    if strips:
        lamps += _strips(place, plain)
    return SetUp(tuple(lamps), tuple(kept), plain.room, plain.white_kelvin)


STRIP_SHARES = 0.14, 0.10
"""Light of each strip on the subject as a share of the whole set-up's: enough for a rim, too little for a shadow. By eye."""


def _strips(place: Place, setup: SetUp) -> list[Lamp]:
    """Narrow lights at either side a little behind the subject, in the set-up's own white: they draw the edges."""
    total, white = total_light(setup, place.subject), setup.white_kelvin
    rows = (("strip left", 118.0, 12.0, 420.0, 60.0, 400.0), ("strip right", -100.0, 18.0, 380.0, 45.0, -400.0))
    strips = []
    for (name, azimuth, elevation, distance, width, warmer), share in zip(rows, STRIP_SHARES, strict=True):
        lamp = place.lamp(name, (azimuth, elevation, distance), (width, 600.0), 1.0, white + warmer)
        strips.append(replace(lamp, radiance=share * total / _arriving(lamp, place.subject)[1]))
    return strips


def flux(setup: SetUp, subject: Floats) -> Floats:
    """(3,) net flux of light at the subject, colour ignored: its direction is where the light mainly comes from.

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


__all__ = ["SETUPS", "Card", "Lamp", "Room", "SetUp", "flux", "make_setup", "total_light"]
