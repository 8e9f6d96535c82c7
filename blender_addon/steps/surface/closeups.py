"""Adds relief and colour finer than the scan's from close-up photos of the real piece, taken under a moved lamp."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ...core.arrays import Floats
from ...core.closeups.camera import PhotoCamera
from ...core.closeups.checking import kept_photos
from ...core.closeups.layout import Layout, laid_out
from ...core.closeups.photo_set import Kept, PhotoSet, Reading
from ...core.closeups.placing.alignment import Further
from ...core.closeups.placing.look import Skin
from ...core.closeups.seen import Form
from ...core.generators import passed_on
from ...core.srgb import encode
from ...job.decisions import Decision
from ...job.errors import InputError, SheetError
from ...job.files.aside import aside, aside_steps
from ...job.step import Progress, Result, Run
from ...scene.images import make_image
from ...scene.nodes.closeups import LAYER
from ...scene.stage import Stage
from ...scene.surface.closeup_photos import Photo, read_photo
from ...scene.surface.closeup_places import PLACES, coloured, offered_places, overlaid, own_colours, relief_slopes
from ...scene.surface.closeup_skin import skin_of
from ._closeup_cameras import Alone, Placed, by_itself, by_spots, by_their_lens, nowhere, small
from ._photo_places import Asked, check_spots, form_of, is_used, names_in, spots_of
from .declared._placed_photos import SpotRow
from .declared.closeups import PhotoRow, Settings

if TYPE_CHECKING:
    import bpy

MOST = 20
"""Photos of a place: more add nothing (guess) and cost memory."""
TABLE = "closeups"
ASKED = Asked(
    TABLE,
    "Were the close-ups of place {name} taken from there?",
    "the close-ups lie where the picture shows them",
    "the close-ups are left out",
)


def run(stage: Stage, settings: Settings) -> Run:
    """Read the photos of each place, solve its camera and lamps, and put relief and colour on one further UV layer."""
    rows = [row for row in settings.photos if row.file.strip()]
    if not rows:
        _take_layer_away(stage)
        return Result("No close-ups are named, so the scan's own relief stays", {"places": 0})
    sets = _sets(rows, settings.spots)
    yield Progress(0.02, "Reading the piece")
    form = form_of(stage)
    skin = skin_of(stage, form)
    readings: list[tuple[str, PhotoCamera, Reading]] = []
    decisions: list[Decision] = []
    figures: dict[str, Any] = {"places": 0}
    cameras = yield from _cameras(stage, settings, skin, sets)
    for turn, (name, photos) in enumerate(sets.items()):
        start, width = 0.25 + 0.65 * turn / len(sets), 0.65 / len(sets)
        found = yield from _place(stage, settings, skin, (name, photos, cameras[name]), (start, width))
        decisions.append(found.decision)
        figures |= {f"{name}_{key}": value for key, value in found.figures.items()}
        if found.reading is not None and found.camera is not None:
            readings.append((name, found.camera, found.reading))
    if not readings:
        _take_layer_away(stage)
        return Result("None of the close-ups can be used: see the warnings", figures, tuple(decisions))
    laying = Progress(0.92, "Laying the close-ups on the piece")
    own = own_colours(stage)
    if own is not None:
        readings = [(name, camera, coloured(reading, own)) for name, camera, reading in readings]
    layout = yield from aside(partial(laid_out, form, [(camera, reading) for _, camera, reading in readings]), laying)
    yield from _offer(stage, settings, layout, readings, laying, coloured=own is not None)
    figures |= _figures(form, layout, readings)
    finest = figures["finest_mm"]
    detail = f", detail down to {finest:.2f} mm" if finest else ""
    words = f"Close-ups of {len(readings)} place{'s' if len(readings) > 1 else ''} cover {figures['area_mm2']:.0f} mm²{detail}"
    return Result(words, figures, tuple(decisions))


@dataclass
class _Found:
    """The result for one place: decision and figures, and, if it is used, the camera (at the working size) and the reading."""

    decision: Decision
    figures: dict[str, Any]
    camera: PhotoCamera | None = None
    reading: Reading | None = None


def _sets(rows: list[PhotoRow], spots: list[SpotRow]) -> dict[str, list[PhotoRow]]:
    """The photos of each place, those with the lamp on first. Raises SheetError for an invalid set."""
    sets: dict[str, list[PhotoRow]] = {}
    for row in rows:
        sets.setdefault(row.set, []).append(row)
    for name, photos in sets.items():
        photos.sort(key=lambda row: row.kind == "room")
        lit, dark = (sum(row.kind == kind for row in photos) for kind in ("lamp", "room"))
        if not lit or dark > 1 or lit > MOST:
            raise SheetError(
                f'closeups.photos: the place "{name}" needs 1 to {MOST} photos with the lamp on and at most one off'
            )
    check_spots(TABLE, spots, {name: photos[0].file for name, photos in sets.items()})
    return sets


def _cameras(
    stage: Stage, settings: Settings, skin: Skin, sets: dict[str, list[PhotoRow]]
) -> Generator[Progress, None, dict[str, Placed]]:
    """The camera of each place's first photo: each by itself, then those of one lens together."""
    alone: list[Alone] = []
    for turn, (name, rows) in enumerate(sets.items()):
        start, width = 0.05 + 0.18 * turn / len(sets), 0.18 / len(sets)
        yield Progress(start, f"Reading the photos of place {name}")
        first = read_photo(stage.sheet.path(rows[0].file), longest=settings.longest_side)
        words = f"Looking for the camera of place {name}"
        solving = Progress(start + 0.1 * width, words)
        placed: Placed | None
        if any(row.set == name for row in settings.spots):
            spots = spots_of(TABLE, stage, settings.spots, skin.form, name, first)
            placed = yield from by_spots(first, spots, skin, name, solving)
        else:
            placed = yield from by_itself(first, skin, (start, width), words)
        alone.append(Alone(nowhere(skin, first) if placed is None else placed, first.optics, first.sensor))
    found = yield from by_their_lens(alone, Progress(0.23, "Comparing the photos of one lens"))
    return dict(zip(sets, found, strict=True))


