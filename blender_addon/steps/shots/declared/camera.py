"""Frames the subject as a photographer would and writes cameras with the field of view and the blur of a real lens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ....core.dressing.light_setups import SETUPS
from ....core.shots.formats import FORMATS
from ....job.errors import SheetError
from ....job.files.names import VERSION, check_apart, check_name
from ....job.settings import DEFAULT, SHORT, angle, choice, integer, length, number, only_when, point, switch, table, text

LABEL = "Camera"
NEEDS = ("piece",)
USES = ("stand", "relief_height", "closeup_weight")
MAKES = ("shot",)
COST = 6.0

KIND_CHOICES = (
    ("hero", "Hero", "Three-quarter view from a little above"),
    ("left", "Left", "From the viewer's left"),
    ("right", "Right", "From the viewer's right"),
    ("back", "Back", "From behind"),
    ("top", "Top", "From above"),
    ("detail", "Detail", "A close look where the relief is richest"),
    ("scale", "Scale", "From the front with a rule before it, which no other picture shows"),
)
DEPTH_CHOICES = (
    ("lens", "As the lens gives it", "One exposure"),
    ("bracket", "Focus bracket, merged", "Slices over the piece's depth, merged into one sharp picture"),
    ("frames", "Focus bracket, left as frames", "As well as the merged picture, the slices stay, 16 bits each"),
    ("departure", "Departure from the true lens", "Sharp subject, soft set, as no lens gives it; the caption says so"),
)
LIGHTS = (*SETUPS, ("hdri", "Surroundings", "A picture of real surroundings, an HDRI"))


@dataclass(kw_only=True)
class ShotRow:
    """One row of `[[camera.shots]]`: changes the shot of that name, or adds one."""

    @staticmethod
    def migrated(values: Mapping[str, Any]) -> Mapping[str, Any]:
        """A row of an older sheet as today's."""
        return _by_aspect(values, "width", "height")

    name: str = text("hero", help="Name of the shot; also of its picture files")
    kind: str | None = choice(None, KIND_CHOICES, help="What kind of shot; auto: as the name says, else hero")
    off: bool = switch(False, help="Leave this shot out")
    azimuth: float | None = angle(
        None, low=-360.0, high=360.0, label="Angle round piece", help="Where it is taken from: 0 in front, 90 at its right"
    )
    tilt: float | None = angle(None, low=-20.0, high=90.0, help="How far the camera looks down")
    focal_length: float | None = length(None, low=2.0, high=1200.0, help="Focal length of the lens")
    f_number: float | None = number(None, low=0.7, high=64.0, label="f-number", help="Marked f-number")
    fill: float | None = number(
        None, low=5.0, high=98.0, unit="%", label="Frame fill", help="Share of the picture's height the subject fills"
    )
    headroom: float | None = number(None, low=0.0, high=100.0, unit="%", help="Share of the free height that is above")
    across: float | None = number(None, low=-1.0, high=1.0, help="Middle of the subject, -1 left edge to 1 right edge")
    magnification: float | None = number(None, low=0.01, high=10.0, help="Image size over object size, for a detail")
    focus: tuple[float, ...] | None = point(None, help="Point in focus")
    depth: str = choice("lens", DEPTH_CHOICES, help="How deep it is sharp")
    overlap: float = only_when(
        number(30.0, low=0.0, high=90.0, unit="%", help="Overlap of a bracket's slices"), depth=("bracket", "frames")
    )
    hold_from: tuple[float, ...] | None = point(None, label="Sharp from", help="The nearest point that is to be sharp")
    hold_to: tuple[float, ...] | None = point(None, label="Sharp to", help="The furthest point that is to be sharp")
    aspect: float | None = number(None, low=0.1, high=10.0, help="Width over height of the picture; auto: the job's")
    light: str | None = choice(None, LIGHTS, help="Light set-up of this shot; auto: the job's")
    warmth: float | None = number(
        None,
        low=-90.0,
        high=90.0,
        unit="mired",
        help="Warmer than the other pictures, below 0 cooler; 20 is seen at once",
    )
    set: str = text("", help="Table of this shot, such as slate; empty for the job's")
    hide: str = text("", help="Parts of the set to hide, by name, with commas between")


