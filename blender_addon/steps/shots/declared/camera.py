"""Frames the subject for each shot and makes cameras with the field of view and the blur of a real macro lens."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ....core.dressing.light_setups import SETUPS
from ....core.records import values
from ....core.shots.formats import FORMATS
from ....job.errors import SheetError
from ....job.files.names import VERSION, check_apart, check_name
from ....job.settings import DEFAULT, SHORT, angle, choice, integer, length, number, only_when, point, switch, table, text

LABEL = "Camera"
NEEDS = ("piece",)
USES = ("stand", "relief_height", "closeup_weight")
MAKES = ("shot",)
READS = ("render.size",)
COST = 6.0

KIND_CHOICES = (
    ("hero", "Hero", "The main picture: a three-quarter view from slightly above"),
    ("left", "Left", "From the left as the viewer sees it"),
    ("right", "Right", "From the right as the viewer sees it"),
    ("back", "Back", "From behind"),
    ("top", "Top", "From above"),
    ("detail", "Detail", "A close look, at the head or where the relief is richest"),
    ("scale", "Scale", "From the front with a rule in front of the piece, which is hidden in all other pictures"),
)
DEPTH_CHOICES = (
    ("lens", "As the lens gives it", "One exposure with the lens's own depth of field"),
    ("bracket", "Focus bracket, merged", "Several focus distances over the piece's depth, merged into one sharp picture"),
    ("frames", "Focus bracket, left as frames", "As merged; the single exposures are kept too, 16 bits each"),
    (
        "departure",
        "Departure from the true lens",
        "A sharp subject before a soft set, which no lens gives; the caption says so",
    ),
)
LIGHTS = (*SETUPS, ("hdri", "Surroundings", "A picture of real surroundings, an HDRI"))


@values
class ShotRow:
    """One row of `[[camera.shots]]`, which changes the shot of that name or adds one."""

    @staticmethod
    def migrated(values: Mapping[str, Any]) -> Mapping[str, Any]:
        """A row of an older sheet as today's."""
        return _by_aspect(values, "width", "height")

    name: str = text("hero", help="Name of the shot and of its picture files")
    kind: str | None = choice(None, KIND_CHOICES, help="Kind of shot; auto: by its name, else hero")
    off: bool = switch(False, help="Do not take this shot")
    azimuth: float | None = angle(
        None,
        low=-360.0,
        high=360.0,
        label="Angle round piece",
        help="Direction it is taken from: 0 is the front, 90 the piece's right side; auto: by the kind",
    )
    tilt: float | None = angle(None, low=-20.0, high=90.0, help="Angle at which the camera looks down; auto: by the kind")
    focal_length: float | None = length(None, low=2.0, high=1200.0, help="Focal length of this shot's lens; auto: the job's")
    f_number: float | None = number(
        None, low=0.7, high=64.0, label="f-number", help="f-number of this shot; auto: as for the job"
    )
    fill: float | None = number(
        None,
        low=5.0,
        high=98.0,
        unit="%",
        label="Frame fill",
        help="Share of the picture's height that the subject fills; auto: the job's",
    )
    headroom: float | None = number(
        None, low=0.0, high=100.0, unit="%", help="Share of the free height that is above the subject; auto: the job's"
    )
    across: float | None = number(
        None, low=-1.0, high=1.0, help="Horizontal place of the subject in the picture: -1 left edge, 0 centre, 1 right edge"
    )
    magnification: float | None = number(
        None,
        low=0.01,
        high=10.0,
        help="Size on the sensor over true size, for a detail: 0.5 is half life size; auto: by the kind",
    )
    focus: tuple[float, ...] | None = point(
        None, help="Point in focus, in the scene; auto: the nearest relief, on the face where there is one"
    )
    depth: str = choice("lens", DEPTH_CHOICES, help="How depth of field is treated")
    overlap: float = only_when(
        number(30.0, low=0.0, high=90.0, unit="%", help="Overlap of a bracket's exposures; more is safer and takes longer"),
        depth=("bracket", "frames"),
    )
    hold_from: tuple[float, ...] | None = point(None, label="Sharp from", help="Nearest point that must be sharp, in the scene")
    hold_to: tuple[float, ...] | None = point(None, label="Sharp to", help="Farthest point that must be sharp, in the scene")
    aspect: float | None = number(None, low=0.1, high=10.0, help="Ratio of the picture's width to its height; auto: the job's")
    light: str | None = choice(None, LIGHTS, help="Light set-up of this shot; auto: the job's")
    warmth: float | None = number(
        None,
        low=-90.0,
        high=90.0,
        unit="mired",
        help="Make this picture warmer (above 0) or cooler (below 0) than the others; 20 is clearly visible",
    )
    set: str = text("", help="Table of this shot, such as slate; empty: the job's")
    hide: str = text("", help="Parts of the set to hide in this shot, by name and separated by commas, such as jar or debris")


