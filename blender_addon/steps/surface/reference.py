"""Finds the camera and the light of reference photos of the real piece, for shots that can be laid beside them."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Bools, Floats
from ...core.closeups.camera import PhotoCamera
from ...core.closeups.placing.look import Skin
from ...core.records import record
from ...core.reference.lens import straightened, without_bend
from ...core.reference.light import PhotoLight, matching_gains
from ...job.decisions import Decision
from ...job.files.aside import aside
from ...job.notes import several
from ...job.step import Progress, Result, Run
from ...scene.dressing.meter import tried
from ...scene.images import make_image
from ...scene.nodes.materials import exposed_as
from ...scene.reference.camera import make_reference_camera
from ...scene.reference.light import make_photo_lamp, make_photo_world, scale_light
from ...scene.reference.sight import Seen, light_of, seen_in
from ...scene.stage import Stage
from ...scene.surface.closeup_photos import Photo, read_photo
from ...scene.surface.closeup_places import overlaid
from ...scene.surface.closeup_skin import skin_of
from ._closeup_cameras import Alone, Placed, by_itself, by_spots, by_their_lens, nowhere, small
from ._photo_places import Asked, check_spots, form_of, is_used, names_in, spots_of
from .declared.reference import Settings

if TYPE_CHECKING:
    import bpy

TABLE = "reference"
ASKED = Asked(
    TABLE,
    "Was the reference photo {name} taken from there, in that light?",
    "a shot has the photo's camera and light",
    "there is no shot for it",
)
TRIAL, SAMPLES = 120, 24
"""Longer side in px and samples of the test render by which the light's level is set."""
UNSURE = "the light that was found leaves {left:.0f} % of the photo's shading unexplained"


def cost(settings: Settings) -> float:
    """Rough seconds on two cores."""
    return 0.2 + 40.0 * len(settings.named())


def run(stage: Stage, settings: Settings) -> Run:
    """Find each photo's camera and light, and offer both with the photo itself."""
    named = settings.named()
    if not named:
        yield Progress(1.0, "No reference photo is named")
        return Result("No reference photo is named", {"references": 0})
    check_spots(TABLE, settings.spots, {place: row.file for place, _, row in named})
    yield Progress(0.02, "Reading the piece")
    skin = skin_of(stage, form_of(stage))
    count = 0
    figures: dict[str, object] = {"references": 0}
    decisions: list[Decision] = []
    cameras = yield from _cameras(stage, settings, skin)
    for turn, (place, name, row) in enumerate(named):
        share = (0.55 + 0.45 * turn / len(named), 0.45 / len(named))
        found = yield from _found(stage, settings, skin, (place, row.file, cameras[turn]), share)
        decisions.append(found.decision)
        figures[f"{name}_camera"] = found.verdict
        if found.used is None:
            stage.warn(f'The reference photo "{Path(row.file).name}" is set aside: {found.why}')
            continue
        yield Progress(share[0] + 0.85 * share[1], f"Setting the light of {name} by a test render", blocking=True)
        figures |= _offer(stage, name, found.used)
        count += 1
    figures["references"] = count
    words = f"{several(count, 'shot')} with the camera and the light of a photo" if count else "No reference photo can be used"
    return Result(words, figures, tuple(decisions))


@record
class _Used:
    """A photo that is used: the straight photo (h, w, 3), its camera, what it shows of the piece, and its light."""

    photo: Floats
    camera: PhotoCamera
    seen: Seen
    light: PhotoLight


@record
class _Found:
    """What was found for one photo: its decision, the verdict, and what is used, or why it is not."""

    decision: Decision
    verdict: str
    why: str
    used: _Used | None


def _cameras(stage: Stage, settings: Settings, skin: Skin) -> Generator[Progress, None, list[Placed]]:
    """The camera of each photo: each by itself, then those of one lens together."""
    named, alone = settings.named(), list[Alone]()
    for turn, (place, _, row) in enumerate(named):
        start, width = 0.05 + 0.45 * turn / len(named), 0.45 / len(named)
        yield Progress(start, f'Reading "{Path(row.file).name}"')
        photo = read_photo(stage.sheet.path(row.file), longest=settings.longest_side)
        placed = yield from _placed(stage, settings, skin, (place, photo), (start, width))
        alone.append(Alone(placed, photo.optics, photo.sensor))
    return (yield from by_their_lens(alone, Progress(0.5, "Comparing the photos of one lens")))


def _found(
    stage: Stage, settings: Settings, skin: Skin, named: tuple[str, str, Placed], share: tuple[float, float]
) -> Generator[Progress, None, _Found]:
    (place, file, placed), (start, width) = named, share
    yield Progress(start, f'Reading "{Path(file).name}"')
    photo = read_photo(stage.sheet.path(file), longest=settings.longest_side)
    camera = small(photo.pixels, placed.camera)
    lighting = Progress(start + 0.2 * width, f"Looking for the light of place {place}")
    picture = yield from aside(partial(overlaid, photo.pixels, camera, skin.form), lighting)
    accepted = place in names_in(settings.accepted)
    used: _Used | None = None
    if is_used(placed, accepted=True):
        used, why = yield from aside(partial(_lit, photo.pixels, camera, skin, stage.seed), lighting)
        if used is None:
            placed = replace(placed, verdict="no fit", why=why, evidence=(*placed.evidence, why))
        elif why:
            placed = replace(placed, verdict="not sure", why=placed.why or why, evidence=(*placed.evidence, why))
    decision = ASKED.decided(settings.accepted, place, placed, picture)
    return _Found(decision, placed.verdict, placed.why, used if is_used(placed, accepted=accepted) else None)


