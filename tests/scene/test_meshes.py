"""Is a mesh that was made of an importer's own the same as one that was made of its arrays?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.scene.meshes import is_bare, make_mesh, make_object, read_mesh  # noqa: E402
from blender_addon.scene.prints.digest import Digest  # noqa: E402
from blender_addon.scene.prints.mesh_print import feed_mesh  # noqa: E402
from blender_addon.scene.scan.importers import Imported, import_scan  # noqa: E402

pytestmark = pytest.mark.usefixtures("empty_scene")

OBJ = """o torn
v 0 0 0 1 0 0
v 1 0 0 0 1 0
v 1 1 0 0 0 1
v 0 1 0 1 1 0
v 0 0 2 1 1 1
vt 0 0
vt 1 0
vt 1 1
vt 0 1
vn 0 0.6 0.8
usemtl one
f 1/1/1 2/2/1 3/3/1
usemtl two
f 1/1/1 3/3/1 4/4/1
f 1/1/1 2/2/1 5/4/1
"""


def _print(mesh: Any) -> str:
    digest = Digest()
    feed_mesh(digest, mesh)
    return digest.hexdigest()


def _state(mesh: Any) -> dict[str, Any]:
    """What of a mesh is not in its print, and must not be left over."""
    layers = [layer for layer in mesh.attributes if not layer.name.startswith(".select")]
    return {
        "attributes": sorted((layer.name, layer.domain, layer.data_type) for layer in layers),
        "edges": len(mesh.edges), "maps": [(layer.name, layer.active, layer.active_render) for layer in mesh.uv_layers],
        "colours": (mesh.attributes.active_color_name, mesh.attributes.default_color_name), "own": list(mesh.keys()),
        "normals": mesh.has_custom_normals, "materials": len(mesh.materials),
    }  # fmt: skip


def _scan(folder: Path, text: str = OBJ) -> Imported:
    (folder / "torn.obj").write_text(text, encoding="utf-8")
    return import_scan(folder / "torn.obj")


def test_an_importers_mesh_becomes_ours_with_nothing_left_over(tmp_path: Path) -> None:
    found = _scan(tmp_path)
    block = found.same_block()
    assert block is not None and block.has_custom_normals
    block["theirs"] = 1
    block.uv_layers.new(name="second")
    block.attributes.new("weight", "FLOAT", "FACE")
    materials = [bpy.data.materials.new(name) for name in ("a", "b")]
    ours = make_mesh("made", found.mesh, materials=materials)
    same = make_mesh("kept", found.mesh, materials=materials, of=block)
    assert same == block and same.name == "kept"
    assert _print(same) == _print(ours) and _state(same) == _state(ours)
    again = read_mesh(bpy.data.objects.new("again", same))
    assert np.array_equal(again.faces, found.mesh.faces) and np.array_equal(again.material, [0, 1, 1])


def test_it_is_made_of_arrays_where_the_faces_are_no_longer_those_of_the_file(tmp_path: Path) -> None:
    found = _scan(tmp_path)
    found.mesh = replace(found.mesh, faces=found.mesh.faces[:2])
    assert found.same_block() is None
    assert _scan(tmp_path, OBJ.replace("v 1 0 0 ", "v nan 0 0 ")).same_block() is None  # a vertex is dropped
    assert _scan(tmp_path, OBJ + "f 1 2 3 5\n").same_block() is None  # four corners


def test_only_a_mesh_of_its_own_and_of_triangles_is_bare() -> None:
    bpy.ops.mesh.primitive_cube_add()
    assert not is_bare(bpy.context.object)  # squares
    bpy.ops.mesh.primitive_ico_sphere_add()
    item = bpy.context.object
    assert is_bare(item)
    item.shape_key_add(name="Basis")
    assert not is_bare(item)
    item.shape_key_clear()
    item.vertex_groups.new(name="bone")
    assert not is_bare(item)
    item.vertex_groups.clear()
    twin = bpy.data.objects.new("twin", item.data)
    assert not is_bare(item) and not is_bare(twin)
    assert make_object("new", read_mesh(item)).data.users == 1
