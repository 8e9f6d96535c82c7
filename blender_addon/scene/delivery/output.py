"""Renders into files: sets up Cycles for a picture, chooses the device, and restores the scene's own settings."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpy

from ...core.records import record
from ..compat import set_media
from .device import find_device
from .originals import keep_render, save_as

if TYPE_CHECKING:
    from ..temporary import Change


@record
class Quality:
    """The effort of a render: at most `samples` per pixel, fewer where the noise falls below `noise` (0: never fewer).

    careful: prefilter the denoiser's albedo and normal passes, which keeps relief where they are noisy; takes a second or more.
    """

    samples: int
    noise: float
    denoise: bool = True
    careful: bool = True


FEW = 4
"""Samples up to which a BVH with spatial splits costs more than it saves: at 4 the demo's hero took a tenth longer."""


@contextlib.contextmanager
def cycles(scene: bpy.types.Scene, quality: Quality, *, device: str, seed: int, persistent: bool = False) -> Iterator[None]:
    """Set up the scene for Cycles inside the block; its own render settings are restored after it.

    device: 'auto', 'cpu' or a kind of card. persistent: whether Cycles keeps its scene from one picture to the next.
    """
    kept = _kept(scene)
    try:
        set_up(scene, quality, device=device, seed=seed)
        scene.render.use_persistent_data = persistent
        yield
    finally:
        for owner, name, value in kept:
            setattr(owner, name, value)


def set_up(scene: bpy.types.Scene, quality: Quality, *, device: str, seed: int) -> str:
    """Set up Cycles with this quality; metadata is off, so that equal pictures are equal files. Returns the device used."""
    render: Any = scene.render
    own = scene.cycles
    render.engine = "CYCLES"
    own.device = find_device(device).setting
    own.samples = quality.samples
    own.use_adaptive_sampling = quality.noise > 0
    own.adaptive_threshold = quality.noise
    own.adaptive_min_samples = min(16, quality.samples)
    own.use_denoising = quality.denoise and can_denoise(scene)
    if own.use_denoising:
        own.denoiser = "OPENIMAGEDENOISE"
        # The albedo and normal passes let the denoiser distinguish relief and grain from noise.
        own.denoising_input_passes = "RGB_ALBEDO_NORMAL"
        own.denoising_prefilter = "ACCURATE" if quality.careful else "FAST"
        # On the processor denoising takes longer than a card's whole render; it steps in where no card denoises.
        own.denoising_use_gpu = own.device == "GPU"
    own.seed = seed
    own.use_animated_seed = False
    own.max_bounces, own.diffuse_bounces, own.glossy_bounces = 8, 3, 3
    own.transmission_bounces, own.transparent_max_bounces = 6, 8
    own.caustics_reflective = own.caustics_refractive = False
    # Fireflies from small bright reflections in a glaze are worse than the loss of their light.
    own.sample_clamp_indirect = 8.0
    # Boards and debris are long thin triangles: with spatial splits the BVH is traversed a tenth faster, but built more slowly.
    own.debug_use_spatial_splits = quality.samples > FEW
    render.use_persistent_data = False
    render.film_transparent = False
    render.resolution_percentage = 100
    render.use_border = False
    render.use_sequencer = False
    render.use_file_extension = False
    render.use_stamp = False
    for name in dir(render):
        if name.startswith("use_stamp_"):
            setattr(render, name, False)
    set_media(render.image_settings, "IMAGE")
    render.image_settings.file_format = "PNG"
    render.image_settings.color_mode = "RGB"
    render.image_settings.color_depth = "8"
    render.image_settings.compression = 30
    return own.device


def can_denoise(scene: bpy.types.Scene) -> bool:
    """Whether this Blender was built with a denoiser; some distributions' builds are not."""
    return bool(scene.cycles.denoiser)


_RENDER = (
    "engine", "use_persistent_data", "film_transparent", "resolution_x", "resolution_y", "resolution_percentage",
    "use_border", "use_sequencer", "use_file_extension", "use_stamp", "filepath", "use_compositing",
)  # fmt: skip
_CYCLES = (
    "device", "samples", "use_adaptive_sampling", "adaptive_threshold", "adaptive_min_samples", "use_denoising", "denoiser",
    "denoising_input_passes", "denoising_prefilter", "denoising_use_gpu", "seed", "use_animated_seed", "max_bounces",
    "diffuse_bounces", "glossy_bounces", "transmission_bounces", "transparent_max_bounces", "caustics_reflective",
    "caustics_refractive", "sample_clamp_indirect", "debug_use_spatial_splits",
)  # fmt: skip
_PICTURE = ("file_format", "color_mode", "color_depth", "compression")
SCENE_PATHS = (
    "camera", "frame_start", "frame_end", *(f"render.{name}" for name in _RENDER if name != "use_compositing"),
    *(f"render.image_settings.{name}" for name in _PICTURE), *(f"cycles.{name}" for name in _CYCLES),
)  # fmt: skip
"""Settings of the scene that the render step leaves set, so that F12 renders as the job did."""


def _kept(scene: bpy.types.Scene) -> list[Change]:
    kept: list[Change] = [(scene.render, name, getattr(scene.render, name)) for name in _RENDER]
    kept += [(scene.cycles, name, getattr(scene.cycles, name)) for name in _CYCLES]
    kept = [change for change in kept if change[2] != ""]  # an enum without items can't be set again
    images = scene.render.image_settings
    kept += [(images, "media_type", images.media_type)] if hasattr(images, "media_type") else []
    kept += [(images, name, getattr(images, name)) for name in _PICTURE]
    return [*kept, (scene, "camera", scene.camera), (scene, "frame_current", scene.frame_current)]


def render_picture(
    scene: bpy.types.Scene, path: Path, *, camera: bpy.types.Object, size: tuple[int, int], original: bool = False
) -> None:
    """Render through a camera to a file, which appears whole or not at all. Call inside `cycles`.

    original: also keep the 16-bit and scene-linear originals of the same render (`delivery/originals.py`).
    size: (width, height) px.
    """
    scene.camera = camera
    scene.render.resolution_x, scene.render.resolution_y = size
    bpy.ops.render.render(write_still=False, scene=scene.name)
    if original:
        keep_render(scene, path)
    else:
        save_as(scene, None, path, "PNG", "8")
