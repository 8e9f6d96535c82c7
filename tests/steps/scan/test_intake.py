"""Does a scan come in whole and at its place: formats, textures, bad input?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.core.mesh.triangles import edges, signed_volume  # noqa: E402
from blender_addon.job.errors import InputError  # noqa: E402
from blender_addon.scene.meshes import make_object, read_mesh  # noqa: E402
from blender_addon.scene.surface.base_picture import picture_of  # noqa: E402
from blender_addon.steps.scan import intake  # noqa: E402
from tests.scan_shapes import box, moved, statuette, write_obj  # noqa: E402
from tests.steps.scan.three_steps import names_of_all, picture, run  # noqa: E402

pytestmark = pytest.mark.usefixtures("empty_scene")


def test_obj_with_a_texture_that_only_its_name_gives_away(tmp_path: Path) -> None:
    mesh = statuette()
    write_obj(tmp_path / "owl.obj", mesh, library="owl.mtl")
    (tmp_path / "owl.mtl").write_text("newmtl clay\nKd 0.8 0.8 0.8\n")
    brown = np.random.default_rng(2).uniform(0.8, 1.0, (128, 128, 1)) * (0.5, 0.4, 0.3)
    picture(tmp_path / "owl_albedo.png", values=brown)
    picture(tmp_path / "owl_normal.png")
    picture(tmp_path / "owl_ao.png")
    stage, report = run(tmp_path, '[intake]\nscan = "owl.obj"', last="intake")
    scan = stage.require("scan", "1")
    figures = report.results["intake"].figures
    assert figures["triangles"] == len(mesh.faces)
    assert figures["textures"] == ["base 128 x 128", "normal 64 x 64", "occlusion 64 x 64"]
    material = scan.material_slots[0].material
    assert picture_of(material).packed_file is not None and tuple(picture_of(material).size) == (128, 128)
    assert picture_of(material, "normal").colorspace_settings.is_data
    assert scan["bozzetto_scan_role"] == "whole"
    assert len(bpy.data.objects) == 1  # nothing of the importer's is left


@pytest.mark.parametrize("name", ["owl_thickness.png", "owl_BentNormals.png"])
def test_a_map_alone_beside_a_scan_is_no_colour_and_that_is_to_check(tmp_path: Path, name: str) -> None:
    picture(tmp_path / name)
    write_obj(tmp_path / "owl.obj", statuette(rows=12, columns=14))
    stage, report = run(tmp_path, '[intake]\nscan = "owl.obj"')
    assert report.results["intake"].figures["textures"] == []
    (words,) = [note.words for note in stage.notes if "comes without colour" in note.words and note.level == "warning"]
    assert name in words


@pytest.mark.parametrize("suffix", ["ply", "stl", "glb", "gltf", "fbx", "usdc", "obj"])
def test_every_format_gives_the_same_shape(tmp_path: Path, suffix: str) -> None:
    """Written by Blender's own exporters; the volume of what comes in is that of what went out."""
    mesh = statuette(rows=40, columns=48, open_bottom=False)
    item = make_object("figure", mesh)
    bpy.context.scene.collection.objects.link(item)
    item.select_set(True)
    file = str(tmp_path / f"figure.{suffix}")
    if suffix in ("glb", "gltf"):
        bpy.ops.export_scene.gltf(filepath=file, export_format="GLB" if suffix == "glb" else "GLTF_SEPARATE")
    elif suffix == "fbx":
        bpy.ops.export_scene.fbx(filepath=file, global_scale=0.01)
    elif suffix == "usdc":
        bpy.ops.wm.usd_export(filepath=file)
    else:
        getattr(bpy.ops.wm, f"{suffix}_export")(filepath=file)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    stage, report = run(tmp_path, f'[intake]\nscan = "figure.{suffix}"', last="cleanup")
    clean = read_mesh(stage.require("clean", "1"))
    assert (edges(clean.faces)[1] == 2).all()
    volume = signed_volume(clean.vertices.astype(float), clean.faces)
    truth = signed_volume(mesh.vertices, mesh.faces)
    scale = round(float(np.cbrt(volume / truth)), 4)
    assert scale in (1.0, 0.01, 100.0)  # formats of other units are scaled as a whole
    assert volume == pytest.approx(truth * scale**3, rel=1e-4)
    assert report.results["intake"].figures["triangles"] > 0.99 * len(mesh.faces) - 96  # caps' slivers may go


