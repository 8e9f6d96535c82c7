"""Renders pictures with more depth of field than one exposure: a merged focus bracket, or a departure from the true lens.

The bracket's slices are taken from one position with a constant field of view; they can also be kept as 16-bit frames, to be
stacked by hand. The departure composites the subject, rendered without blur, over the set as the true lens renders it; the
picture's caption must say so.
"""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.shots.focus_merge import merge
from ...core.shots.formats import frame_used
from ...core.shots.optics import in_blender
from .. import roles
from ..compat import node_tree_of
from ..images import read_pixels
from ..shots import lens_drivers as key
from ..shots.cameras import MM, optics_of
from ..shots.lens_drivers import DEPTH, SLICES
from ..temporary import changed
from .originals import keep_render, save_as

if TYPE_CHECKING:
    from ..stage import Stage
    from ..temporary import Change

BRACKETS = ("bracket", "frames")
"""The kinds of depth that are rendered as slices; the second keeps the slices on disk."""
SUBJECT = ("piece", "stand")


def is_deep(shot: bpy.types.Object) -> bool:
    """Whether a shot takes more than one exposure."""
    return shot.get(DEPTH, "lens") != "lens"


def exposures(shot: bpy.types.Object) -> int:
    """The number of renders that a picture of the shot takes."""
    if not is_deep(shot):
        return 1
    return len(shot[SLICES]) if shot[DEPTH] in BRACKETS else 2


def render_deep(stage: Stage, path: Path, *, camera: bpy.types.Object, size: tuple[int, int]) -> None:
    """Render a bracket or a departure to a file, which appears whole or not at all. Call inside `output.cycles`.

    size: (width, height) px.
    """
    scene = stage.scene
    scene.render.resolution_x, scene.render.resolution_y = size
    with tempfile.TemporaryDirectory() as folder, _twin(scene, camera, size) as twin:
        scene.camera = twin
        if camera[DEPTH] in BRACKETS:
            pixels = _bracket(scene, twin, camera, size, Path(folder), frames_of(camera, path))
        else:
            pixels = _departure(stage, twin, Path(folder))
    forget_longer(path, frames_of(camera, path))
    with _image(pixels) as image:
        keep_render(scene, path, image)


def frames_folder(path: Path) -> Path:
    """The folder for the slices of the picture at `path`: `brackets/NAME` beside the folder of the pictures."""
    return path.parent.parent / "brackets" / path.stem


def frames_of(shot: bpy.types.Object, path: Path) -> list[Path]:
    """The files of the slices of a shot's picture at `path`, nearest focus first; empty where none are kept."""
    if shot.get(DEPTH) != "frames":
        return []
    return [frames_folder(path) / f"{number:03d}.png" for number in range(1, len(shot[SLICES]) + 1)]


def forget_longer(path: Path, frames: Sequence[Path]) -> None:
    """Delete surplus slices that an earlier, longer bracket of the picture at `path` left."""
    for old in frames_folder(path).glob("[0-9][0-9][0-9].png"):
        if frames and old not in frames:
            old.unlink()


def _bracket(
    scene: bpy.types.Scene,
    twin: bpy.types.Object,
    camera: bpy.types.Object,
    size: tuple[int, int],
    folder: Path,
    left: list[Path],
) -> Floats:
    lens = optics_of(camera)
    distances = [float(distance) for distance in camera[SLICES]]
    slices = []
    for place, distance in enumerate(distances):
        twin.data.dof.focus_distance = distance / MM
        slices.append(_linear(scene, folder / f"slice{place}.exr")[..., :3])
    for frame, pixels in zip(left, slices, strict=bool(left)):
        with _image(pixels) as image:
            save_as(scene, image, frame, "PNG", "16")
    width = frame_used(camera[key.FORMAT][0], camera[key.FORMAT][1], size)[0]
    depth = _depth(scene, twin, folder)
    return merge(np.array(slices), depth, np.array(distances), lens, px_per_mm=size[0] / width)