def _place(
    stage: Stage, settings: Settings, skin: Skin, named: tuple[str, list[PhotoRow], Placed], share: tuple[float, float]
) -> Generator[Progress, None, _Found]:
    """Read the photos of a place whose camera was found."""
    (name, rows, placed), (start, width) = named, share
    yield Progress(start, f"Reading the photos of place {name}")
    first = read_photo(stage.sheet.path(rows[0].file), longest=settings.longest_side)
    solving = Progress(start + 0.1 * width, f"Drawing the camera of place {name}")
    accepted = name in names_in(settings.accepted)
    camera = small(first.pixels, placed.camera)
    picture = yield from aside(partial(overlaid, first.pixels, camera, skin.form), solving)
    found = _Found(ASKED.decided(settings.accepted, name, placed, picture), {"camera": placed.verdict})
    if placed.spots_off is not None:
        found.figures["spots_off_px"] = round(placed.spots_off, 2)
    if not is_used(placed, accepted=accepted):
        stage.warn(f'The close-ups of place "{name}" are set aside: {placed.why}')
        return found
    photo_set = yield from aside(partial(_begun, skin.form, camera, name), solving)
    names = yield from _added(stage, settings, photo_set, skin, (name, rows, first), share)
    if not names:
        return found
    relief = relief_slopes(stage, photo_set)
    kept: Kept = yield from aside(
        partial(kept_photos, photo_set, names), Progress(start + 0.5 * width, "Looking for the lamps")
    )
    for reason in kept.aside:
        stage.warn(f'Place "{name}": {reason}')
    if not kept.rows:
        return found
    reading: Reading = yield from aside_steps(
        _stepped(photo_set, relief, kept, name), lambda part, text: Progress(start + (0.5 + 0.5 * part) * width, text)
    )
    found.camera, found.reading = camera, reading
    found.figures |= {
        "photos": len(kept.rows),
        "light_explained": round(float(np.median(reading.lamps.explained)), 3),
        "pixel_mm": round(reading.pixel_mm, 4),
        "area_mm2": round(reading.area_mm2, 1),
        "sharp_mm": round(reading.focus.furthest - reading.focus.nearest, 2),
    }
    return found