def test_parts_materials_and_mirrored_transforms_are_joined(tmp_path: Path) -> None:
    for place, x in enumerate((0.0, 30.0)):
        item = make_object(f"part{place}", box((10.0, 10.0, 10.0)), materials=[bpy.data.materials.new(f"m{place}")])
        item.location, item.scale = (x, 0.0, 0.0), (-1.0 if place else 1.0, 1.0, 1.0)
        bpy.context.scene.collection.objects.link(item)
    bpy.ops.export_scene.gltf(filepath=str(tmp_path / "two.glb"))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    stage, report = run(tmp_path, '[intake]\nscan = "two.glb"\n[cleanup]\nloose = 0.0', last="cleanup")
    assert report.results["intake"].figures["parts"] == 2
    mesh = read_mesh(stage.require("clean", "1"))
    assert set(mesh.material.tolist()) == {0, 1}
    assert signed_volume(mesh.vertices.astype(float), mesh.faces) == pytest.approx(2000.0, rel=1e-4)  # both look outwards


@pytest.mark.parametrize("suffix", ["glb", "fbx", "usdc"])
@pytest.mark.parametrize(("scales", "level"), [((-1, -1), "warning"), ((1, -1), "info"), ((1, 1), "")])
def test_a_mirroring_scale_in_the_file_is_followed_and_said(
    tmp_path: Path, suffix: str, scales: tuple[int, int], level: str
) -> None:
    """Two wedges, each with its steep side to the left; mirrored, to the right. Of all parts it is to check, of one a note."""
    wedge = box((10.0, 10.0, 10.0))
    wedge.vertices[:, 0] = np.where(wedge.vertices[:, 2] > 5.0, 0.2 * wedge.vertices[:, 0] - 4.0, wedge.vertices[:, 0])
    for place, scale in enumerate(scales):
        item = make_object(f"part{place}", wedge)
        item.location, item.scale = (30.0 * place, 0.0, 0.0), (float(scale), 1.0, 1.0)
        bpy.context.scene.collection.objects.link(item)
    file = str(tmp_path / f"two.{suffix}")
    if suffix == "glb":
        bpy.ops.export_scene.gltf(filepath=file)
    elif suffix == "fbx":
        bpy.ops.export_scene.fbx(filepath=file, global_scale=0.01)
    else:
        bpy.ops.wm.usd_export(filepath=file)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    stage, report = run(tmp_path, f'[intake]\nscan = "two.{suffix}"', last="intake")
    assert report.results["intake"].figures["reflected_parts"] == scales.count(-1)
    said = [note for note in stage.notes if "negative scale" in note.words]
    assert [note.level for note in said] == ([level] if level else [])
    mesh = read_mesh(stage.require("scan", "1"))
    vertices = mesh.vertices.astype(float)
    size = np.ptp(vertices[:, 1])
    for place, scale in enumerate(scales):
        own = vertices[np.abs(vertices[:, 0] - 3.0 * place * size) < size]
        top = own[own[:, 2] > own[:, 2].max() - 0.1 * size, 0].mean() - 3.0 * place * size
        assert top == pytest.approx(-0.4 * size * scale, rel=0.01)
    assert signed_volume(vertices, mesh.faces) > 0


def test_vertex_colours_come_through(tmp_path: Path) -> None:
    mesh = statuette(rows=40, columns=48)
    lines = [f"v {x} {y} {z} {z / 70:.4f} 0.5 0.25" for x, y, z in mesh.vertices.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (mesh.faces + 1).tolist()]
    (tmp_path / "coloured.obj").write_text("\n".join(lines))
    stage, report = run(tmp_path, '[intake]\nscan = "coloured.obj"', last="intake")
    scan = stage.require("scan", "1")
    assert report.results["intake"].figures["vertex_colours"]
    tree = scan.material_slots[0].material.node_tree
    assert any(node.bl_idname == "ShaderNodeVertexColor" for node in tree.nodes)
    assert all(link.from_node.location.x < link.to_node.location.x for link in tree.links), "it reads from left to right"
    found = read_mesh(scan).colours["Colour"]
    assert np.ptp(found[:, 0]) > 0.5 and np.ptp(found[:, 1]) < 0.01