def _departure(stage: Stage, twin: bpy.types.Object, folder: Path) -> Floats:
    scene = stage.scene
    subject = [item for role in SUBJECT for item in stage.find_all(role).values()]
    subject += [item for item in scene.objects if item.get("bozzetto_turns") and item not in subject]
    others = [item for item in scene.objects if item not in subject and hasattr(item, "is_holdout")]
    with changed([(item, "visible_camera", False) for item in subject]):
        ground = _linear(scene, folder / "ground.exr")[..., :3]
    changes: list[Change] = [(item, "is_holdout", True) for item in others]
    changes += [(twin.data.dof, "use_dof", False), (scene.render, "film_transparent", True)]
    changes += [(scene.render.image_settings, "color_mode", "RGBA")]
    with changed(changes):
        front = _linear(scene, folder / "front.exr")
    return front[..., :3] + (1.0 - np.clip(front[..., 3:], 0.0, 1.0)) * ground


def _depth(scene: bpy.types.Scene, twin: bpy.types.Object, folder: Path) -> Floats:
    """(h, w) depth in mm at each pixel, rendered without blur; inf in empty pixels."""
    material = bpy.data.materials.new("depth")
    try:
        tree = node_tree_of(material)
        tree.nodes.clear()
        seen, glow, out = (
            tree.nodes.new(kind) for kind in ("ShaderNodeCameraData", "ShaderNodeEmission", "ShaderNodeOutputMaterial")
        )
        tree.links.new(seen.outputs["View Z Depth"], glow.inputs["Strength"])
        tree.links.new(glow.outputs[0], out.inputs["Surface"])
        layer, own = scene.view_layers[0], scene.cycles
        changes = [(layer, "material_override", material), (twin.data.dof, "use_dof", False), (own, "samples", 1)]
        changes += [(own, "use_denoising", False), (own, "pixel_filter_type", "BOX"), (own, "max_bounces", 0)]
        changes += [(own, "use_adaptive_sampling", False), (scene.render, "film_transparent", True)]
        with changed(changes):
            depth = _linear(scene, folder / "depth.exr", bits="32")[..., 0].astype(float) * MM
        return np.where(depth > 0.0, depth, np.inf)
    finally:
        bpy.data.materials.remove(material)


@contextlib.contextmanager
def _twin(scene: bpy.types.Scene, camera: bpy.types.Object, size: tuple[int, int]) -> Iterator[bpy.types.Object]:
    """A copy of the shot's camera whose field of view stays constant while its focus moves."""
    twin = camera.copy()
    twin.data = camera.data.copy()
    roles.unmark(twin)
    twin.animation_data_clear()
    twin.data.animation_data_clear()
    used = frame_used(camera[key.FORMAT][0], camera[key.FORMAT][1], size)
    lens = optics_of(camera)
    written = in_blender(lens, used, blades=int(camera.get(key.BLADES, 0)))
    data = twin.data
    data.lens, data.sensor_width, data.dof.aperture_fstop = written.lens, written.sensor_width, written.fstop
    data.dof.focus_object, data.dof.focus_distance = None, lens.focus_mm / MM
    scene.collection.objects.link(twin)
    kept = scene.camera
    try:
        yield twin
    finally:
        scene.camera = kept
        bpy.data.objects.remove(twin)
        bpy.data.cameras.remove(data)


def _linear(scene: bpy.types.Scene, path: Path, *, bits: str = "16") -> Floats:
    """(h, w, 4) scene-linear render through the scene's camera."""
    images = scene.render.image_settings
    with changed([(images, "file_format", "OPEN_EXR"), (images, "color_depth", bits)]):
        scene.render.filepath = str(path)
        bpy.ops.render.render(write_still=True, scene=scene.name)
    image = bpy.data.images.load(str(path))
    try:
        return read_pixels(image).copy()
    finally:
        bpy.data.images.remove(image)


@contextlib.contextmanager
def _image(pixels: Floats) -> Iterator[bpy.types.Image]:
    """Scene-linear pixels (h, w, 3), the bottom row first, as a Blender image inside the block."""
    height, width = pixels.shape[:2]
    image = bpy.data.images.new("deep", width, height, float_buffer=True)
    try:
        full = np.ones((height, width, 4), np.float32)
        full[..., :3] = pixels
        image.pixels.foreach_set(full.ravel())
        yield image
    finally:
        bpy.data.images.remove(image)
