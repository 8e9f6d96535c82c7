"""Frames the subject for each shot and makes cameras with the field of view and the blur of a real macro lens."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from ...core.mesh.triangles import TriangleMesh
from ...core.scan.quality.verdict import SMALLER
from ...core.shots import optics
from ...core.shots.close_looks.facets import COARSE, edge_pixels
from ...core.shots.focus_bracket import bracket
from ...core.shots.formats import BY_KEY, frame_used
from ...core.shots.framing import Placement, half_slopes
from ...core.shots.shot_plan import Shot, ShotAsk, product_tilt
from ...core.shots.subject import Subject
from ...core.shots.visible import visible
from ...job.errors import SheetError
from ...job.files.aside import aside
from ...job.notes import several
from ...job.step import Progress, Result, Run
from ...scene.dressing.shot_light import WARMTH
from ...scene.meshes import MM, read_mesh
from ...scene.running.scene_settings import lost
from ...scene.scan.scan_quality import asked_pixels
from ...scene.shots.cameras import Lens, make_camera
from ...scene.shots.closeup_shots import closeup_places, note_true_magnification, scan_finest_mm
from ...scene.shots.lens_drivers import DEPTH, PICTURE_SIZE, RESOLUTION, SLICES, frame_as, framed_as
from ...scene.shots.moves import TARGET
from ...scene.shots.subject_points import read_subject
from ...scene.stage import Stage
from ...scene.thumbnails import give_thumbnail, looks_of_all, shot_picture
from ._framing import close_look_decisions, framed, proposals, spots_of, with_clear_face
from .declared.camera import KIND_CHOICES, Settings, ShotRow, _usual_names

VIEWS = {
    "hero": (22.0, None), "left": (-80.0, None), "right": (80.0, None), "back": (160.0, None), "top": (0.0, 78.0),
    "scale": (0.0, None),
}  # fmt: skip
"""Azimuth and tilt in degrees of each kind of shot; None: by the subject. A detail's view is found separately."""

BESIDE_A_RULE = 0.86
"""Factor on the frame fill where a rule lies in front of the subject, so that both are in the picture."""
ROOM = 0.98
"""Largest extent of an off-centre subject, over half the picture's width, so that it is not clipped."""


def run(stage: Stage, settings: Settings) -> Run:
    yield Progress(0.0, "looking at the subject")
    subject = yield from aside(read_subject(stage), Progress(0.1, "looking at the subject"))
    asks = shot_asks(settings, tilt=product_tilt(subject))
    yield Progress(0.2, "looking for details")
    piece = read_mesh(next(iter(stage.find_all("piece").values())), scale=MM)
    near = closeup_places(stage)
    chance = min((float(item.get("bozzetto_front_chance", 1.0)) for item in stage.find_all("upright").values()), default=1.0)
    proposing = partial(proposals, piece, subject, asks, near, front_chance=chance, other_side=settings.other_side)
    proposed = yield from aside(proposing, Progress(0.22, "looking for details"))
    spots = spots_of(proposed, asks, settings.close_look)
    asks = with_clear_face(asks, subject, proposed, settings)
    gathering = looks_of_all(stage.subject())
    looks = yield from aside(gathering, Progress(0.28, "looking for details"))
    solved: list[Shot] = []
    for place, (ask, row) in enumerate(asks):
        yield Progress(0.3 + 0.6 * place / len(asks), f"framing {ask.name}")
        framing = Progress(0.3 + 0.6 * (place + 0.5) / len(asks), f"framing {ask.name}")
        shot = yield from aside(partial(framed, ask, row, subject, spots.get(ask.name)), framing)
        solved.append(shot)
        if row.depth in ("bracket", "frames") and ask.fnumber is None:  # slices give depth without diffraction
            limit = optics.diffraction_fnumber(shot.optics.magnification, ask.coc, pupil_ratio=ask.pupil_ratio)
            sharpest = max(optics.marked(limit, up=False), 1.4)
            shot = replace(shot, optics=replace(shot.optics, fnumber=min(shot.optics.fnumber, sharpest)))
        for words in shot.words if row.depth == "lens" else ():
            stage.warn(words)
        extra: dict[str, object] = {"bozzetto_light": row.light or "", "bozzetto_set": row.set, "bozzetto_hide": row.hide}
        extra |= {"bozzetto_order": place, "bozzetto_caption": ask.name.capitalize(), TARGET: [float(x) for x in shot.focus]}
        extra |= {WARMTH: row.warmth} if row.warmth else {}
        if row.depth != "lens":
            extra |= _deep(stage, shot, row, subject)
        if ask.kind == "turntable":
            extra["bozzetto_turn"] = settings.turning
        lens = Lens(shot.optics, ask.format_mm, ask.resolution, ask.kind, ask.coc, settings.blades)
        camera = make_camera(f"Shot {ask.name}", shot.pose, lens, extra=extra)
        stage.offer("shot", camera, key=ask.name, name=f"Shot {ask.name}")
        name, drawing = camera.name, shot_picture(camera, looks)
        give_thumbnail(name, (yield from aside(drawing, framing)))
    stage.at_swap(lambda: _look_through(stage, [shot.ask.name for shot in solved]))
    result = _result(solved)
    result.figures.update(_warn_of_facets(stage, solved, piece))
    result.figures.update(note_true_magnification(stage, solved, near, scan_finest_mm(stage, piece)))
    deciding = partial(close_look_decisions, subject, asks, proposed, settings, looks)
    decisions = yield from aside(deciding, Progress(0.95, "drawing the close looks"))
    return replace(result, decisions=decisions)


