"""Renders the subject alone, with its cast shadow, on a transparent background (PNG), to be placed on any page."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import bpy
import numpy as np

from ...core.arrays import Pixels8
from ...core.delivery.cutout_shadow import tidied
from ...core.files.pictures.labels import Labels
from ...core.files.pictures.png_writer import write_png
from ...job.files.whole_files import whole_file
from ..compat import node_tree_of
from ..images import read_pixels
from ..temporary import changed
from .originals import save_as
from .output import Quality

if TYPE_CHECKING:
    from ..stage import Stage
    from ..temporary import Change

SUBJECT, LIGHT_SHAPERS = ("piece", "stand"), ("card",)
FOLDER = "cutouts"
GROUND, GROUND_GREY = 12.0, 0.4
"""Side of the shadow-catching ground over the subject's largest side (room for a shadow of five times the height), and the
ground's reflectance, about that of a wooden table."""
SAMPLES = 64
"""The fewest samples per pixel: transparency is not denoised, and its edge would be dotted with fewer."""


def cutout_of(still: Path) -> Path:
    """The path of a still's cut-out: `cutouts/NAME.png` beside the folder of the pictures."""
    return still.parent.parent / FOLDER / still.name


def quality_of_cutout(quality: Quality) -> Quality:
    """The quality of a still, with enough samples for a clean edge."""
    return replace(quality, samples=max(quality.samples, SAMPLES), noise=0.0)


def render_cutout(stage: Stage, path: Path, *, camera: bpy.types.Object, size: tuple[int, int]) -> None:
    """Render the subject through a shot's camera, transparent but for its shadow on level ground. Call inside `cycles`.

    size: (width, height) px.
    """
    scene = stage.scene
    scene.camera = camera
    scene.render.resolution_x, scene.render.resolution_y = size
    with _alone(stage), _ground(scene, _largest(stage)):
        bpy.ops.render.render(write_still=False, scene=scene.name)
        with tempfile.TemporaryDirectory() as folder:
            raw = Path(folder) / path.name
            save_as(scene, None, raw, "PNG", "8", mode="RGBA")
            picture = tidied(_read(raw))
        with whole_file(path) as draft, draft.open("wb") as file:
            write_png(file, [picture], size, Labels())


def _read(path: Path) -> Pixels8:
    """(h, w, 4) values of a picture file, the top row first."""
    image = bpy.data.images.load(str(path))
    try:
        image.colorspace_settings.name, image.alpha_mode = "Non-Color", "CHANNEL_PACKED"
        return np.rint(255.0 * np.clip(read_pixels(image)[::-1, :, :4], 0.0, 1.0)).astype(np.uint8)
    finally:
        bpy.data.images.remove(image)


@contextlib.contextmanager
def _alone(stage: Stage) -> Iterator[None]:
    """Hide everything but the subject, the lights and the cards inside the block, with transparent film."""
    scene = stage.scene
    kept_things = [item for role in (*SUBJECT, *LIGHT_SHAPERS) for item in stage.find_all(role).values()]
    kept_things += [item for item in scene.objects if item.get("bozzetto_turns") and item not in kept_things]
    changes: list[Change] = [(scene.render, "film_transparent", True)]
    changes += [
        (item, "hide_render", True)
        for item in scene.objects
        if item.type not in ("LIGHT", "CAMERA") and item not in kept_things
    ]
    with changed(changes):
        yield


@contextlib.contextmanager
def _ground(scene: bpy.types.Scene, largest: float) -> Iterator[None]:
    """A level shadow catcher at height 0, where the subject stands; removed after the block."""
    half = 0.5 * GROUND * largest
    mesh = bpy.data.meshes.new("bozzetto ground")
    mesh.from_pydata([(-half, -half, 0.0), (half, -half, 0.0), (half, half, 0.0), (-half, half, 0.0)], [], [(0, 1, 2, 3)])
    material = bpy.data.materials.new("bozzetto ground")
    tree = node_tree_of(material)
    tree.nodes.clear()
    shader, out = tree.nodes.new("ShaderNodeBsdfDiffuse"), tree.nodes.new("ShaderNodeOutputMaterial")
    shader.inputs["Color"].default_value = (GROUND_GREY, GROUND_GREY, GROUND_GREY, 1.0)
    tree.links.new(shader.outputs[0], out.inputs["Surface"])
    mesh.materials.append(material)
    ground = bpy.data.objects.new("bozzetto ground", mesh)
    ground.is_shadow_catcher = True
    scene.collection.objects.link(ground)
    try:
        yield
    finally:
        bpy.data.batch_remove([ground, mesh, material])


def _largest(stage: Stage) -> float:
    """The subject's largest side, m."""
    items = [item for role in SUBJECT for item in stage.find_all(role).values()]
    return max((max(item.dimensions) for item in items), default=0.1)
