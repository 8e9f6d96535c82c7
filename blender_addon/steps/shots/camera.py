"""Frames the subject as a photographer would and writes cameras with the field of view and the blur of a real lens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from ...core.dressing.light_setups import SETUPS
from ...core.shots import optics
from ...core.shots.focus_bracket import bracket
from ...core.shots.formats import BY_KEY, FORMATS
from ...core.shots.framing import Placement
from ...core.shots.shot_plan import Shot, ShotAsk, product_tilt
from ...core.shots.subject import Subject
from ...core.shots.visible import visible
from ...job.errors import SheetError
from ...job.files.aside import aside
from ...job.files.names import VERSION, check_apart, check_name
from ...job.settings import DEFAULT, SHORT, angle, choice, integer, length, number, only_when, point, switch, table, text
from ...job.step import Progress, Result, Run
from ...scene.delivery.deep_pictures import DEPTH, SLICES
from ...scene.meshes import MM, read_mesh
from ...scene.shots.cameras import Lens, make_camera
from ...scene.shots.closeup_shots import closeup_places, scan_finest_mm, tell_carried
from ...scene.shots.moves import TARGET
from ...scene.shots.subject_points import read_subject
from ...scene.stage import Stage
from ...scene.thumbnails import give_thumbnail, looks_of_all
from ._framing import close_look_decisions, framed, proposals, spots_of

LABEL = "Camera"
NEEDS = ("piece",)
USES = ("stand", "relief_height", "closeup_weight")
MAKES = ("shot",)

KIND_CHOICES = (
    ("hero", "Hero", "Three-quarter view from a little above"),
    ("left", "Left", "From the viewer's left"),
    ("right", "Right", "From the viewer's right"),
    ("back", "Back", "From behind"),
    ("top", "Top", "From above"),
    ("detail", "Detail", "A close look where the relief is richest"),
)
DEPTH_CHOICES = (
    ("lens", "As the lens gives it", "One exposure"),
    ("bracket", "Focus bracket, merged", "Slices over the piece's depth, merged into one sharp picture"),
    ("frames", "Focus bracket, left as frames", "As well as the merged picture, the slices stay, 16 bits each"),
    ("departure", "Departure from the true lens", "Sharp subject, soft set, as no lens gives it; the caption says so"),
)
LIGHTS = (*SETUPS, ("hdri", "Surroundings", "A picture of real surroundings, an HDRI"))
VIEWS = {"hero": (22.0, None), "left": (-80.0, None), "right": (80.0, None), "back": (160.0, None), "top": (0.0, 78.0)}
"""Azimuth and tilt in degrees of each kind of shot, None as the subject wants it; a detail finds its own."""

ROOM = 0.98
"""The share of half the picture's width that an outline placed beside the middle may reach, so that it is not clipped."""


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


def run(stage: Stage, settings: Settings) -> Run:
    yield Progress(0.0, "looking at the subject")
    subject = read_subject(stage)
    asks = shot_asks(settings, tilt=product_tilt(subject))
    yield Progress(0.2, "looking for details")
    piece = read_mesh(next(iter(stage.find_all("piece").values())), scale=MM)
    near = closeup_places(stage)
    proposed = yield from aside(partial(proposals, piece, subject, asks, near), Progress(0.22, "looking for details"))
    spots = spots_of(proposed, asks, settings.close_look)
    looks = looks_of_all([item for role in ("piece", "stand") for item in stage.find_all(role).values()])
    solved: list[Shot] = []
    for place, (ask, row) in enumerate(asks):
        yield Progress(0.3 + 0.6 * place / len(asks), f"framing {ask.name}")
        framing = Progress(0.3 + 0.6 * (place + 0.5) / len(asks), f"framing {ask.name}")
        shot = yield from aside(partial(framed, ask, row, subject, spots.get(ask.name)), framing)
        solved.append(shot)
        if row.depth in ("bracket", "frames") and ask.fnumber is None:  # slices give the depth, so diffraction need not soften
            limit = optics.diffraction_fnumber(shot.optics.magnification, ask.coc, pupil_ratio=ask.pupil_ratio)
            sharpest = max(optics.marked(limit, up=False), 1.4)
            shot = replace(shot, optics=replace(shot.optics, fnumber=min(shot.optics.fnumber, sharpest)))
        for words in shot.words if row.depth == "lens" else ():
            stage.warn(words)
        extra: dict[str, Any] = {"bozzetto_light": row.light or "", "bozzetto_set": row.set, "bozzetto_hide": row.hide}
        extra |= {"bozzetto_order": place, "bozzetto_caption": ask.name.capitalize(), TARGET: [float(x) for x in shot.focus]}
        if row.depth != "lens":
            extra |= _deep(stage, shot, row, subject)
        if ask.kind == "turntable":
            extra["bozzetto_turn"] = settings.turning
        lens = Lens(shot.optics, ask.format_mm, ask.resolution, ask.kind, ask.coc, settings.blades)
        camera = make_camera(f"Shot {ask.name}", shot.pose, lens, extra=extra)
        give_thumbnail(camera, looks)
        stage.offer("shot", camera, key=ask.name, name=f"Shot {ask.name}")
    first = solved[0].ask.name
    stage.at_swap(lambda: _look_through(stage, first))
    result = _result(solved)
    result.figures.update(tell_carried(stage, solved, near, scan_finest_mm(stage, piece)))
    return replace(result, decisions=close_look_decisions(subject, asks, proposed, settings.close_look, looks))