def _added(
    stage: Stage, settings: Settings, photo_set: PhotoSet, skin: Skin, place: tuple[str, list[PhotoRow], Photo],
    share: tuple[float, float],
) -> Generator[Progress, None, list[str]]:  # fmt: skip
    """Add a place's photos to its set; returns the names of those with the lamp on, in order."""
    (name, rows, first), (start, width) = place, share
    cameras = Further(first.pixels, photo_set.camera.scaled(first.size), skin, first.size)
    by_hand = name in names_in(settings.by_hand)
    names: list[str] = []
    waiting, tried = list(rows), set[int]()
    while waiting:
        row = waiting.pop(0)
        file, is_first = Path(row.file).name, row is rows[0]
        done = start + (0.2 + 0.3 * len(names) / len(rows)) * width
        yield Progress(done, f'Reading "{file}"')
        photo = first if is_first else read_photo(stage.sheet.path(row.file), longest=settings.longest_side)
        if photo.size != first.size:
            raise InputError(
                f'The photo "{file}" is {photo.size[0]} x {photo.size[1]} pixels and the first of its place '
                f"{first.size[0]} x {first.size[1]}: photos of one place are taken alike, and not cropped"
            )
        aligning, own = Progress(done, f'Aligning "{file}"'), None
        if by_hand and not is_first:
            own = yield from aside(partial(cameras.camera_of, photo.pixels, photo.size), aligning)
            if own is None and id(row) not in tried:  # it may agree with a later photo
                tried.add(id(row))
                waiting.append(row)
                continue
            if own is None:
                stage.warn(f'Place "{name}": "{file}" can\'t be aligned with the other photos, so it is set aside')
                continue
            own = small(photo.pixels, own)
        elif not is_first:
            moved = yield from aside(partial(cameras.moved_by, photo.pixels, photo.size), aligning)
            if moved:
                stage.warn(
                    f'Place "{name}": "{file}" seems to be taken {moved:.0f} pixels aside: if the camera was held by hand, '
                    "name the place in closeups.by_hand"
                )
        yield from aside(partial(photo_set.add, photo.pixels, own, lamp_off=row.kind == "room"), aligning)
        if row.kind == "lamp":
            names.append(file)
    return names


def _begun(form: Form, camera: PhotoCamera, name: str) -> PhotoSet:
    try:
        return PhotoSet(form, camera)
    except ValueError as error:
        raise InputError(f'The close-ups of place "{name}" can\'t be used: {error}') from None


def _stepped(photo_set: PhotoSet, relief: Floats | None, keep: Kept, name: str) -> Generator[tuple[float, str], None, Reading]:
    words = f"Reading the relief of place {name}"
    return (yield from passed_on(photo_set.reading(relief, keep=keep), lambda share: (share, words)))


def _offer(
    stage: Stage,
    settings: Settings,
    layout: Layout,
    readings: list[tuple[str, PhotoCamera, Reading]],
    laying: Progress,
    *,
    coloured: bool,
) -> Generator[Progress, None, None]:
    """Offer the maps, and request the UV layer on the piece."""
    places = offered_places(readings)
    images = [
        ("closeup_normal", make_image("Close-up normal", layout.normal, data=True, floating=True), "Close-up normal"),
        ("closeup_weight", make_image("Close-up weight", layout.weight, data=True), "Close-up weight"),
    ]
    if coloured:
        images.append(("closeup_colour", make_image("Close-up colour", encode(layout.colour)), "Close-up colour"))
    for role, image, name in images:
        image["strength"] = settings.strength
        image[PLACES] = places
        stage.offer(role, image, key="piece", name=name)
        yield laying
    stage.edit(stage.require("piece"), partial(_with_layer, layout.uv))


def _with_layer(uv: Floats, piece: bpy.types.Object) -> None:
    """Add the close-ups' UV layer to the piece; the active layer stays active."""
    mesh = piece.data
    active = mesh.uv_layers.active_index if mesh.uv_layers else 0
    layer = mesh.uv_layers.get(LAYER) or mesh.uv_layers.new(name=LAYER, do_init=False)
    mesh.calc_loop_triangles()
    corners = np.zeros(3 * len(mesh.loop_triangles), np.int32)
    mesh.loop_triangles.foreach_get("loops", corners)
    values = np.zeros((len(mesh.loops), 2), np.float32)
    values[corners] = uv.reshape(-1, 2)
    layer.uv.foreach_set("vector", values.ravel())
    mesh.uv_layers.active_index = active


def _take_layer_away(stage: Stage) -> None:
    """Request that the UV layer of close-ups before is taken off the piece, as an edit of the job's own."""
    piece = stage.find("piece")
    if piece is not None and LAYER in piece.data.uv_layers:
        stage.edit(piece, lambda item: item.data.uv_layers.remove(item.data.uv_layers[LAYER]))


def _figures(form: Form, layout: Layout, readings: list[tuple[str, PhotoCamera, Reading]]) -> dict[str, Any]:
    """The figures of all places together."""
    a, b, c = (form.vertices[form.faces[:, corner]] for corner in range(3))
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    finest = [reading.finest for _, _, reading in readings if reading.finest]
    return {
        "places": len(readings),
        "area_mm2": round(sum(reading.area_mm2 for _, _, reading in readings), 1),
        "share_percent": round(100.0 * float(area[layout.owner >= 0].sum() / max(area.sum(), 1e-9)), 2),
        "finest_mm": round(min(finest), 4) if finest else 0.0,
    }
