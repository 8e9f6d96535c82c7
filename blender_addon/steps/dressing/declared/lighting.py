"""Lights the set by a built-in set-up or by a picture of surroundings, and exposes by a grey card and by the piece itself."""

from __future__ import annotations

from dataclasses import dataclass

from ....core.dressing.light_setups import SETUPS
from ....job.settings import SHORT, angle, choice, number, switch, text

LABEL = "Lighting"
NEEDS = ("piece",)
USES = ("stand", "shot", "table", "backdrop", "prop", "surface")
MAKES = ("world", "light", "card")
COST = 18.0

HDRI = ("hdri", "Surroundings", "A picture of real surroundings, an HDRI")
VIEWS = (
    ("AgX", "AgX", "Bright parts roll off softly and lose colour as film does; the default"),
    ("Standard", "Standard", "Straight sRGB: exact values, hard clipping"),
)


@dataclass(kw_only=True)
class Settings:
    ALIASES = {"lookdev": "targets", "bloom": "glare"}
    MARKS = {"setup": (SHORT,)}

    setup: str = choice("north_window", (*SETUPS, HDRI), help="The light", label="Set-up")
    surroundings: str = text("interior", help="For the set-up Surroundings: a name of Blender's own or an .exr or .hdr file")
    turn: float = angle(0.0, low=-360.0, high=360.0, help="Turns the light about the vertical, counter-clockwise from above")
    level: float = number(
        1.0,
        low=0.01,
        high=100.0,
        label="Light level",
        help="Strength of the surroundings; the grey card evens it out again",
        more=True,
    )
    exposure: float | None = number(
        None, low=-20.0, high=20.0, unit="stops", help="Exposure of the picture; auto: by a grey card beside the subject"
    )
    offset: float | None = number(
        None,
        low=-5.0,
        high=5.0,
        unit="stops",
        label="Exposure compensation",
        help="Lighter or darker than the grey card says; auto: by the piece's own lights and shadows",
    )
    white_balance: float = number(
        80.0,
        low=0.0,
        high=100.0,
        unit="%",
        help="How far the colour of the surroundings is taken out; a little should stay",
        more=True,
    )
    warmth: float = number(0.0, low=-90.0, high=90.0, unit="mired", help="Warmer pictures, below 0 cooler; 20 is seen at once")
    cards: bool = switch(
        True,
        label="Reflectors and flags",
        help="White reflectors that open the shadows, black flags that deepen them, as the set-up has",
        more=True,
    )
    strips: bool | None = switch(
        None, label="Strip lights", help="Narrow lights that draw the edges; auto: for metal and dark pieces", more=True
    )
    follow: bool = switch(
        True,
        label="Follow camera",
        help="Built-in set-ups turn with the shot's camera, as if the piece were turned on the table",
    )
    targets: bool = switch(
        False,
        label="Targets",
        help="Colour chart, grey ball and mirror ball beside the subject, to check a look by",
        more=True,
    )
    view: str = choice("AgX", VIEWS, help="How light becomes picture", more=True)
    finish: bool = switch(
        True, label="Camera finish", help="What a camera adds: fall-off, glare, diffraction, grain; switch it off to measure"
    )
    vignette: float = number(0.25, low=0.0, high=3.0, unit="stops", help="Fall-off of light in the corners", more=True)
    glare: float = number(
        2.5, low=0.0, high=50.0, unit="%", help="Share of the light that the lens spreads as glare", more=True
    )
    grain: float = number(
        1.0, low=0.0, high=20.0, unit="%", help="Noise of the sensor, of the light that falls on it", more=True
    )
    diffraction: bool = switch(True, help="The softness that the f-number brings", more=True)
