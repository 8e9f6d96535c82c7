"""What is a light set-up made of? Lamps, cards and the room, and the directions in which they stand round the subject."""

from __future__ import annotations

from dataclasses import field

import numpy as np

from ...arrays import Floats
from ...mesh.triangles import unit
from ...records import record


@record
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


@record
class Card:
    """A white or black card: centre and aim in mm, size in mm, albedo."""

    name: str
    centre: Floats
    aim: Floats
    width: float
    height: float
    albedo: float


@record
class Room:
    """What fills the rest of the sphere: radiance towards zenith, horizon and ground, colour in kelvin of each."""

    zenith: float
    horizon: float
    ground: float
    sky_kelvin: float = 5500.0
    ground_kelvin: float = 4500.0


@record
class SetUp:
    """A light set-up: lamps, cards, the room, and the colour temperature that the camera is balanced for."""

    lamps: tuple[Lamp, ...]
    cards: tuple[Card, ...]
    room: Room
    white_kelvin: float = 5600.0
    words: str = field(default="", compare=False)


class Place:
    """Places round a subject: azimuth 0 is towards the camera, positive to the camera's left. Lengths in mm, angles in degrees.

    subject: (3,) its middle, mm. scale: factor of all sizes and distances for a large subject. camera: (3,) unit direction to
    the camera. turn: degrees by which all lights are turned about the vertical, counter-clockwise from above.
    """

    def __init__(self, subject: Floats, scale: float, camera: Floats, turn: float) -> None:
        self.subject, self.scale = subject, scale
        flat = np.array([camera[0], camera[1], 0.0])
        self.front = unit(flat) if np.linalg.norm(flat) > 1e-6 else np.array([0.0, -1.0, 0.0])
        self.turn = np.radians(turn)

    def point(self, azimuth: float, elevation: float, distance: float) -> Floats:
        """(3,) the place in that direction, mm."""
        turn, up = self.turn - np.radians(azimuth), np.radians(elevation)
        x, y = self.front[:2]
        flat = np.array([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn), 0.0])
        return self.subject + self.scale * distance * (np.cos(up) * flat + np.sin(up) * np.array([0.0, 0.0, 1.0]))

    def lamp(
        self, name: str, where: tuple[float, float, float], size: tuple[float, float], radiance: float, kelvin: float, *,
        round: bool = False,
    ) -> Lamp:  # fmt: skip
        """A lamp that looks at the subject.

        where: azimuth, elevation (degrees), distance (mm). size: width, height (mm). radiance: W/(m2 sr). kelvin: colour
        temperature. round: a disc instead of a rectangle.
        """
        width, height = (self.scale * side for side in size)
        return Lamp(name, self.point(*where), self.subject, width, height, radiance, kelvin, round)

    def card(
        self, name: str, azimuth: float, elevation: float, distance: float, width: float, height: float, albedo: float
    ) -> Card:
        """A card that faces the subject.

        azimuth, elevation: degrees. distance, width, height: mm. albedo: 0 black to 1 white.
        """
        centre = self.point(azimuth, elevation, distance)
        return Card(name, centre, self.subject, self.scale * width, self.scale * height, albedo)