def _deep(stage: Stage, shot: Shot, row: ShotRow, subject: Subject) -> dict[str, object]:
    """Custom properties for the render step of a shot with more than one exposure, including its caption."""
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


def _warn_of_facets(stage: Stage, solved: list[Shot], piece: TriangleMesh) -> dict[str, object]:
    """Warn of close looks that show the scan's triangles; returns the pixels that an edge takes, by shot."""
    figures: dict[str, object] = {}
    for shot in solved:
        if shot.ask.kind != "detail":
            continue
        used = frame_used(*shot.ask.format_mm, shot.ask.resolution)
        half = half_slopes(shot.optics, used)
        wide = edge_pixels(piece.vertices, piece.faces, shot.pose, half, long_side=asked_pixels(stage.sheet))
        if not np.isfinite(wide):
            continue
        figures[f"{shot.ask.name}_edge_pixels"] = round(wide, 1)
        if wide > COARSE:
            words = f"{shot.ask.name}: the triangles are coarse: an edge takes {wide:.0f} pixels, and facets may show"
            stage.warn(f"{words}; export the scan with more triangles, {SMALLER}, or give the shot a lower magnification")
    return figures


def _look_through(stage: Stage, names: Sequence[str]) -> None:
    """At the swap: make the first of the shots `names` that is there the active camera, and give the picture its shape.

    Another camera that the user made active stays, and so does the size of the picture that they set.
    """
    scene, shots = stage.scene, stage.find_all("shot")
    first = next(shots[name] for name in (*names, *shots) if name in shots)

    def look() -> None:
        scene.camera = first
        scene.render.resolution_x, scene.render.resolution_y = first[RESOLUTION]

    if lost(scene):
        stage.set_up_scene(("camera", *PICTURE_SIZE), look)
    if scene.camera != first and scene.camera in shots.values() and not stage.users_own(("camera",)):
        stage.set_up_scene(("camera",), lambda: setattr(scene, "camera", first))
    now = next((shot for shot in shots.values() if shot == scene.camera), None)
    if now is not None and not framed_as(scene, now) and not stage.users_own(PICTURE_SIZE):
        stage.set_up_scene(PICTURE_SIZE, lambda: frame_as(scene, now))


def _result(solved: list[Shot]) -> Result:
    lead = solved[0]
    o = lead.optics
    words = (
        f"{several(len(solved), 'shot')}; {lead.ask.name}: {o.focal_mm:.0f} mm at f/{o.fnumber:g}, {o.focus_mm:.0f} mm away, "
        f"magnification {o.magnification:.2f}, {optics.depth_of_field(o, lead.ask.coc):.1f} mm sharp"
    )
    figures: dict[str, object] = {"shots": [shot.ask.name for shot in solved]}
    for shot in solved:
        o = shot.optics
        figures[f"{shot.ask.name}_fnumber"] = o.fnumber
        figures[f"{shot.ask.name}_focus_mm"] = round(o.focus_mm, 3)
        figures[f"{shot.ask.name}_magnification"] = round(o.magnification, 5)
        figures[f"{shot.ask.name}_depth_mm"] = round(min(optics.depth_of_field(o, shot.ask.coc), 1e9), 3)
    return Result(words, figures)


def shot_asks(settings: Settings, *, tilt: float = 12.0) -> list[tuple[ShotAsk, ShotRow]]:
    """The requested shots in order, from the settings and the rows that change or add shots.

    tilt: angle (degrees) at which the cameras look down where no setting gives it.
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
    fill = (settings.fill if row.fill is None else row.fill) / 100.0 * (BESIDE_A_RULE if kind == "scale" else 1.0)
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
    """Width and height of a picture of that aspect, 960 px along its longer side; the render step sets the final size."""
    longer = 960
    return (longer, max(1, round(longer / aspect))) if aspect >= 1.0 else (max(1, round(longer * aspect)), longer)


def _turntable_ask(row: ShotRow, settings: Settings, tilt: float) -> ShotAsk:
    ask = _ask(row, settings, tilt)
    asked = ask.placement
    placement = replace(asked, fill_height=min(asked.fill_height, 0.66), fill_width=min(asked.fill_width, 0.8))
    azimuth = 0.0 if row.azimuth is None else row.azimuth
    return replace(ask, kind="turntable", azimuth_deg=azimuth, placement=placement)


def _kind_of(name: str) -> str:
    word = name.split()[0].lower() if name.split() else "hero"
    return word if word in {key for key, _, _ in KIND_CHOICES} else "hero"
