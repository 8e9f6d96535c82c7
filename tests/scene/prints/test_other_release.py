"""Is a shot that another release of Blender saved known as it was, and is an edit of it seen?"""

from __future__ import annotations

from typing import Any

import bpy
import pytest

from blender_addon.scene.compat import RELEASE
from blender_addon.scene.prints import fingerprint_0_1
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


LIGHT_EDITS: dict[str, Any] = {
    "brighter": lambda light: setattr(light.data, "energy", 30.0),
    "nodes": lambda light: setattr(emission(light), "default_value", 5.0),
    "another node": lambda light: emission(light) and light.data.node_tree.nodes.new("ShaderNodeBlackbody"),
}  # fmt: skip


def emission(light: Any) -> Any:
    """The input for the strength in the light's nodes."""
    light.data.use_nodes = True
    return next(node for node in light.data.node_tree.nodes if node.bl_idname == "ShaderNodeEmission").inputs["Strength"]


@pytest.mark.parametrize("edit", LIGHT_EDITS)
def test_an_edit_of_a_light_is_seen_in_another_release_and_its_usual_nodes_are_none(empty_scene: Any, edit: str) -> None:
    item = bpy.data.objects.new("key", bpy.data.lights.new("key", "AREA"))
    empty_scene.collection.objects.link(item)
    bare = fingerprint_0_1.fingerprint(item)
    kept = noted(item).replace(f":{RELEASE}:", ":4.2:")
    assert unchanged(item, kept)
    emission(item)  # the nodes that every light has since 5.2, and that one of 4.5 gets when its nodes are switched on
    assert fingerprint_0_1.fingerprint(item) == bare
    LIGHT_EDITS[edit](item)
    assert not unchanged(item, kept), edit