def _deep(stage: Stage, shot: Shot, row: ShotRow, subject: Subject) -> dict[str, Any]:
    """What the render step needs to know of a shot that is sharper than one exposure, its caption included."""
    caption = shot.ask.name.capitalize()
    if row.depth == "departure":
        return {DEPTH: row.depth, "bozzetto_caption": f"{caption} (sharper than a lens can)"}
    seen = visible(subject.points, subject.normals, position=shot.pose.position, rotation=shot.pose.rotation)
    depths = (subject.points[seen] - shot.pose.position) @ -shot.pose.rotation[:, 2]
    try:
        slices = bracket(shot.optics, float(depths.min()), float(depths.max()), shot.ask.coc, overlap=row.overlap / 100.0)
    except ValueError as error:
        raise SheetError(f"Shot {shot.ask.name} can't be bracketed: {error}") from None
    stage.note(f"{shot.ask.name}: a focus bracket of {len(slices.focus_mm)} slices covers {np.ptp(depths):.1f} mm")
    words = f"{caption} (focus bracket of {len(slices.focus_mm)})"
    return {DEPTH: row.depth, SLICES: [float(distance) for distance in slices.focus_mm], "bozzetto_caption": words}


def _look_through(stage: Stage, key: str) -> None:
    scene = stage.scene

    def look() -> None:
        scene.camera = stage.find("shot", key)
        scene.render.resolution_x, scene.render.resolution_y = scene.camera["bozzetto_resolution"]

    if scene.camera is None:
        stage.set_up_scene(("camera", "render.resolution_x", "render.resolution_y"), look)


def _result(solved: list[Shot]) -> Result:
    lead = solved[0]
    o = lead.optics
    words = (
        f"{len(solved)} shots; {lead.ask.name}: {o.focal_mm:.0f} mm at f/{o.fnumber:g}, {o.focus_mm:.0f} mm away, "
        f"magnification {o.magnification:.2f}, {optics.depth_of_field(o, lead.ask.coc):.1f} mm sharp"
    )
    figures: dict[str, Any] = {"shots": [shot.ask.name for shot in solved]}
    for shot in solved:
        o = shot.optics
        figures[f"{shot.ask.name}_fnumber"] = o.fnumber
        figures[f"{shot.ask.name}_focus_mm"] = round(o.focus_mm, 3)
        figures[f"{shot.ask.name}_magnification"] = round(o.magnification, 5)
        figures[f"{shot.ask.name}_depth_mm"] = round(min(optics.depth_of_field(o, shot.ask.coc), 1e9), 3)
    return Result(words, figures)


