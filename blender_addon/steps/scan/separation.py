"""Separates piece and stand along a natural line and closes both; a separate scan of the stand replaces the cut one."""

from __future__ import annotations

import hashlib
from collections.abc import Generator, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from ...core.arrays import Bools, Floats
from ...core.mesh.cut import CutMesh, closed, cut, seated
from ...core.mesh.triangles import TriangleMesh, face_areas, signed_volume
from ...core.records import record
from ...core.scan.doubtful import doubts, whereabouts
from ...core.scan.separation import Separation, find_stand, leftover
from ...core.srgb import decode, luminance
from ...job.errors import SubjectError
from ...job.files.aside import aside
from ...job.step import Progress, Result, Run
from ...scene.meshes import MM, make_object, read_mesh
from ...scene.scan.questions.stand_question import stand_decision
from ...scene.scan.stand_mask import MASK
from ...scene.spatial import Points, SurfaceQueries
from ...scene.stage import Stage
from ...scene.thumbnails import Paint, paint_of, surface_colours
from .declared.separation import Settings

if TYPE_CHECKING:
    import bpy

MASK_PRINT = "bozzetto_stand_print"
LEFTOVER_FAR, LEFTOVER_OPEN = 1.0, 1.5
"""A face of the stand's scan belongs to the piece within the first distance (mm) of the first scan's piece; within the second
distance of the line, the crease decides."""
DOUBTFUL = "doubtful"
"""Name of the face mark for webs, thin walls that a scan may have invented."""
WEBS_NAMED = 3
"""The most webs that are named in the warning; the figures name all."""
MUCH_UNSEEN = 0.04
"""Share of the piece that no camera can have seen from which a warning is given."""
SEAT_REACH = 2.0
SEAT_MOST = 1.5
"""How far from its cut the piece follows its cap onto the stand's seat (a wider gap is reported), and the farthest that a point
is moved; mm, guesses."""


def run(stage: Stage, settings: Settings) -> Run:
    """Find the stand, cut along the line, close both."""
    yield Progress(0.05, "Reading the subject")
    upright = stage.require("upright")
    mesh = read_mesh(upright, scale=MM)
    if not len(mesh.faces):
        raise SubjectError("The upright scan has no faces left, so there is nothing to separate")
    painted = _painted(upright, mesh)
    mesh = _without_mask(mesh)
    source = _source(stage, settings)
    yield Progress(0.15, "Looking for the stand")
    paint = paint_of(stage.require("upright"))
    looking = Progress(0.2, "Looking for the stand")
    colours = yield from aside(partial(_face_colours, paint, mesh), looking)
    found = yield from aside(partial(_found, mesh, colours, settings, painted, source), looking)
    by_hand = painted is not None or settings.stand != "auto" or settings.stand_top is not None
    decide = partial(stand_decision, paint, mesh, found, by_hand=by_hand, given=source is not None)
    decisions = ((yield from aside(decide, looking)),)
    yield Progress(0.4, "Looking for surfaces that the scan may have invented")
    doubting = Progress(0.42, "Looking for surfaces that the scan may have invented")
    mesh, doubted = yield from aside(partial(_doubted, stage, mesh, ~found.stand), doubting)
    if found.field is None:
        _hide_mask(stage)
        alone = yield from _piece_alone(stage, mesh, found, source)
        shell = f"; it is a thin shell, about {doubted['wall_mm']:.1f} mm" if doubted["shell"] else ""
        return Result(alone.words + shell, alone.figures | doubted, decisions)
    yield Progress(0.5, "Cutting and closing")
    cutting = Progress(0.55, "Cutting and closing")
    tone = yield from aside(partial(_tone, paint, mesh), cutting)
    halves = yield from aside(partial(cut, mesh, found.field, tone=tone), cutting)
    if not len(halves.above.faces) or not len(halves.below.faces):
        raise SubjectError("The painted mask leaves no piece or no stand: paint the stand white and the piece black")
    figures = _figures(found, halves) | doubted
    if source is None:
        piece, stand, flat, home = halves.above, halves.below, halves.below_cap, "upright"
    else:
        yield Progress(0.7, f"Setting the piece on the stand of scan {source}")
        setting = Progress(0.75, f"Setting the piece on the stand of scan {source}")
        other = yield from _read_other(stage, source, setting)
        stand, flat, figures["leftover_mm2"] = yield from aside(partial(_stand_of, other, mesh, found, halves.line), setting)
        piece, figures["seat_moved_mm"] = yield from aside(partial(_seat, halves, stand, settings.sink), setting)
        _say_gap(stage, halves.line, stand, source)
        home = source
    figures["stand_from"] = source or "1"
    figures["stand_volume_mm3"] = _volume(stand)
    yield Progress(0.9, "Making piece and stand")
    stage.offer("piece", _object(stage.require("upright"), "Piece", piece, halves.above_cap), name="Piece")
    owner = stage.require("upright") if home == "upright" else stage.require("aligned", home)
    stage.offer("stand", _object(owner, "Stand", stand, flat), name="Stand")
    if painted is None:
        _show_mask(stage, mesh, found)
    taken = f", the stand from scan {source}" if source else ""
    return Result(f"Piece and stand are separated{taken}: {found.reason}", figures, decisions)


