"""Does a scan in a form that few programs write come with its colour in the right place?"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from PIL import Image

from blender_addon.core.srgb import encode
from blender_addon.job.runner import chosen, finish
from blender_addon.job.sheet import parse
from blender_addon.scene.images import read_pixels
from blender_addon.scene.meshes import read_mesh
from blender_addon.scene.running.session import run_session
from blender_addon.scene.scan.importers import import_scan
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface.base_picture import base_picture
from blender_addon.steps import catalogue
from scripts.bench.corpus import scans

pytestmark = pytest.mark.usefixtures("empty_scene")
FIGURE = scans.figure(3)


def taken_in(folder: Path, file: str) -> tuple[Stage, list[str]]:
    """The stage after the intake of a scan, and what it warned of."""
    sheet = parse(f'bozzetto = 1\n[intake]\nscan = "{file}"\n', catalogue(), name="odd", folder=folder)
    _, notes = finish(run_session(chosen(catalogue(), last="intake"), catalogue(), sheet, bpy.context.scene, out=None))
    return Stage(bpy.context.scene, sheet), [note.words for note in notes.warnings()]


def glb(change: Any) -> bytes:
    """The figure as a GLB with a picture, its description changed."""
    content, data = scans._gltf_parts(FIGURE)
    image = scans.png(16, 16)
    content["bufferViews"].append({"buffer": 0, "byteOffset": len(data), "byteLength": len(image)})
    content["images"] = [{"bufferView": 3, "mimeType": "image/png"}]
    change(content, content["materials"][0]["pbrMetallicRoughness"]["baseColorTexture"])
    return scans.glb(content, data + image)


def test_a_texture_transform_moves_the_places_on_the_picture(tmp_path: Path) -> None:
    """KHR_texture_transform (Khronos, 2.0): place = offset + rotation * scale * uv, with v downwards."""
    offset, scale, turn = np.array([0.2, 0.1]), np.array([0.5, 0.25]), 0.3

    def change(content: dict[str, Any], shown: dict[str, Any]) -> None:
        shown["extensions"] = {"KHR_texture_transform": {"offset": list(offset), "scale": list(scale), "rotation": turn}}
        content["extensionsUsed"] = ["KHR_texture_transform"]

    (tmp_path / "a.glb").write_bytes(glb(change))
    mesh = import_scan(tmp_path / "a.glb").mesh
    uv = FIGURE.uv[FIGURE.faces] * scale
    # the specification's matrix for a turn, with v downwards: (cos, sin; -sin, cos)
    turned = np.stack(
        [np.cos(turn) * uv[..., 0] + np.sin(turn) * uv[..., 1], np.cos(turn) * uv[..., 1] - np.sin(turn) * uv[..., 0]], -1
    )
    wanted = (turned + offset) * [1, -1] + [0, 1]  # Blender's v is upwards

    def sorted_places(places: Any) -> Any:
        rows = np.asarray(places, float).reshape(-1, 2)
        return rows[np.lexsort(np.round(rows, 4).T)]

    np.testing.assert_allclose(sorted_places(mesh.uv), sorted_places(wanted), atol=2e-4)


def test_a_bone_is_no_part_of_the_mesh(tmp_path: Path) -> None:
    """Blender's importer shows the bones of a rigged scan by a mesh of its own, which is not the scan's."""

    def change(content: dict[str, Any], shown: dict[str, Any]) -> None:
        content["nodes"] = [
            {"mesh": 0, "skin": 0},
            {"name": "root", "children": [2]},
            {"name": "tip", "translation": [0, 9, 0]},
        ]
        content["skins"], content["scenes"] = [{"joints": [1, 2]}], [{"nodes": [0, 1]}]

    (tmp_path / "a.glb").write_bytes(glb(change))
    assert len(import_scan(tmp_path / "a.glb").mesh.faces) == len(FIGURE.faces)


@pytest.mark.parametrize("full", [1.0, 255.0, 65535.0])
def test_colours_of_vertices_may_run_to_255_or_65535(tmp_path: Path, full: float) -> None:
    """Several programs write 8 or 16 bits as they are into `v x y z r g b`; the same colours must come of all three."""
    shade = 0.1 + 0.8 * (np.arange(len(FIGURE.points)) % 5)[:, None] / 4 * [1.0, 0.5, 0.25]
    rows = np.concatenate([FIGURE.points, np.round(shade * full, 4)], axis=1)
    lines = ["v " + " ".join(f"{value:g}" for value in row) for row in rows]
    (tmp_path / "a.obj").write_text("\n".join([*lines, *("f {} {} {}".format(*face) for face in FIGURE.faces + 1)]) + "\n")
    mesh = import_scan(tmp_path / "a.obj").mesh
    found = np.sort(encode(next(iter(mesh.colours.values()))[:, :3]), axis=0)
    np.testing.assert_allclose(found, np.sort(shade, axis=0), atol=0.004)  # 1 of 255


@pytest.mark.parametrize("picture", ["thing.png", "a.png"])
def test_a_scan_of_very_many_materials_is_taken_in_quickly(tmp_path: Path, picture: str) -> None:
    """Names were once compared each with each, and each slot had a material of its own: 3000 took minutes."""
    (tmp_path / picture).write_bytes(scans.png(16, 16))
    text = scans.scan("obj", FIGURE)["scan.obj"].decode().replace("scan.mtl", "none.mtl")
    text = text.replace("usemtl clay\n", "".join(f"usemtl part{number}\nf 1/1 2/2 12/12\n" for number in range(1000)))
    (tmp_path / "a.obj").write_text(text)
    start = time.process_time()
    stage, _ = taken_in(tmp_path, "a.obj")
    assert time.process_time() - start < 10.0  # half of what a case of the bench may take; 2 to 4 s were measured
    assert len(stage.require("scan").material_slots) == 1


def test_a_picture_may_lie_by_the_second_uvs(tmp_path: Path) -> None:
    """glTF 2.0, 3.9.3: `texCoord` says which of the sets of UVs a texture uses."""

    def change(content: dict[str, Any], shown: dict[str, Any]) -> None:
        attributes = content["meshes"][0]["primitives"][0]["attributes"]
        attributes["TEXCOORD_1"] = attributes["TEXCOORD_0"]
        content["accessors"].append({"bufferView": 1, "componentType": 5126, "count": len(FIGURE.points), "type": "VEC2"})
        attributes["TEXCOORD_0"] = 3  # the points' own bytes: nothing that a picture could lie by
        shown["texCoord"] = 1

    (tmp_path / "a.glb").write_bytes(glb(change))
    mesh = import_scan(tmp_path / "a.glb").mesh
    assert mesh.uv is not None
    np.testing.assert_allclose([mesh.uv.min(), mesh.uv.max()], [1 - FIGURE.uv.max(), 1.0], atol=1e-5)


def test_the_picture_that_a_ply_names_lies_corner_by_corner(tmp_path: Path) -> None:
    lines = ["ply", "format ascii 1.0", "comment TextureFile some colours.png", f"element vertex {len(FIGURE.points)}"]
    lines += [f"property float {axis}" for axis in "xyz"] + [f"element face {len(FIGURE.faces)}"]
    lines += ["property list uchar int vertex_indices", "property list uchar float texcoord", "end_header"]
    lines += ["{:g} {:g} {:g}".format(*point) for point in FIGURE.points]
    for face in FIGURE.faces:
        lines.append("3 {} {} {} 6 ".format(*face) + " ".join(f"{value:.6f}" for value in FIGURE.uv[face].ravel()))
    (tmp_path / "a.ply").write_text("\n".join(lines) + "\n")
    Image.fromarray(np.random.default_rng(1).integers(40, 200, (32, 32, 3), np.uint8)).save(tmp_path / "some colours.png")
    stage, warned = taken_in(tmp_path, "a.ply")
    scan = stage.require("scan")
    picture = base_picture(scan)
    assert picture is not None and tuple(picture.image.size) == (32, 32) and not warned
    uv = read_mesh(scan).uv
    np.testing.assert_allclose(np.sort(uv, axis=None), np.sort(FIGURE.uv[FIGURE.faces], axis=None), atol=1e-5)


def test_a_scan_in_a_countrys_grid_keeps_its_form(tmp_path: Path) -> None:
    away = np.array([512345.6, 5400123.4, 311.2])
    lines = ["v {:.5f} {:.5f} {:.5f}".format(*point) for point in FIGURE.points / 1000.0 + away]  # metres
    lines += ["f {} {} {}".format(*face) for face in FIGURE.faces + 1]
    (tmp_path / "a.obj").write_text("\n".join(lines) + "\n")
    mesh = import_scan(tmp_path / "a.obj").mesh
    np.testing.assert_allclose(mesh.size, np.ptp(FIGURE.points, axis=0)[[0, 2, 1]] / 1000.0, atol=3e-5)  # OBJ: Y is up


def test_coordinates_that_were_rounded_already_are_reported(tmp_path: Path) -> None:
    far = scans.Figure(FIGURE.points + [512345.6, 5400123.4, 311.2], FIGURE.faces, FIGURE.uv)
    (tmp_path / "a.ply").write_bytes(scans.scan("ply_binary", far)["scan.ply"])
    _, warned = taken_in(tmp_path, "a.ply")
    assert any("steps of 0.5 units" in words and "local frame" in words for words in warned)  # 2^22 to 2^23 in 32 bits: 0.5


def test_a_lost_material_library_is_reported_where_no_colour_came(tmp_path: Path) -> None:
    for name, data in scans.scan("obj").items():
        if name == "scan.obj":
            (tmp_path / name).write_bytes(data.replace(b"scan.mtl", b"materials of it.mtl"))
    _, warned = taken_in(tmp_path, "scan.obj")
    assert len(warned) == 1 and "materials of it.mtl" in warned[0] and "without colour" in warned[0]


def test_an_openexr_with_values_that_are_no_numbers_is_taken_as_black_there(tmp_path: Path) -> None:
    """OpenEXR stores IEEE 754 numbers, so that a pixel can be NaN, infinite or negative."""
    for name, data in scans.scan("obj", picture="colour.exr").items():
        (tmp_path / name).write_bytes(data)
    image = bpy.data.images.new("odd", 32, 32, float_buffer=True)
    values = np.full((32, 32, 4), 0.4, np.float32) + np.random.default_rng(1).normal(0.0, 0.05, (32, 32, 4)).astype(np.float32)
    values[3, 4, 0], values[5, 6, 1], values[7, 8, 2] = np.nan, np.inf, -5.0
    image.pixels.foreach_set(values.ravel())
    image.file_format, image.filepath_raw = "OPEN_EXR", str(tmp_path / "colour.exr")
    image.save()
    stage, _ = taken_in(tmp_path, "scan.obj")
    picture = base_picture(stage.require("scan"))
    assert picture is not None
    found = read_pixels(picture.image)
    assert np.isfinite(found).all() and found[3, 4, 0] == 0.0 and found[5, 6, 1] > 1000.0
