"""Draws lines over the 3D view: in one hue, heavier or lighter by kind, slightly in front of the surface below them."""

from __future__ import annotations

from collections.abc import Mapping

import gpu
import numpy as np
from mathutils import Matrix

from ...core.arrays import Floats

HUE = (0.45, 0.92, 1.0)
"""The colour of all lines, different from Blender's selection colours; kinds differ by weight and hatching."""

HATCHING, EDGE, HEAVY = (1.2, 0.45), (2.0, 0.9), (3.5, 1.0)
"""Width in px and opacity of hatching, edges, and the most important lines."""

State = tuple[object, ...]
"""The state on which lines depend; they are recomputed when it changes."""
Batch = tuple[gpu.types.GPUBatch, float, float]
"""Lines as a GPU batch, their width in px and their opacity."""
Lines = Mapping[str, tuple[Floats, tuple[float, float]]]
"""By name: segments (k, 2, 3) in metres, and their width and opacity."""


def batches(lines: Lines) -> list[Batch]:
    """The lines as GPU batches, each with width and opacity."""
    from gpu_extras.batch import batch_for_shader

    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    found = []
    for segments, (width, alpha) in lines.values():
        if len(segments):
            points = np.asarray(segments, np.float32).reshape(-1, 3)
            found.append((batch_for_shader(shader, "LINES", {"pos": points.tolist()}), width, alpha))
    return found


def draw_batches(wanted: list[Batch]) -> None:
    """Draw batches, hidden behind objects of the scene."""
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    shader.bind()
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    gpu.state.blend_set("ALPHA")
    gpu.state.depth_test_set("LESS_EQUAL")
    with gpu.matrix.push_pop():
        gpu.matrix.load_matrix(_nearer(gpu.matrix.get_model_view_matrix(), gpu.matrix.get_projection_matrix()))
        for batch, width, alpha in wanted:
            shader.uniform_float("lineWidth", width)
            shader.uniform_float("color", (*HUE, alpha))
            batch.draw(shader)
    gpu.state.depth_test_set("NONE")
    gpu.state.blend_set("NONE")


def draw_words(lines: list[str], x: float, y: float, *, size: float = 12.0) -> None:
    """Draw lines of text upwards from a position in px, the last line lowest, legible on any background."""
    import blf
    import bpy

    scale = bpy.context.preferences.system.ui_scale
    blf.size(0, size * scale)
    blf.color(0, *HUE, 1.0)
    blf.enable(0, blf.SHADOW)
    blf.shadow(0, 5, 0.0, 0.0, 0.0, 0.9)
    for place, words in enumerate(reversed(lines)):
        blf.position(0, x, y + (size + 4.0) * place * scale, 0.0)
        blf.draw(0, words)
    blf.disable(0, blf.SHADOW)


def width_of(words: str, *, size: float = 12.0) -> float:
    """Width in px of a line as `draw_words` draws it."""
    import blf
    import bpy

    blf.size(0, size * bpy.context.preferences.system.ui_scale)
    return float(blf.dimensions(0, words)[0])


def _nearer(view: Matrix, projection: Matrix) -> Matrix:
    """The projection with everything 0.1 % nearer to the viewer, so that lines are drawn in front of their surface."""
    if projection[3][3] == 0.0:  # perspective: shrink towards the eye
        return Matrix.Scale(0.999, 4) @ view
    return Matrix.Translation((0.0, 0.0, 0.002 / abs(projection[1][1]))) @ view