def _found(
    mesh: TriangleMesh, colour: Floats | None, settings: Settings, painted: Floats | None, source: str | None
) -> Separation:
    """The stand by the settings, a painted mask or the evidence."""
    if settings.stand == "no":
        return Separation(None, np.zeros(len(mesh.faces), bool), "all of it is the piece, as asked")
    top = None if settings.stand_top is None else 0.01 * settings.stand_top * float(mesh.vertices[:, 2].max())
    always = settings.stand == "yes" or source is not None
    return find_stand(mesh, colour=colour, painted=painted, always=always, top=top)


def _doubted(stage: Stage, mesh: TriangleMesh, piece: Bools) -> tuple[TriangleMesh, dict[str, Any]]:
    """The mesh with the faces of webs marked as doubtful, and figures; warns of what a person should check."""
    found = doubts(mesh, piece, SurfaceQueries(mesh.vertices, mesh.faces).cast, seed=stage.seed)
    corners = np.asarray(mesh.vertices, float)[mesh.faces[piece]].reshape(-1, 3)
    low, high = (corners.min(axis=0), corners.max(axis=0)) if len(corners) else (np.zeros(3), np.ones(3))
    figures: dict[str, Any] = {
        "webs": len(found.webs), "unseen_percent": round(100.0 * found.unseen, 2), "wall_mm": round(found.wall, 3),
        "shell": found.shell,
    }  # fmt: skip
    places = [f"{area:.0f} mm² {whereabouts(middle, 0.5 * (low + high), high - low)}" for area, middle in found.webs]
    if places:
        figures["web_places"] = places
        stage.warn(_webs_said(places))
    if found.unseen > MUCH_UNSEEN:
        where = whereabouts(found.unseen_middle, 0.5 * (low + high), high - low)
        stage.warn(
            f"{100.0 * found.unseen:.0f} % of the piece lies where no camera could see it, most of it {where}: what the scan "
            "shows there, blobs and blurred colour, is guessed"
        )
    if found.webs:
        mesh = replace(mesh, face_marks={**mesh.face_marks, DOUBTFUL: found.web})
    return mesh, figures


def _webs_said(places: Sequence[str]) -> str:
    """One sentence on all webs, the largest of which are named; places: size and whereabouts of each, the largest first."""
    rest = len(places) - WEBS_NAMED
    named = "; ".join(places[:WEBS_NAMED]) + (f"; {rest} smaller" if rest > 0 else "")
    if len(places) == 1:
        what, whose = "A thin wall", ("is attached all round, like a web", "it", "its")
    else:
        what, whose = f"{len(places)} thin walls", ("are attached all round, like webs", "them", "their")
    like, them, their = whose
    return (
        f"{what} ({named}) {like} left by scanning between limbs. Check whether the piece has {them}; {their} faces are marked "
        f'"{DOUBTFUL}"'
    )


def _piece_alone(stage: Stage, mesh: TriangleMesh, found: Separation, source: str | None) -> Run:
    """Offer the whole first scan as the piece, and a separate scan of the stand, if any, as the stand."""
    closing = Progress(0.6, "Closing the piece")
    whole, lid = yield from aside(partial(closed, mesh), closing)
    stage.offer("piece", _object(stage.require("upright"), "Piece", whole, lid), name="Piece")
    volume = yield from aside(partial(_volume, whole), closing)
    figures: dict[str, object] = {"stand": source is not None, "piece_volume_mm3": volume}
    if source is not None:
        other = yield from _read_other(stage, source, closing)
        stand, flat, _ = yield from aside(partial(_stand_of, other, mesh, found, np.zeros((0, 3))), closing)
        stage.offer("stand", _object(stage.require("aligned", source), "Stand", stand, flat), name="Stand")
        figures |= {"stand_from": source, "stand_volume_mm3": _volume(stand)}
    return Result(found.reason[0].upper() + found.reason[1:], figures)


