"""The model that is handed over looks as the pictures do: its own texture or the material's colour, under its own name."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.files.meshes.gltf import read_gltf
from blender_addon.core.files.meshes.gltf_tangents import UNIT, _vectors
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.scene.delivery import asset_files
from blender_addon.scene.delivery.asset_files import AssetPart, write_glb, write_usd
from blender_addon.scene.images import make_image
from blender_addon.scene.meshes import make_object
from blender_addon.scene.nodes.materials import Maps, MaterialSurface, make_material

CORNERS = np.array([[0, 0, 0], [0.05, 0, 0], [0, 0.05, 0], [0, 0, 0.08]], np.float32)
FACES = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], np.int32)
UV = np.tile(np.array([[0.1, 0.1], [0.9, 0.1], [0.1, 0.9]], np.float32), (4, 1, 1))


def part(name: str, surface: MaterialSurface, *, albedo: bool = True) -> AssetPart:
    """A tetrahedron in a surface of ours; the scene has an object of its name, as a job's has."""
    item = make_object(name, TriangleMesh(CORNERS, FACES, UV))
    bpy.context.scene.collection.objects.link(item)
    colour = make_image(f"{name} albedo", np.full((16, 16, 3), 0.6)) if albedo else None
    normal = make_image(f"{name} normal", np.full((16, 16, 3), (0.5, 0.5, 1.0)), data=True)
    maps = Maps(normal=normal, colour=colour)
    return AssetPart(name, item, make_material(name, surface, maps), albedo=colour, normal=normal)


def gltf(path: Path) -> dict[str, Any]:
    """The JSON of a GLB (glTF 2.0 specification, section 4)."""
    data = path.read_bytes()
    length, kind = struct.unpack("<II", data[12:20])
    assert kind == 0x4E4F534A
    return json.loads(data[20 : 20 + length])


@pytest.fixture
def parts(empty_scene) -> list[AssetPart]:
    return [part("Piece", MaterialSurface("bronze", {"Metal": (0.6, 0.4, 0.2, 1.0)})), part("Stand", MaterialSurface("own"))]


def test_a_glb_shows_what_the_pictures_show(parts, tmp_path):
    write_glb(parts, tmp_path / "a.glb")
    table = gltf(tmp_path / "a.glb")
    looks = {material["name"]: material["pbrMetallicRoughness"] for material in table["materials"]}
    assert "baseColorTexture" not in looks["Piece"], "a piece shown in bronze has not the scan's colours"
    assert looks["Piece"]["baseColorFactor"][:3] == pytest.approx([0.6, 0.4, 0.2], abs=1e-3)
    assert looks["Piece"].get("metallicFactor", 1.0) == 1.0 and looks["Piece"]["roughnessFactor"] < 0.5
    assert "baseColorTexture" in looks["Stand"] and looks["Stand"]["metallicFactor"] == 0.0
    assert sorted(node["name"] for node in table["nodes"]) == ["Piece", "Stand"]
    assert sorted(item.name for item in bpy.data.objects) == ["Piece", "Stand"], "and those of the job have theirs again"


def test_a_tangent_that_the_exporter_leaves_at_zero_gets_unit_length_and_nothing_else_changes(parts, tmp_path, monkeypatch):
    """glTF 2.0, section 3.7.2.1: tangents are of unit length. Blender leaves zeros where a texture layout has no extent, as the
    demo's scan has at four places; here they are put in after its export."""
    export, left = asset_files._call, []

    def export_and_spoil(path: Path, operator: Any, **arguments: Any) -> None:
        export(path, operator, **arguments)
        draft = Path(arguments["filepath"])
        start, tangents = _vectors(read_gltf(draft), 3, 4)
        data = bytearray(draft.read_bytes())
        data[start + 16 : start + 48] = np.array([0, 0, 0, -1, 0, 0, 0, 0], "<f4").tobytes()  # of two vertices
        draft.write_bytes(data)
        left.append((start, len(tangents), bytes(data)))

    monkeypatch.setattr(asset_files, "_call", export_and_spoil)
    write_glb(parts[1:], tmp_path / "a.glb")
    (start, count, before), after = left[0], (tmp_path / "a.glb").read_bytes()
    file = read_gltf(tmp_path / "a.glb")
    assert file.rows("meshes")[0]["primitives"][0]["attributes"]["TANGENT"] == 3
    tangents, normals = (_vectors(file, number, size)[1] for number, size in ((3, 4), (1, 3)))
    assert np.linalg.norm(tangents[:, :3], axis=1) == pytest.approx(1.0, abs=UNIT) and len(tangents) == count
    assert np.abs((tangents[1:3, :3] * normals[1:3]).sum(axis=1)).max() < 1e-6 and tangents[1:3, 3].tolist() == [-1.0, 1.0]
    assert after[: start + 16] == before[: start + 16] and after[start + 48 :] == before[start + 48 :]


def test_own_colour_that_is_painted_goes_along(empty_scene, tmp_path):
    piece = part("Piece", MaterialSurface("own"), albedo=False)
    layer = piece.item.data.color_attributes.new("Painted", "FLOAT_COLOR", "POINT")
    layer.data.foreach_set("color", np.tile([0.8, 0.2, 0.1, 1.0], 4))
    surface = make_material("Piece painted", MaterialSurface("own"), Maps(colour_attribute="Painted"))
    write_glb([AssetPart("Piece", piece.item, surface)], tmp_path / "a.glb")
    table = gltf(tmp_path / "a.glb")
    assert "COLOR_0" in table["meshes"][0]["primitives"][0]["attributes"]


@pytest.mark.skipif(not hasattr(bpy.ops.wm, "usd_export"), reason="this Blender was built without USD")
def test_usd_holds_the_piece_and_nothing_else(parts, tmp_path):
    write_usd(parts, tmp_path / "a.usdc")
    assert sorted(path.name for path in (tmp_path / "textures").iterdir()) == [
        "Stand albedo.png", "piece normal.png", "stand normal.png",
    ]  # fmt: skip
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.usd_import(filepath=str(tmp_path / "a.usdc"))
    kinds = sorted((item.type, item.name.split(".")[0]) for item in bpy.data.objects if item.type != "EMPTY")
    assert kinds == [("MESH", "Piece"), ("MESH", "Stand")], "no camera, and no light of the set"