def test_few_bad_vertices_are_dropped_and_said(tmp_path: Path) -> None:
    """Blender reads nan as 0 without a word: a spike to the origin. Here they go, with a warning."""
    mesh = moved(statuette(), np.eye(3), shift=(200.0, 0.0, 0.0))
    write_obj(tmp_path / "nan.obj", mesh, spoiled=(6000, 9000, 12000))
    stage, report = run(tmp_path, '[intake]\nscan = "nan.obj"', last="intake")
    assert report.results["intake"].figures["dropped_vertices"] == 3
    assert any("not numbers" in note.words for note in stage.notes.warnings())
    scan = read_mesh(stage.require("scan", "1"))
    assert scan.vertices[:, 0].min() > 150.0 and np.abs(scan.vertices).max() < 300.0


@pytest.mark.parametrize("suffix", ["obj", "ply"])
@pytest.mark.parametrize("stray", [1, 3])
def test_faces_that_name_points_which_are_not_there_are_counted(tmp_path: Path, suffix: str, stray: int) -> None:
    """Those of an OBJ are left out; of a PLY's, Blender 5.2 makes faces to the first point, so that it can't be used."""
    mesh = box((10.0, 10.0, 10.0))
    faces = mesh.faces.copy()
    faces[:stray, 1] = len(mesh.vertices) + 7
    points = [f"{x} {y} {z}" for x, y, z in mesh.vertices.tolist()]
    if suffix == "obj":
        lines = [*(f"v {point}" for point in points), *(f"f {a} {b} {c}" for a, b, c in (faces + 1).tolist())]
    else:
        places = [f"property float {axis}" for axis in "xyz"]
        lines = ["ply", "format ascii 1.0", f"element vertex {len(points)}", *places, f"element face {len(faces)}"]
        lines += [
            "property list uchar int vertex_indices",
            "end_header",
            *points,
            *(f"3 {a} {b} {c}" for a, b, c in faces.tolist()),
        ]
    (tmp_path / f"stray.{suffix}").write_text("\n".join([*lines, ""]))
    if suffix == "ply":
        with pytest.raises(InputError, match="one of its faces names a point" if stray == 1 else "3 of its faces name points"):
            run(tmp_path, '[intake]\nscan = "stray.ply"', last="intake")
        return
    stage, report = run(tmp_path, '[intake]\nscan = "stray.obj"', last="intake")
    assert report.results["intake"].figures["triangles"] == len(faces) - stray
    words = [note.words for note in stage.notes.warnings()]
    assert [("a face names" if stray == 1 else "3 faces name") in line for line in words] == [True], words


def test_bad_numbers_in_a_binary_ply(tmp_path: Path) -> None:
    mesh = box((10.0, 10.0, 10.0))
    rows = mesh.vertices.astype("<f4")
    rows[7] = np.nan
    faces = np.zeros(len(mesh.faces), [("n", "u1"), ("v", "<i4", 3)])
    faces["n"], faces["v"] = 3, mesh.faces
    head = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(rows)}\nproperty float x\nproperty float y\n"
        f"property float z\nelement face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    (tmp_path / "b.ply").write_bytes(head.encode() + rows.tobytes() + faces.tobytes())
    stage, report = run(tmp_path, '[intake]\nscan = "b.ply"', last="intake")
    assert report.results["intake"].figures["dropped_vertices"] == 1
    assert np.isfinite(read_mesh(stage.require("scan", "1")).vertices).all()


