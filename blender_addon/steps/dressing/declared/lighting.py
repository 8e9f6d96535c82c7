"""Lights the set by a built-in set-up or by an HDRI, and sets the exposure by a grey card and by the piece itself."""

from __future__ import annotations

from ....core.dressing.light_setups import SETUPS
from ....core.records import values
from ....job.settings import SHORT, angle, choice, number, switch, text

LABEL = "Lighting"
NEEDS = ("piece",)
USES = ("stand", "shot", "table", "backdrop", "prop", "surface")
MAKES = ("world", "light", "card")
COST = 18.0

HDRI = ("hdri", "Surroundings", "A panorama of real surroundings (HDRI)")
VIEWS = (
    ("AgX", "AgX", "Bright parts roll off softly and lose colour, as on film"),
    ("Standard", "Standard", "Plain sRGB: exact values, hard clipping; for measurements"),
)


@values
class Settings:
    ALIASES = {"lookdev": "targets", "bloom": "glare"}
    MARKS = {"setup": (SHORT,)}

    setup: str = choice("north_window", (*SETUPS, HDRI), help="Which light the set stands in", label="Set-up")
    surroundings: str = text(
        "interior", help="For the set-up Surroundings: the name of one of Blender's own HDRIs, or an .exr or .hdr file"
    )
    turn: float = angle(
        0.0,
        low=-360.0,
        high=360.0,
        help="Turn the light round the subject, counter-clockwise seen from above, so that it grazes what you want to show",
    )
    level: float = number(
        1.0,
        low=0.01,
        high=100.0,
        label="Light level",
        help="Factor on the strength of the HDRI; automatic exposure compensates for it",
        more=True,
    )
    exposure: float | None = number(
        None,
        low=-20.0,
        high=20.0,
        unit="stops",
        help="Exposure of the picture; auto: metered on a grey card beside the subject",
    )
    offset: float | None = number(
        None,
        low=-5.0,
        high=5.0,
        unit="stops",
        label="Exposure compensation",
        help="Make the picture lighter or darker than the grey card gives; auto: by the highlights and shadows on the piece",
    )
    series_offset: float | None = number(
        None,
        low=-5.0,
        high=5.0,
        unit="stops",
        label="Exposure of the series",
        help="Exposure compensation that the pieces of a series share, set by its first piece; one that would differ by "
        "more than half a stop keeps its own. Auto: each piece has its own",
        more=True,
    )
    white_balance: float = number(
        80.0,
        low=0.0,
        high=100.0,
        unit="%",
        help="How far the colour cast of the HDRI is removed: 0 keeps it, 100 removes all of it",
        more=True,
    )
    warmth: float = number(
        0.0,
        low=-90.0,
        high=90.0,
        unit="mired",
        help="Make the pictures warmer (above 0) or cooler (below 0); 20 is clearly visible",
    )
    behind: float = number(
        0.0,
        low=-3.0,
        high=3.0,
        unit="stops",
        label="Room behind",
        help="Make the room behind lighter (above 0) or darker (below 0); 0: the tone that all pictures of a series share",
        more=True,
    )
    cards: bool = switch(
        True,
        label="Reflectors and flags",
        help="Use the set-up's white reflectors, which fill shadows, and black flags, which deepen them",
        more=True,
    )
    strips: bool | None = switch(
        None,
        label="Strip lights",
        help="Add narrow lights that draw bright edges on the piece; auto: for metal and dark pieces",
        more=True,
    )
    follow: bool = switch(
        True,
        label="Follow camera",
        help="Turn the light with each shot's camera, as if the piece were turned on the table; off: the light stays",
    )
    targets: bool = switch(
        False,
        label="Targets",
        help="Put a colour chart, a grey ball and a mirror ball beside the subject, for checking light and colour",
        more=True,
    )
    view: str = choice(
        "AgX", VIEWS, label="View transform", help="Tone mapping: how the light is converted to the picture's values", more=True
    )
    finish: bool = switch(
        True,
        label="Camera finish",
        help="Add the camera's vignetting, glare, diffraction and grain; switch it off for measurements",
    )
    vignette: float = number(
        0.25, low=0.0, high=3.0, unit="stops", help="How much darker the corners of the picture are", more=True
    )
    glare: float = number(
        2.5,
        low=0.0,
        high=50.0,
        unit="%",
        help="Share of the light that the lens spreads over the picture as a soft veil round bright parts",
        more=True,
    )
    grain: float = number(
        1.0, low=0.0, high=20.0, unit="%", help="Strength of the sensor's noise, in percent of the light", more=True
    )
    diffraction: bool = switch(True, help="Add the softness that diffraction causes at high f-numbers", more=True)