@values
class Settings:
    """Which shots are taken, and with which camera and lens."""

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
            ("own", "Own list", "Only the shots in the list below"),
        ),
        help="Which standard views of the piece are taken",
    )
    format: str = choice(
        "full_frame",
        (*((entry.key, entry.label, f"{entry.width_mm:g} x {entry.height_mm:g} mm") for entry in FORMATS),
         ("own", "Own size", "Own width and height")),
        label="Sensor size",
        help="Size of the camera's sensor: for the same picture a smaller one has more depth of field",
    )  # fmt: skip
    format_width: float = only_when(length(36.0, low=1.0, high=300.0, help="Width of the sensor"), format="own")
    format_height: float = only_when(length(24.0, low=1.0, high=300.0, help="Height of the sensor"), format="own")
    focal_length: float | None = length(
        None,
        low=2.0,
        high=1200.0,
        help="Focal length of the lens: longer stands farther away and looks flatter; auto: 90 mm at full frame",
    )
    f_number: float | None = number(
        None,
        low=0.7,
        high=64.0,
        label="f-number",
        help="f-number of the lens: higher gives more depth of field and more diffraction; auto: enough to keep the face sharp",
    )
    fill: float = number(
        70.0, low=5.0, high=98.0, unit="%", label="Frame fill", help="Share of the picture's height that the subject fills"
    )
    headroom: float = number(
        45.0, low=0.0, high=100.0, unit="%", help="Share of the free height that is above the subject; 50 centres it"
    )
    azimuth: float | None = angle(
        None,
        low=-360.0,
        high=360.0,
        label="Angle round piece",
        help="Direction the hero is taken from: 0 is the front, 90 the piece's right side; auto: a three-quarter view",
    )
    tilt: float | None = angle(
        None,
        low=-20.0,
        high=90.0,
        help="Angle at which the cameras look down: 0 is level, 10 to 25 is usual for objects; auto: by the kind of shot",
    )
    aspect: float = number(
        1.5, low=0.1, high=10.0, help="Ratio of the pictures' width to their height; their size in pixels is set in Render"
    )
    turntable: bool = switch(True, help="Plan a turntable of the subject")
    turning: str = choice(
        "subject",
        (
            ("subject", "Subject turns", "The subject turns and the light stays, as on a turntable"),
            ("camera", "Camera orbits", "The camera moves round the subject and the set"),
        ),
        help="What moves in the turntable",
    )
    sharpness: float = number(
        1500.0, low=300.0, high=6000.0, label="Circle of confusion",
        help="Blur up to the sensor's diagonal divided by this counts as sharp; raise it for large prints", more=True,
    )  # fmt: skip
    blades: int = integer(
        0, low=0, high=16, help="Blades of the lens's iris, which shape blurred highlights; 0 is round", more=True
    )
    pupil_ratio: float = number(
        1.0,
        low=0.2,
        high=5.0,
        help="Exit pupil over entrance pupil of the lens; 1 is symmetric; change it only to match a known lens",
        more=True,
    )
    close_look: int | None = integer(
        None,
        low=1,
        high=9,
        unit="",
        help="Which of the proposed places the close look shows; auto: a close-up photo's, the head, or the richest relief",
    )
    other_side: bool = switch(False, help="Show the head of the close look from its other side", more=True)
    shots: list[ShotRow] = table(ShotRow, help="Shots to change or to add, by name", short="name")

    def check_names(self) -> None:
        """Raise SheetError when a shot's name can't be that of its picture's file, or two pictures would be one file."""
        listed = [row.name for row in self.shots]
        for name in listed:
            check_name("camera.shots: the name", name)
            if "," in name:
                raise SheetError(f'camera.shots: the name "{name}" contains a comma, which separates the names in render.only')
            if VERSION.fullmatch(name):
                raise SheetError(
                    f'camera.shots: "{name}" is how an earlier picture is named when it is put aside: choose another'
                )
        check_apart("camera.shots", self.possible_names())

    def possible_names(self) -> list[str]:
        """The names that the shots of these settings may have, whatever the piece; not each of them need become a shot."""
        listed = [row.name for row in self.shots]
        return [*(name for name in (*_usual_names(self.views), "turntable") if name not in listed), *listed]


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
