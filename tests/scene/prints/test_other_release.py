"""Is a shot that another release of Blender saved known as it was, and is an edit of it seen?"""

from __future__ import annotations

from typing import Any

import bpy
import pytest

from blender_addon.scene.compat import RELEASE
from blender_addon.scene.prints.fingerprint import noted, of_this_release, unchanged

EDITS: dict[str, Any] = {
    "shifted": lambda shot: setattr(shot.data, "shift_x", 0.1), "another lens": lambda shot: setattr(shot.data, "lens", 90.0),
    "nearer clipping": lambda shot: setattr(shot.data, "clip_start", 0.5),
    "another f-number": lambda shot: setattr(shot.data.dof, "aperture_fstop", 4.0),
    "moved": lambda shot: setattr(shot, "location", (0.0, 0.0, 0.3)), "hidden": lambda shot: setattr(shot, "hide_render", True),
    "a setting of ours": lambda shot: shot.__setitem__("bozzetto_focus_mm", 300.0),
}  # fmt: skip


@pytest.fixture
def shot(empty_scene: Any) -> Any:
    """A camera with a focus of its own."""
    item = bpy.data.objects.new("Shot hero", bpy.data.cameras.new("Shot hero"))
    empty_scene.collection.objects.link(item)
    item["bozzetto_focus_mm"] = 400.0
    item.data.dof.use_dof = True
    return item


@pytest.mark.parametrize("edit", EDITS)
def test_an_edit_of_a_shot_is_seen_in_another_release(shot: Any, edit: str) -> None:
    kept = noted(shot).replace(f":{RELEASE}:", ":4.2:")
    assert not of_this_release(kept) and unchanged(shot, kept)
    EDITS[edit](shot)
    bpy.context.view_layer.update()
    assert not unchanged(shot, kept), edit