def _source(stage: Stage, settings: Settings) -> str | None:
    """The key of the aligned scan that gives the stand, None for the first scan."""
    aligned = stage.find_all("aligned")
    wish = settings.stand_from
    if wish is None:
        return next((key for key, item in aligned.items() if item.get("bozzetto_scan_role") == "stand"), None)
    if wish == "1":
        return None
    if wish not in aligned:
        there = f"aligned are {', '.join(aligned)}" if aligned else "no further scan is aligned"
        raise SubjectError(f'Scan "{wish}" can\'t give the stand: {there}')
    return wish


@record
class _Other:
    """An aligned scan as arrays: its mesh in mm, colours at its faces, lightness at its vertices, its role."""

    key: str
    mesh: TriangleMesh
    colour: Floats | None
    tone: Floats | None
    role: str


def _read_other(stage: Stage, key: str, reading: Progress) -> Generator[Progress, None, _Other]:
    item = stage.require("aligned", key)
    mesh = _without_mask(read_mesh(item, scale=MM))
    paint, role = paint_of(item), str(item.get("bozzetto_scan_role", ""))
    colours = yield from aside(partial(_face_colours, paint, mesh), reading)
    tone = yield from aside(partial(_tone, paint, mesh), reading)
    return _Other(key, mesh, colours, tone, role)


def _stand_of(other: _Other, first: TriangleMesh, found: Separation, line: Floats) -> tuple[TriangleMesh, Bools, float]:
    """The closed stand of an aligned scan in mm, its closing faces, and the area (mm2) of the piece that was cut off it.

    A scan of the whole gives its lower part. A scan of the stand may still show feet or a stump of the piece: what coincides
    with the first scan's piece is removed, along the crease near the first scan's line.
    """
    mesh = other.mesh
    if other.role != "stand":
        own = find_stand(mesh, colour=other.colour, always=True)
        if own.field is None:
            raise SubjectError(f"Scan {other.key} shows no stand that could be taken from it")
    else:
        middle = np.asarray(mesh.vertices, float)[mesh.faces].mean(axis=1)
        _, face, far = SurfaceQueries(first.vertices, first.faces).nearest(middle)
        from_line = Points(line).nearest(middle)[1] if len(line) else np.full(len(middle), np.inf)
        own = leftover(mesh, on_piece=~found.stand[face] & (far < LEFTOVER_FAR), near_line=from_line < LEFTOVER_OPEN)
    if own.field is None:
        stand, lid = closed(mesh)
        return stand, lid, 0.0
    area = face_areas(np.asarray(mesh.vertices, float), mesh.faces)
    halves = cut(mesh, own.field, tone=other.tone)
    return halves.below, halves.below_cap, round(float(area[~own.stand].sum()), 2)


