"""Is each kind of edit of a data-block seen, and is what is no edit left alone?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy
import pytest

from blender_addon.scene.prints import mesh_print
from blender_addon.scene.prints.fingerprint import fingerprint


def _light() -> bpy.types.ID:
    return bpy.data.lights.new("Key", "AREA")


def _world() -> bpy.types.ID:
    return bpy.data.worlds.new("Room")


def _material() -> bpy.types.ID:
    material = bpy.data.materials.new("Clay")
    material.use_nodes = True
    return material


def _empty() -> bpy.types.ID:
    return bpy.data.objects.new("Mark", None)


def _curve() -> bpy.types.ID:
    curve = bpy.data.curves.new("Wire", "CURVE")
    curve.splines.new("POLY").points.add(2)
    return curve


def _shader(material: Any) -> Any:
    return material.node_tree.nodes["Principled BSDF"].inputs["Roughness"]


EDITS: dict[str, tuple[Callable[[], bpy.types.ID], Callable[[Any], None]]] = {
    "a light's power": (_light, lambda light: setattr(light, "energy", 3.0)),
    "a light's shape": (_light, lambda light: setattr(light, "shape", "DISK")),
    "whether Cycles lets a light cast caustics": (_light, lambda light: setattr(light.cycles, "is_caustics_light", True)),
    "how Cycles samples what shines": (_material, lambda material: setattr(material.cycles, "emission_sampling", "FRONT")),
    "how Cycles samples a world": (_world, lambda world: setattr(world.cycles, "sampling_method", "NONE")),
    "an object's shadows in Cycles": (_empty, lambda item: setattr(item.cycles, "shadow_terminator_offset", 0.1)),
    "a world's mist": (_world, lambda world: setattr(world.mist_settings, "start", 1.0)),
    "a value of a node": (_material, lambda material: setattr(_shader(material), "default_value", 0.9)),
    "a material's own setting": (_material, lambda material: setattr(material, "pass_index", 3)),
    "a custom property": (_material, lambda material: material.__setitem__("mine", 1)),
    "a curve's thickness": (_curve, lambda curve: setattr(curve, "bevel_depth", 0.1)),
}


@pytest.mark.parametrize("edit", EDITS)
def test_an_edit_is_seen_and_taken_back_it_is_none(empty_scene: Any, edit: str) -> None:
    make, change = EDITS[edit]
    block, same = make(), make()
    before = fingerprint(block)
    assert fingerprint(block) == before == fingerprint(same)
    change(block)
    assert fingerprint(block) != before
    change(same)
    assert fingerprint(same) == fingerprint(block)


def test_a_mesh_has_one_print_whether_digested_beside_or_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Prints of earlier releases were all made beside."""
    mesh = bpy.data.meshes.new("Tile")
    mesh.from_pydata([(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], [], [(0, 1, 2, 3)])
    mesh.uv_layers.new(name="UVMap")
    at_once = fingerprint(mesh)
    monkeypatch.setattr(mesh_print, "SMALL", 0)
    assert fingerprint(mesh) == at_once
    mesh.vertices[0].co.x = 0.5
    assert fingerprint(mesh) != at_once