@dataclass(kw_only=True)
class Settings:
    """How the subject is photographed."""

    @staticmethod
    def migrated(values: Mapping[str, Any]) -> Mapping[str, Any]:
        """The table of an older sheet as today's."""
        return _by_aspect(values, "picture_width", "picture_height")

    ALIASES = {"coverage": "views"}
    MARKS = {"views": (SHORT,), "format": (DEFAULT,)}

    views: str = choice(
        "few",
        (
            ("few", "Hero, detail, back", "The three pictures that most jobs need"),
            ("full", "All sides", "Hero, left, right, back, top and three details"),
            ("own", "Own list", "Only the shots listed"),
        ),
        help="Which views of the piece are photographed",
    )
    format: str = choice(
        "full_frame",
        (*((entry.key, entry.label, f"{entry.width_mm:g} x {entry.height_mm:g} mm") for entry in FORMATS),
         ("own", "Own size", "Width and height as given")),
        label="Sensor size",
        help="Size of the camera's sensor: a smaller one sees less and holds more sharp",
    )  # fmt: skip
    format_width: float = only_when(length(36.0, low=1.0, high=300.0, help="Width of an own sensor"), format="own")
    format_height: float = only_when(length(24.0, low=1.0, high=300.0, help="Height of an own sensor"), format="own")
    focal_length: float | None = length(None, low=2.0, high=1200.0, help="Focal length; auto: a 90 mm macro at full frame")
    f_number: float | None = number(
        None,
        low=0.7,
        high=64.0,
        label="f-number",
        help="Marked f-number: a higher one holds more sharp and softens; auto: what holds the face",
    )
    fill: float = number(
        70.0, low=5.0, high=98.0, unit="%", label="Frame fill", help="Share of the picture's height that the subject fills"
    )
    headroom: float = number(45.0, low=0.0, high=100.0, unit="%", help="Share of the free height that is above the subject")
    azimuth: float | None = angle(
        None,
        low=-360.0,
        high=360.0,
        label="Angle round piece",
        help="Where the hero is taken from: 0 in front, 90 at its right",
    )
    tilt: float | None = angle(None, low=-20.0, high=90.0, help="How far the cameras look down; 10 to 25 for product shots")
    aspect: float = number(
        1.5, low=0.1, high=10.0, help="Width over height of the pictures; render.size says how large they are"
    )
    turntable: bool = switch(True, help="A camera for the turntable")
    turning: str = choice(
        "subject",
        (("subject", "Subject turns", "The light stays"), ("camera", "Camera orbits", "Light and set stay with the subject")),
        help="What turns",
    )
    sharpness: float = number(
        1500.0, low=300.0, high=6000.0, label="Circle of confusion",
        help="The blur that still counts as sharp is the sensor's diagonal divided by this; higher is stricter", more=True,
    )  # fmt: skip
    blades: int = integer(0, low=0, high=16, help="Blades of the iris; 0 is round", more=True)
    pupil_ratio: float = number(1.0, low=0.2, high=5.0, help="Exit pupil over entrance pupil of the lens", more=True)
    close_look: int | None = integer(
        None,
        low=1,
        high=9,
        unit="",
        help="Which of the places worth a close look is shown first; auto: the head or the richest",
    )
    shots: list[ShotRow] = table(ShotRow, help="Shots to change or to add", short="name")

    def check_names(self) -> None:
        """Raise SheetError when a shot's name can't be that of its picture's file, or two pictures would be one file."""
        listed = [row.name for row in self.shots]
        for name in listed:
            check_name("camera.shots: the name", name)
            if "," in name:
                raise SheetError(f'camera.shots: the name "{name}" holds a comma, which parts the names in render.only')
            if VERSION.fullmatch(name):
                raise SheetError(
                    f'camera.shots: "{name}" is how an earlier picture is named when it is put aside: choose another'
                )
        usual = [name for name in _usual_names(self.views) if name not in listed]
        check_apart("camera.shots", [*usual, *(["turntable"] if "turntable" not in listed else []), *listed])


def _usual_names(coverage: str) -> tuple[str, ...]:
    every = ("hero", "left", "right", "back", "top", "detail", "detail 2", "detail 3")
    return {"few": ("hero", "detail", "back"), "own": ()}.get(coverage, every)


def _by_aspect(values: Mapping[str, Any], width: str, height: str) -> Mapping[str, Any]:
    """Sheets once gave the shape of a picture as a width and a height in pixels, 960 and 640 where they were not written."""
    sides = [values.get(width, 960), values.get(height, 640)]
    if not {width, height} & set(values):
        return values
    if not all(isinstance(side, (int, float)) and not isinstance(side, bool) and side > 0 for side in sides):
        raise SheetError(f"{width} and {height} were numbers of pixels; write aspect, width over height, instead")
    kept = {name: value for name, value in values.items() if name not in (width, height)}
    return {"aspect": sides[0] / sides[1], **kept}