def _seat(halves: CutMesh, stand: TriangleMesh, sink: float) -> tuple[TriangleMesh, float]:
    """The piece with its cut lowered onto the stand of another scan and slightly into it, so that no gap shows."""
    piece, cap = halves.above, halves.above_cap
    line = halves.line
    if not cap.any():  # piece and stand only touch: nothing was cut
        return piece, 0.0
    rim = np.unique(piece.faces[cap])
    points = np.asarray(piece.vertices, float)[rim]
    on_line = np.zeros(len(rim), bool)
    if len(line):
        low, high = line.min(axis=0) - 1e-3, line.max(axis=0) + 1e-3
        on_line = ((points >= low) & (points <= high)).all(axis=1)
    place, face, _ = SurfaceQueries(stand.vertices, stand.faces).nearest(points)
    corners = np.asarray(stand.vertices, float)[stand.faces[np.maximum(face, 0)]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
    target = np.where((on_line & (face >= 0))[:, None], place - sink * normal, points)
    return seated(piece, cap, target, reach=SEAT_REACH, most=SEAT_MOST)


def _say_gap(stage: Stage, line: Floats, stand: TriangleMesh, source: str) -> None:
    """Warn where the cut is far above the other scan's stand, so that the piece would float."""
    if not len(line):
        return
    gap = float(np.median(SurfaceQueries(stand.vertices, stand.faces).nearest(line)[2]))
    if gap > SEAT_REACH:
        stage.warn(
            f"The piece is cut {gap:.0f} mm off the stand of scan {source} and hangs over it; paint less as stand, or take the "
            'stand from scan "1"'
        )


def _painted(upright: bpy.types.Object, mesh: TriangleMesh) -> Floats | None:
    """(m,) the user's painted mask at each face, 0 to 1; None without one, or where it is still as `_show_mask` wrote it."""
    if MASK not in mesh.colours:
        return None
    values = mesh.colours[MASK][:, :3].mean(axis=1)
    if upright.get(MASK_PRINT) == _print(values) or float(np.ptp(values)) < 0.2:
        return None
    return values[mesh.faces].mean(axis=1)


def _print(values: Floats) -> str:
    return hashlib.sha256(np.round(values, 2).astype(np.float32).tobytes()).hexdigest()[:16]


def _show_mask(stage: Stage, mesh: TriangleMesh, found: Separation) -> None:
    """Write the stand that was found to the upright scan as a colour attribute, which the user can paint over."""
    values = np.zeros(len(mesh.vertices), np.float32)
    values[mesh.faces[found.stand]] = 1.0

    def write(item: bpy.types.Object) -> None:
        layer = item.data.color_attributes.get(MASK)
        if layer is None:
            layer = item.data.color_attributes.new(name=MASK, type="FLOAT_COLOR", domain="POINT")
        rgba = np.ones((len(values), 4), np.float32)
        rgba[:, :3] = values[:, None]
        layer.data.foreach_set("color", rgba.ravel())
        item[MASK_PRINT] = _print(values)

    stage.edit(stage.require("upright"), write)


def _hide_mask(stage: Stage) -> None:
    """Take away the stand that an earlier run found and showed on the upright scan, unless the user painted over it."""
    upright = stage.require("upright")
    values = read_mesh(upright, scale=MM).colours.get(MASK)
    if values is not None and upright.get(MASK_PRINT) == _print(values[:, :3].mean(axis=1)):

        def hide(item: bpy.types.Object) -> None:
            item.data.color_attributes.remove(item.data.color_attributes[MASK])
            del item[MASK_PRINT]

        stage.edit(upright, hide)


def _without_mask(mesh: TriangleMesh) -> TriangleMesh:
    return replace(mesh, colours={name: values for name, values in mesh.colours.items() if name != MASK})


def _face_colours(paint: Paint, mesh: TriangleMesh) -> Floats | None:
    """(m, 3) linear colour at each face's centre, None where the scan has no colour."""
    count = len(mesh.faces)
    shown = surface_colours(paint, mesh, np.arange(count), np.full((count, 3), 1.0 / 3.0))
    return None if float(np.ptp(shown, axis=0).max()) < 0.02 else decode(shown)


def _tone(paint: Paint, mesh: TriangleMesh) -> Floats | None:
    """(n,) luminance at the vertices, None where the scan has no colour."""
    colours = _face_colours(paint, mesh)
    if colours is None:
        return None
    tone, count = np.zeros(len(mesh.vertices)), np.zeros(len(mesh.vertices))
    for corner in range(3):
        tone += np.bincount(mesh.faces[:, corner], luminance(colours), len(tone))
        count += np.bincount(mesh.faces[:, corner], minlength=len(tone))
    return tone / np.maximum(count, 1)


def _figures(found: Separation, halves: CutMesh) -> dict[str, object]:
    return {
        "stand": True,
        "top_mm": round(found.top_mm, 3),
        "stand_chance": round(found.chance, 3),
        "crease_share": round(found.crease_share, 3),
        "ledge_share": round(found.ledge_share, 3),
        "lines": len(halves.loop_sizes),
        "piece_volume_mm3": _volume(halves.above),
    }


def _volume(mesh: TriangleMesh) -> float:
    return round(signed_volume(np.asarray(mesh.vertices, float), mesh.faces), 2)


def _object(owner: bpy.types.Object, name: str, mesh: TriangleMesh, flat: Bools) -> bpy.types.Object:
    """A new object in metres with the owner's materials; the faces `flat` (mask) are shaded flat."""
    metres = replace(mesh, vertices=(np.asarray(mesh.vertices, float) / MM).astype(np.float32))
    item = make_object(name, metres, materials=list(owner.data.materials))
    item.data.polygons.foreach_set("use_smooth", ~np.asarray(flat, bool))
    item.data.update()
    return item
