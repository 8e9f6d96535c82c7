"""Is each kind of edit of a data-block seen, and is what is no edit left alone?"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.scene.meshes import make_mesh
from blender_addon.scene.prints import digest
from blender_addon.scene.prints.fingerprint import fingerprint, noted, unchanged


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
    """Prints of earlier releases were made either way."""
    mesh = bpy.data.meshes.new("Tile")
    mesh.from_pydata([(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], [], [(0, 1, 2, 3)])
    mesh.uv_layers.new(name="UVMap")
    at_once = noted(mesh)
    monkeypatch.setattr(digest, "LARGE", 0)
    assert noted(mesh) == at_once
    mesh.vertices[0].co.x = 0.5
    assert fingerprint(mesh) != at_once.rsplit(":", 2)[0] and not unchanged(mesh, at_once)


def test_a_digest_is_that_of_all_that_was_given_in_order() -> None:
    """SHA-256 of FIPS 180-4, as the standard library computes it in one piece."""
    parts = [b"begin", np.arange(300_000, dtype=np.float32), b"between", np.arange(200_000, dtype=np.int32), b"end"]
    ours = digest.Digest()
    for part in parts:
        ours.update(part)
    whole = hashlib.sha256(b"".join(bytes(memoryview(part).cast("B")) for part in parts)).hexdigest()
    assert ours.hexdigest() == whole == ours.hexdigest()


def _sheet(side: int = 300) -> bpy.types.Mesh:
    """A flat mesh of 180,000 triangles with UVs, whose arrays are large enough to be digested beside."""
    line = np.arange(side + 1)
    points = np.stack([*np.meshgrid(line, line), np.zeros((side + 1, side + 1))], axis=-1).reshape(-1, 3)
    at = (line[:-1, None] * (side + 1) + line[None, :-1]).reshape(-1)
    beyond = at + side + 2
    faces = np.concatenate([np.stack(corners, 1) for corners in ((at, at + 1, beyond), (at, beyond, beyond - 1))])
    return make_mesh("Sheet", TriangleMesh(points.astype(np.float32), faces, points[faces][..., :2].astype(np.float32) / side))


def _vertex(mesh: bpy.types.Mesh) -> None:
    mesh.vertices[77_777].co.z = 1e-6


def _uv(mesh: bpy.types.Mesh) -> None:
    mesh.uv_layers[0].uv[123_456].vector.x += 1e-6


def _normal(mesh: bpy.types.Mesh) -> None:
    normals = np.tile([0.0, 0.0, 1.0], (len(mesh.loops), 1))
    normals[123_456] = 0.6, 0.0, 0.8
    mesh.normals_split_custom_set(normals.tolist())


def _corner(mesh: bpy.types.Mesh) -> None:
    mesh.attributes[".corner_vert"].data[123_456].value += 1


def _exchanged(mesh: bpy.types.Mesh) -> None:
    first, second = mesh.vertices[5].co.copy(), mesh.vertices[6].co.copy()
    mesh.vertices[5].co, mesh.vertices[6].co = second, first


@pytest.mark.parametrize("edit", [_vertex, _uv, _normal, _corner, _exchanged])
def test_one_changed_number_of_a_large_mesh_counts(edit: Callable[[bpy.types.Mesh], None]) -> None:
    mesh = _sheet()
    assert 4 * len(mesh.loops) > digest.LARGE
    record = noted(mesh)
    assert unchanged(mesh, record)
    edit(mesh)
    assert not unchanged(mesh, record)
