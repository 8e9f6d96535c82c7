"""Does the light that a table throws on other things have the colour that the table has, though its texture is left out?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.dressing.tabletops.grid import Extent
from blender_addon.core.dressing.tabletops.planks import Planks, planks
from blender_addon.scene.dressing.lights import flat_object
from blender_addon.scene.dressing.set_materials import table_material
from blender_addon.scene.dressing.set_parts import make_part
from tests.scene.linear_render import linear_render

pytestmark = pytest.mark.usefixtures("empty_scene")
SIZE = 128


def seen(thing: Any, folder: Path) -> np.ndarray:
    """(3,) mean linear colour of what glows, seen from above over 600 mm."""
    scene = bpy.context.scene
    camera = bpy.data.objects.new("eye", bpy.data.cameras.new("eye"))
    camera.data.type, camera.data.ortho_scale, camera.location.z = "ORTHO", 0.6, 1.0
    for item in (camera, thing):
        if item.name not in scene.collection.objects:
            scene.collection.objects.link(item)
    scene.camera = camera
    return linear_render(scene, folder, size=(SIZE, SIZE), samples=4).mean((0, 1))


def glow(material: Any, shader: str, socket: str) -> None:
    """Let a material give off, as light, the colour that one of its shaders scatters."""
    group = next(node.node_tree for node in material.node_tree.nodes if getattr(node, "node_tree", None))
    node = next(candidate for candidate in group.nodes if candidate.bl_idname == shader)
    lamp = group.nodes.new("ShaderNodeEmission")
    group.links.new(node.inputs[socket].links[0].from_socket, lamp.inputs["Color"])
    end = next(candidate for candidate in group.nodes if candidate.bl_idname == "NodeGroupOutput")
    group.links.new(lamp.outputs[0], end.inputs["Shader"])


@pytest.mark.parametrize("kind", ["planks", "slate", "cloth", "plaster", "paper"])
def test_what_a_table_throws_on_things_has_its_mean_colour(kind: str, tmp_path: Path) -> None:
    """Within a sixth a channel: the eye takes a tint of bounced light of some 10 % for the same, and seeds of boards differ."""
    material = table_material(kind, 0.6, (0.42, 0.39, 0.35), 90.0)
    if kind == "planks":
        extent = Extent(width=700.0, depth=700.0, reach=100.0, fine=2.0, coarse=10.0)
        table = make_part("Table", planks(extent, Planks(), seed=3).mesh, [material])
    else:
        table = flat_object("Table", 600.0, 600.0, material)
    glow(material, "ShaderNodeBsdfPrincipled", "Base Color")
    whole = seen(table, tmp_path)
    glow(material, "ShaderNodeBsdfDiffuse", "Color")
    assert seen(table, tmp_path) == pytest.approx(whole, rel=1 / 6)