def _placed(
    stage: Stage, settings: Settings, skin: Skin, named: tuple[str, Photo], share: tuple[float, float]
) -> Generator[Progress, None, Placed]:
    """The photo's camera, by its spots or by itself."""
    (place, photo), (start, width) = named, share
    words = f"Looking for the camera of place {place}"
    if any(row.set == place for row in settings.spots):
        spots = spots_of(TABLE, stage, settings.spots, skin.form, place, photo)
        return (yield from by_spots(photo, spots, skin, place, Progress(start + 0.1 * width, words)))
    found = yield from by_itself(photo, skin, (start, width), words)
    return nowhere(skin, photo) if found is None else found


def _lit(photo: Floats, camera: PhotoCamera, skin: Skin, seed: int) -> tuple[_Used | None, str]:
    """A photo (h, w, 3) with what it shows and its light, and why that is not sure; or None and why there is none."""
    straight, level = straightened(photo, camera), without_bend(camera)
    seen = seen_in(straight, level, skin)
    if seen is None:
        return None, "next to nothing of the piece is in the photo"
    try:
        light = light_of(seen, skin, seed=seed)
    except ValueError as error:
        return None, str(error)
    return _Used(straight, level, seen, light), "" if light.sure else UNSURE.format(left=100.0 * light.residual)


def _offer(stage: Stage, name: str, found: _Used) -> dict[str, object]:
    """Offer a photo's camera, light and pictures, its light at the level of the photo; returns figures."""
    photo = make_image(f"Photo {name}", found.photo)
    depths = (found.seen.look.position - found.camera.place) @ found.camera.rotation[2]
    camera = make_reference_camera(found.camera, depths, photo, name)
    known = _colour_known(stage)
    light = found.light if known else found.light.neutral()
    world, lamp = make_photo_world(light, found.seen.behind()), make_photo_lamp(light)
    try:
        gains = _level(stage, camera, (world, lamp), found.seen, by_channel=known)
    except ValueError as error:
        stage.warn(f"{name}: its light has the level that the scan's own colour gives, since {error}")
        gains = np.ones(3)
    scale_light(world, lamp, gains)
    height, width = found.photo.shape[:2]
    mask = make_image(f"Piece in {name}", _enlarged(found.seen.mask(), (height, width)), data=True)
    stage.offer("reference_photo", photo, key=name, name=f"Photo {name}")
    stage.offer("reference_mask", mask, key=name, name=f"Piece in {name}")
    stage.offer("reference", camera, key=name, name=f"Shot {name}", group="shots")
    stage.offer("reference_world", world, key=name, name=f"Light of {name}")
    if lamp is not None:
        lamp.hide_render = lamp.hide_viewport = True
        stage.offer("reference_light", lamp, key=name, name=f"Light of {name}: lamp", group="dressing")
    return {
        f"{name}_light_left": round(light.residual, 3), f"{name}_light_explained": round(light.explained, 3),
        f"{name}_lamp_share": round(light.lamp_share, 3), f"{name}_level": [round(float(gain), 4) for gain in gains],
        f"{name}_focal_mm": round(float(camera["bozzetto_focal_mm"]), 2),
        f"{name}_distance_mm": round(float(camera["bozzetto_focus_mm"]), 1),
    }  # fmt: skip


def _colour_known(stage: Stage) -> bool:
    """Whether the piece's material has the real piece's colour: the scan's own, or one measured beside a card.

    Then the photo's colour says which colour the light had. Else the photo's white balance is taken to be right, so that a
    material of another colour is seen to differ.
    """
    shown = exposed_as(stage.require("surface", "piece"))
    return shown["kind"] == "own" or bool(stage.sheet["material"].reference)


def _level(
    stage: Stage,
    camera: bpy.types.Object,
    light: tuple[bpy.types.World, bpy.types.Object | None],
    seen: Seen,
    *,
    by_channel: bool,
) -> Floats:
    """(3,) gains that give the piece in a test render the photo's brightness, and its colour where that is known."""
    photo, (world, lamp) = seen.light, light
    factor = TRIAL / max(photo.shape[:2])
    size = (max(8, round(photo.shape[1] * factor)), max(8, round(photo.shape[0] * factor)))
    around = [item for item in (lamp, stage.find("stand")) if item is not None]
    shown = tried([stage.require("piece"), *around], camera, size, world, stage.seed, samples=SAMPLES)
    row, column = (
        np.minimum(((np.arange(side) + 0.5) * full / side).astype(int), full - 1)
        for side, full in zip(shown.shape[:2], photo.shape[:2], strict=True)
    )
    there = seen.mask()[np.ix_(row, column)] & (shown[..., 3] > 0.99)
    return matching_gains(photo[np.ix_(row, column)][there], shown[..., :3][there], by_channel=by_channel)


def _enlarged(mask: Bools, shape: tuple[int, int]) -> Floats:
    row, column = ((np.arange(side) * part // side) for side, part in zip(shape, mask.shape, strict=True))
    return mask[np.ix_(row, column)].astype(np.float32)
