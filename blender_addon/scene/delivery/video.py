"""Encodes frames as a video by Blender's own sequencer and writer, in a temporary scene."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import bpy

from ..compat import set_media
from ..running.session import whole_file, writes

NO_WRITER = "This Blender was built without a writer for films"


def has_writer() -> bool:
    """Whether this Blender can write films at all."""
    return bool(bpy.app.ffmpeg.supported)


def write_video(frames: Sequence[Path], path: Path, *, size: tuple[int, int], fps: int, turns: int = 1) -> None:
    """Write a film of the frames, repeated `turns` times, whole or not at all. All frames are in one folder.

    The suffix chooses the format: `.mp4` with H.264, or `.webm` with VP9, which is free of licence fees in browsers.

    size: (width, height) px. fps: frames a second.
    """
    scene = bpy.data.scenes.new("bozzetto video")
    try:
        scene.sequence_editor_create()
        editor = scene.sequence_editor
        strips = editor.strips if hasattr(editor, "strips") else editor.sequences
        strip = strips.new_image("frames", str(frames[0]), 1, 1)
        for frame in [*frames[1:], *list(frames) * (turns - 1)]:
            strip.elements.append(frame.name)
        render = scene.render
        render.resolution_x, render.resolution_y = (length - length % 2 for length in size)  # H.264 wants even sizes
        render.resolution_percentage = 100
        render.fps, render.fps_base = fps, 1.0
        render.use_sequencer, render.use_compositing, render.use_file_extension = True, False, False
        for name in [name for name in dir(render) if name.startswith("use_stamp")]:
            setattr(render, name, False)  # else a WebM file names the .blend with its folder
        scene.frame_start, scene.frame_end = 1, len(frames) * turns
        # The frames are finished pictures: no second view transform.
        scene.view_settings.view_transform = "Standard"
        scene.view_settings.look = "None"
        scene.view_settings.exposure, scene.view_settings.gamma = 0.0, 1.0
        set_media(render.image_settings, "VIDEO")
        render.image_settings.file_format = "FFMPEG"
        render.image_settings.color_mode = "RGB"
        render.ffmpeg.format, render.ffmpeg.codec = ("WEBM", "WEBM") if path.suffix == ".webm" else ("MPEG4", "H264")
        render.ffmpeg.constant_rate_factor, render.ffmpeg.gopsize = "HIGH", fps
        with whole_file(path) as draft, writes(path):
            render.filepath = str(draft)
            bpy.ops.render.render(animation=True, scene=scene.name)
    finally:
        bpy.data.scenes.remove(scene)
