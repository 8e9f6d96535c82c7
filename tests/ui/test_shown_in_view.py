"""Does the view show what a run left? Looked at the subject itself, since in Blender's own view it would be a dot."""

from __future__ import annotations

from pathlib import Path

import bpy
import pytest
from mathutils import Vector

from blender_addon.ui import pictures

SAMPLE = Path(__file__).parents[1] / "samples" / "0.1.0" / "job.blend"


@pytest.mark.parametrize("gone", [(), ("piece", "stand"), ("piece", "stand", "upright", "clean")])
def test_the_view_looks_at_what_there_is_of_the_subject(gone: tuple[str, ...]) -> None:
    bpy.ops.wm.open_mainfile(filepath=str(SAMPLE), load_ui=False)
    window = bpy.context.window_manager.windows[0]
    area = pictures.largest_view(window)
    assert area is not None
    view = area.spaces.active.region_3d
    for item in list(bpy.context.scene.objects):
        if item.get("bozzetto_role") in gone:
            bpy.data.objects.remove(item)
        elif gone:
            item.hide_viewport = item.get("bozzetto_role") not in ("upright", "scan")
            item.hide_set(False)
    view.view_location, view.view_distance = (5.0, 0.0, 0.0), 20.0
    pictures.show_subject(window)
    order = ("piece", "upright", "scan")
    found = {item["bozzetto_role"]: item for item in bpy.context.scene.objects if item.get("bozzetto_role") in order}
    seen = next(found[role] for role in order if role in found)
    corners = [seen.matrix_world @ Vector(corner) for corner in seen.bound_box]
    size = max((first - second).length for first in corners for second in corners)
    middle = sum(corners, Vector()) / len(corners)
    assert (view.view_location - middle).length < 0.5 * size, "else it would stand at the edge"
    assert size < view.view_distance < 4.0 * size, "nearer it would not fit, farther it would fill less than a quarter"


def test_without_a_subject_the_view_stays() -> None:
    bpy.ops.wm.read_factory_settings(use_empty=False)
    window = bpy.context.window_manager.windows[0]
    area = pictures.largest_view(window)
    assert area is not None
    before = area.spaces.active.region_3d.view_distance
    pictures.show_subject(window)
    assert area.spaces.active.region_3d.view_distance == before