@pytest.mark.parametrize("how", ["missing", "cut png", "cut jpg", "no picture"])
def test_a_missing_or_cut_texture_is_said_and_the_scan_still_comes(tmp_path: Path, how: str) -> None:
    write_obj(tmp_path / "owl.obj", statuette(), library="owl.mtl")
    name = "photo.jpg" if how == "cut jpg" else "photo.png"
    (tmp_path / "owl.mtl").write_text(f"newmtl clay\nmap_Kd C:\\elsewhere\\{name}\n")
    if how.startswith("cut"):
        whole = picture(tmp_path / name, size=256, format="JPEG" if how == "cut jpg" else "PNG").read_bytes()
        (tmp_path / name).write_bytes(whole[: len(whole) // 2])
    elif how == "no picture":
        (tmp_path / name).write_bytes(b"this is a text, not a picture, though it is called one")
    stage, report = run(tmp_path, '[intake]\nscan = "owl.obj"', last="intake")
    warned = " ".join(note.words for note in stage.notes.warnings())
    assert warned.count(name) == 1
    assert {"missing": "is missing", "no picture": "not a picture that can be read"}.get(how, "cut short") in warned
    assert report.results["intake"].figures["textures"] == []


@pytest.mark.parametrize("kind", ["normals", "tilted", "dark bump", "bright bump", "object space", "black"])
def test_a_bump_map_is_not_taken_for_normals(tmp_path: Path, kind: str) -> None:
    """Programs write "map_Bump" for both. Read as normals, grey leans every face by 55 degrees."""
    write_obj(tmp_path / "owl.obj", statuette(), library="owl.mtl")
    (tmp_path / "owl.mtl").write_text("newmtl clay\nmap_Bump -bm 1.0 owl_relief.png\n")
    random = np.random.default_rng(3)
    vectors = random.normal(size=(64, 64, 3)) * (0.2, 0.2, 0.0) + (0.0, 0.0, 1.0)
    if kind == "tilted":  # all at 40 degrees: a harsh map, yet one
        vectors = vectors + (0.84, 0.0, 0.0)
    if kind == "object space":
        vectors = random.normal(size=(64, 64, 3))
    stored = 0.5 + 0.5 * vectors / np.linalg.norm(vectors, axis=2, keepdims=True)
    if "bump" in kind:
        stored[:] = random.uniform(*((0.3, 0.6) if "dark" in kind else (0.7, 0.95)), (64, 64, 1))
    if kind == "black":
        stored[:] = 0.0
    picture(tmp_path / "owl_relief.png", values=stored)
    stage, report = run(tmp_path, '[intake]\nscan = "owl.obj"', last="intake")
    kept = kind in ("normals", "tilted")
    assert report.results["intake"].figures["textures"] == (["normal 64 x 64"] if kept else [])
    assert any("no tangent-space normal map" in note.words for note in stage.notes.warnings()) != kept


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("none.obj", None, "no such file"),
        ("empty.ply", b"", "empty"),
        ("cut.glb", b"glTF\x02\0\0\0\xff\xff\0\0\x10\0\0\0JSON{}", "cut short"),
        ("points.obj", b"v 0 0 0\nv 1 0 0\n", "no faces"),
        ("mesh.off", b"OFF", "convert"),
        ("bad.fbx", b"Kaydara FBX Binary  \x00\x1a\x00" + b"\x01" * 200, "can't be used"),
        ("bad.usdc", b"PXR-USDC" + b"\x01" * 200, "can't be used"),
        ("flat.obj", b"v 0 0 0\nv 1 0 0\nv 2 0 0\nf 9 10 11\n", "can't be used"),
    ],
)
def test_bad_input_is_refused_and_nothing_is_left(tmp_path: Path, name: str, content: bytes | None, words: str) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    before = names_of_all()
    with pytest.raises(InputError, match=words) as caught:
        run(tmp_path, f'[intake]\nscan = "{name}"')
    assert name in str(caught.value)
    assert names_of_all() == before


def test_no_scan_named_and_the_main_scan_comes_first(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="No scan is named"):
        run(tmp_path, "")
    rows = [intake.Scan(file="a", role="stand"), intake.Scan(file="b", role="piece"), intake.Scan(file="c", role="turned")]
    assert [row.file for row in intake.ordered_rows(rows)] == ["b", "a", "c"]