def shot_asks(settings: Settings, *, tilt: float = 12.0) -> list[tuple[ShotAsk, ShotRow]]:
    """What is asked of each shot, in order, from the settings and the rows that change or add shots.

    tilt: how far (degrees) the cameras look down where no setting says so.
    """
    rows = {name: ShotRow(name=name) for name in _usual_names(settings.views)}
    listed: set[str] = set()
    for row in settings.shots:
        if row.name in listed:
            raise SheetError(f'camera.shots has two shots named "{row.name}": give each its own name')
        listed.add(row.name)
        rows[row.name] = row
    asks = [(_ask(row, settings, tilt), row) for row in rows.values() if not row.off]
    if settings.turntable:
        row = rows.get("turntable") or ShotRow(name="turntable")
        asks = [entry for entry in asks if entry[1].name != "turntable"]
        asks.append((_turntable_ask(row, settings, tilt), row))
    if not asks:
        raise SheetError("camera has no shots: list some in camera.shots or choose other views")
    return asks


def _usual_names(coverage: str) -> tuple[str, ...]:
    every = ("hero", "left", "right", "back", "top", "detail", "detail 2", "detail 3")
    return {"few": ("hero", "detail", "back"), "own": ()}.get(coverage, every)


def _ask(row: ShotRow, settings: Settings, product: float) -> ShotAsk:
    kind = row.kind or _kind_of(row.name)
    azimuth, own = VIEWS.get(kind, VIEWS["hero"])
    tilt = product if own is None else own
    if kind == "hero" and settings.azimuth is not None:
        azimuth = settings.azimuth
    if kind != "top" and settings.tilt is not None:
        tilt = settings.tilt
    size = BY_KEY[settings.format] if settings.format != "own" else None
    format_mm = (size.width_mm, size.height_mm) if size else (settings.format_width, settings.format_height)
    fill = (settings.fill if row.fill is None else row.fill) / 100.0
    headroom = (settings.headroom if row.headroom is None else row.headroom) / 100.0
    wide = min(max(fill, 0.84), 1.0)
    across = float(np.clip(row.across or 0.0, -0.9, 0.9))
    placement = Placement(fill, min(wide, ROOM - abs(across)), headroom, across)
    hold = (row.hold_from, row.hold_to) if row.hold_from and row.hold_to else None
    return ShotAsk(
        name=row.name, kind=kind,
        azimuth_deg=azimuth if row.azimuth is None else row.azimuth,
        tilt_deg=tilt if row.tilt is None else row.tilt,
        format_mm=format_mm,
        resolution=_shape(row.aspect or settings.aspect),
        focal_mm=row.focal_length or settings.focal_length,
        fnumber=row.f_number or settings.f_number,
        pupil_ratio=settings.pupil_ratio,
        coc_mm=float(np.hypot(*format_mm)) / settings.sharpness,
        placement=placement, magnification=row.magnification, focus=row.focus, hold=hold,
    )  # fmt: skip


def _shape(aspect: float) -> tuple[int, int]:
    """Width and height in pixels of a picture of that shape, 960 along its longer side; the render step gives the size."""
    longer = 960
    return (longer, max(1, round(longer / aspect))) if aspect >= 1.0 else (max(1, round(longer * aspect)), longer)


def _by_aspect(values: Mapping[str, Any], width: str, height: str) -> Mapping[str, Any]:
    """Sheets once gave the shape of a picture as a width and a height in pixels, 960 and 640 where they were not written."""
    sides = [values.get(width, 960), values.get(height, 640)]
    if not {width, height} & set(values):
        return values
    if not all(isinstance(side, (int, float)) and not isinstance(side, bool) and side > 0 for side in sides):
        raise SheetError(f"{width} and {height} were numbers of pixels; write aspect, width over height, instead")
    kept = {name: value for name, value in values.items() if name not in (width, height)}
    return {"aspect": sides[0] / sides[1], **kept}


def _turntable_ask(row: ShotRow, settings: Settings, tilt: float) -> ShotAsk:
    ask = _ask(row, settings, tilt)
    asked = ask.placement
    placement = replace(asked, fill_height=min(asked.fill_height, 0.66), fill_width=min(asked.fill_width, 0.8))
    azimuth = 0.0 if row.azimuth is None else row.azimuth
    return replace(ask, kind="turntable", azimuth_deg=azimuth, placement=placement)


def _kind_of(name: str) -> str:
    word = name.split()[0].lower() if name.split() else "hero"
    return word if word in {key for key, _, _ in KIND_CHOICES} else "hero"
