"""Renders the piece in every material, one after the other, under the same light."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import bpy
import numpy as np

from ...core.dressing.exposure import TONES, most_over_card, stops_for_piece, usual_offset
from .. import roles
from ..dressing.meter import read_piece
from ..dressing.shot_light import CARD, SHADE
from ..nodes.materials import MEAN, exposed_as, make_material
from ..shots.cameras import vertices_mm
from ..surface.own_texture import maps_of, mean_colour, own_colour_of
from ..surface.surfaces import file_of, samples, surface_of
from .copies.marked import marked
from .output import Quality, cycles, render_picture
from .shot_state import dressed_for

if TYPE_CHECKING:
    from ..stage import Stage

LONG_SIDE = 480
"""Longest side of a sample, px."""


def materials_for_samples(stage: Stage) -> Iterator[tuple[str, bpy.types.Material]]:
    """(label, new material) of each sample; a material is removed when the next one is requested."""
    settings = stage.sheet["material"]
    size_mm = float(np.ptp(vertices_mm(stage.require("piece")), axis=0).max())
    for label, kind, choice in samples():
        item = stage.require("piece")
        if kind == "own" and own_colour_of(stage, item, "piece") == (None, ""):
            continue
        groups = {group.session_uid for group in bpy.data.node_groups}
        surface = surface_of(kind, dataclasses.replace(settings, piece=kind, **choice), size_mm=size_mm)
        maps = maps_of(stage, item, "piece", settings.relief_strength)
        material = make_material(f"Sample {label}", surface, maps)
        mean = mean_colour(item, maps) if kind == "own" else None
        if mean is not None:
            material[MEAN] = mean
        name = material.name
        try:
            yield label, material
        finally:
            bpy.data.materials.remove(bpy.data.materials[name])
            _drop_new_groups(groups)


def _drop_new_groups(before: set[int]) -> None:
    """Remove new node groups that nothing uses; repeated, since a removed group may have been the only user of another."""
    while True:
        idle = [group for group in bpy.data.node_groups if group.session_uid not in before and group.users == 0]
        if not idle:
            return
        bpy.data.batch_remove(idle)


def render_samples(
    stage: Stage, device: str, quality: Quality, largest: int = LONG_SIDE, mark: str = ""
) -> Iterator[tuple[int, int, str, Path]]:
    """Render the piece in each material through the hero shot; yields number, count, label and the picture's path.

    largest: upper limit of a sample's longer side, px; `LONG_SIDE` at most. mark: words drawn over each, '' for none.
    device: as `output.cycles` takes it.
    """
    shots = stage.find_all("shot")
    shot = shots.get("hero") or next(iter(shots.values()))
    if stage.out is None:
        raise ValueError("samples need a folder to be written to")
    shot_key, folder = shot["bozzetto_key"], stage.out / "samples"
    for place, (label, material) in enumerate(materials_for_samples(stage)):
        path = folder / file_of(place, label)
        shot = stage.require("shot", shot_key)
        with cycles(stage.scene, quality, device=device, seed=stage.seed), dressed_for(stage, shot):
            kept = _put_on(stage.require("piece"), material)
            exposure = stage.scene.view_settings.exposure
            try:
                stage.scene.view_settings.exposure = exposure + _lighter(stage, shot, material)
                _picture(stage, path, shot, _size(shot, min(LONG_SIDE, largest)), mark)
            finally:
                stage.scene.view_settings.exposure = exposure
                _put_back(stage.require("piece"), kept)
        yield place + 1, len(samples()), label, path


def _picture(stage: Stage, path: Path, shot: bpy.types.Object, size: tuple[int, int], mark: str) -> None:
    with marked(path, mark) as place:
        render_picture(stage.scene, place, camera=shot, size=size)


def _size(shot: bpy.types.Object, side: int) -> tuple[int, int]:
    width, height = shot.get("bozzetto_resolution", (3, 2))
    return max(1, round(side * width / max(width, height))), max(1, round(side * height / max(width, height)))


def _lighter(stage: Stage, shot: bpy.types.Object, sample: bpy.types.Material) -> float:
    """Stops by which the sample on the piece is exposed more than the job; 0 where the job sets the exposure by hand."""
    asked, scene = stage.sheet["lighting"], stage.scene
    if asked.exposure is not None or asked.offset is not None:
        return 0.0
    world, piece = scene.world, stage.require("piece")
    others = [item for item in scene.objects if item != piece and item.type in {"MESH", "LIGHT"} and not item.hide_render]
    bright = read_piece(camera=shot, piece=piece, lights=others, world=world, seed=stage.seed) if world else None
    if world is None or bright is None or not roles.has(world, CARD):
        shade, worn = (world.get(SHADE, 1.0) if world else 1.0), stage.find("surface", "piece")
        return usual_offset(shade=shade, **exposed_as(sample)) - usual_offset(shade=shade, **exposed_as(worn))
    most = most_over_card(**exposed_as(sample))
    return stops_for_piece(bright, TONES[asked.view], card=world[CARD], most=most) - scene.view_settings.exposure


def _put_on(item: bpy.types.Object, material: bpy.types.Material) -> list[tuple[Literal["OBJECT", "DATA"], str]]:
    kept = [(slot.link, slot.material.name if slot.material else "") for slot in item.material_slots]
    for slot in item.material_slots:
        slot.link = "OBJECT"
        slot.material = material
    return kept


def _put_back(item: bpy.types.Object, kept: list[tuple[Literal["OBJECT", "DATA"], str]]) -> None:
    for slot, (link, name) in zip(item.material_slots, kept, strict=True):
        slot.material = bpy.data.materials.get(name) if link == "OBJECT" else None
        slot.link = link
