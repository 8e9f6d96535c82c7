"""From a file to an upright scan: formats, textures, bad input, cleanup, orientation at true size."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.core.mesh.triangles import TriangleMesh, edges, signed_volume  # noqa: E402
from blender_addon.job import runner, sheet  # noqa: E402
from blender_addon.job.errors import InputError, SubjectError  # noqa: E402
from blender_addon.job.step import from_module, ordered  # noqa: E402
from blender_addon.scene.images import make_image  # noqa: E402
from blender_addon.scene.meshes import make_object, read_mesh  # noqa: E402
from blender_addon.scene.stage import Stage  # noqa: E402
from blender_addon.scene.surface.base_picture import picture_of  # noqa: E402
from blender_addon.scene.thumbnails import front_candidates  # noqa: E402
from blender_addon.steps.scan import cleanup, intake, orientation  # noqa: E402
from tests.scan_shapes import box, moved, noisy, on_table, rotation, statuette, write_obj  # noqa: E402

pytestmark = pytest.mark.usefixtures("empty_scene")
STEPS = ordered([from_module(module) for module in (intake, cleanup, orientation)])
TURNED_ON_IMPORT = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""OBJ's y-up to Blender's z-up, as its importer does by default."""


def run(folder: Path, text: str, *, last: str | None = None) -> tuple[Stage, runner.Report]:
    job = sheet.parse("bozzetto = 1\n" + text, STEPS, name="test", folder=folder)
    stage = Stage(bpy.context.scene, job)
    return stage, runner.finish(runner.run_job(runner.chosen(STEPS, last=last), STEPS, job, stage))


def picture(path: Path, *, size: int = 64, format: str = "PNG", values: Any | None = None) -> Path:
    """A picture of those values (h, w, 3), else of a blue noise that can be a normal map, too."""
    if values is None:
        values = np.random.default_rng(1).uniform((0.4, 0.4, 0.9), (0.6, 0.6, 1.0), (size, size, 3))
    image = make_image("picture", values)
    image.file_format = format
    image.save(filepath=str(path))
    bpy.data.images.remove(image)
    return path


def names_of_all() -> dict[str, list[str]]:
    kinds = ("objects", "meshes", "materials", "images", "collections", "cameras", "lights", "armatures", "worlds")
    return {kind: sorted(block.name for block in getattr(bpy.data, kind)) for kind in kinds}


# --- intake ------------------------------------------------------------------------------------------------------------


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


# --- cleanup -----------------------------------------------------------------------------------------------------------


def _write(folder: Path, mesh: TriangleMesh, name: str = "scan.obj") -> str:
    write_obj(folder / name, mesh)
    return f'[intake]\nscan = "{name}"\n'


def test_loose_pieces_go_and_what_belongs_stays(tmp_path: Path) -> None:
    from blender_addon.core.mesh.topology import joined

    speck = moved(box((1.5, 1.5, 1.5), steps=2), np.eye(3), shift=(55.0, 0.0, 30.0))
    inlay = moved(box((9.0, 9.0, 4.0), steps=4), np.eye(3), shift=(0.0, -16.0, 38.0))
    far = moved(box((60.0, 60.0, 60.0), steps=4), np.eye(3), shift=(500.0, 0.0, 0.0))
    plain = [replace(mesh, uv=None) for mesh in (statuette(), speck, inlay, far)]
    plain[3] = moved(plain[3], np.eye(3) * 0.5, shift=(250.0, 0.0, 0.0))
    _, report = run(tmp_path, _write(tmp_path, joined(plain)), last="cleanup")
    figures = report.results["cleanup"].figures
    assert (figures["loose_pieces"], figures["parts_kept"]) == (2, 2)


def test_a_second_piece_far_off_is_left_out_and_asked_about(tmp_path: Path) -> None:
    """Two statuettes, a few widths apart: what is said is what was done, and either answer gives what it says."""
    from blender_addon.core.mesh.topology import joined

    first = replace(statuette(), uv=None)
    both = joined([first, moved(first, 0.8 * np.eye(3), shift=(150.0, 0.0, 0.0))])
    text = _write(tmp_path, both)
    stage, report = run(tmp_path, text, last="cleanup")
    alone = read_mesh(stage.require("clean", "1")).size.max()
    asked = {decision.key: decision for decision in report.results["cleanup"].decisions}
    assert asked["pieces"].asked and "left out" in asked["pieces"].choice.words
    answers = asked["pieces"].alternatives
    assert [list(answer.sets) for answer in answers] == [["cleanup.crop_low", "cleanup.crop_high"], ["cleanup.loose"]]
    sizes = []
    for answer in answers:
        lines = "".join(f"{name.split('.')[1]} = {value}\n" for name, value in answer.sets.items())
        stage, _ = run(tmp_path, text + "[cleanup]\n" + lines, last="cleanup")
        sizes.append(read_mesh(stage.require("clean", "1")).size.max())
    assert sizes[0] == pytest.approx(0.8 * alone, rel=0.02) and sizes[1] > 1.5 * alone


def test_an_open_sheet_is_not_called_inside_out(tmp_path: Path) -> None:
    """A table alone, nearly level: the volume below its rim is that of its noise, on whichever side."""
    from tests.scan_shapes import grid_faces

    x, y = np.meshgrid(np.linspace(-150.0, 150.0, 60), np.linspace(-150.0, 150.0, 60))
    faces, uv = grid_faces(60, 60)
    for seed in (1, 2, 3):
        z = np.random.default_rng(seed).normal(0.0, 0.2, x.shape)
        sheet_alone = TriangleMesh(np.stack([x, y, z], -1).reshape(-1, 3), faces, uv)
        _, report = run(tmp_path, _write(tmp_path, sheet_alone), last="cleanup")
        assert not report.results["cleanup"].figures["turned_outward"]


@pytest.mark.parametrize("seed", [1, 2])
def test_a_table_goes_and_the_base_is_closed_where_it_stood(tmp_path: Path, seed: int) -> None:
    mesh = moved(noisy(on_table(statuette()), noise=0.05, seed=seed), rotation(seed))
    stage, report = run(tmp_path, _write(tmp_path, mesh) + "[orientation]\nheight = 68.0")
    figures = report.results["cleanup"].figures
    assert figures["table_percent"] > 50.0
    upright = read_mesh(stage.require("upright"), scale=1000.0)
    assert np.ptp(upright.vertices[:, 0]) == pytest.approx(60.0, rel=0.02)
    assert (edges(upright.faces)[1] == 2).all()
    assert upright.face_marks["filled"].any()
    # standing without a gap: the base's rim was let down onto the table's plane, within the noise
    assert abs(upright.vertices[:, 2].min()) < 0.3


def test_a_relief_on_its_ground_is_no_table(tmp_path: Path) -> None:
    """A medal rises little over its ground: cutting that away would lose the work."""
    line = np.linspace(-50.0, 50.0, 90)
    x, y = np.meshgrid(line, line)
    from tests.scan_shapes import grid_faces

    z = 4.0 * np.exp(-(x**2 + y**2) / 400.0)
    faces, uv = grid_faces(90, 90)
    medal = TriangleMesh(np.stack([x, y, z], -1).reshape(-1, 3), faces, uv)
    stage, report = run(tmp_path, _write(tmp_path, medal), last="cleanup")
    assert report.results["cleanup"].figures["table_percent"] == 0.0
    assert report.results["cleanup"].figures["holes_left"] == 1
    assert len(read_mesh(stage.require("clean", "1")).faces) == len(faces)


def test_an_inside_out_scan_is_turned(tmp_path: Path) -> None:
    mesh = statuette(open_bottom=False)
    inside_out = replace(mesh, faces=mesh.faces[:, ::-1], uv=mesh.uv[:, ::-1])
    stage, report = run(tmp_path, _write(tmp_path, inside_out), last="cleanup")
    assert report.results["cleanup"].figures["turned_outward"]
    clean = read_mesh(stage.require("clean", "1"))
    assert signed_volume(clean.vertices.astype(float), clean.faces) > 0


def test_no_table_is_cut_from_a_scan_that_is_inside_out(tmp_path: Path) -> None:
    """A lobed figure, open below and mirrored: what faces down looks up then, with all of it above."""
    part = np.linspace(0.0, 1.0, 70)[:, None]
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)[None]
    radius = np.interp(part, [0, 0.1, 0.45, 0.7, 0.78, 0.9, 0.97, 1.0], [17, 20, 18, 8, 10, 12, 8, 0.4])
    ring = radius * (1 + 0.08 * np.sin(3 * angle) + 0.05 * np.sin(7 * angle + 18 * part))
    corners = np.stack([-ring * np.cos(angle), 0.8 * ring * np.sin(angle), np.repeat(70 * part, 72, 1)], -1).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(69), np.arange(72), indexing="ij")
    a, b = (i * 72 + j).ravel(), (i * 72 + (j + 1) % 72).ravel()
    faces = np.concatenate([np.stack([a, b, b + 72], 1), np.stack([a, b + 72, a + 72], 1)]).astype(np.int32)
    uv = np.zeros((len(faces), 3, 2), np.float32)
    mesh = TriangleMesh(corners.astype(np.float32), faces, uv)
    _, report = run(tmp_path, _write(tmp_path, mesh), last="cleanup")
    figures = report.results["cleanup"].figures
    assert figures["turned_outward"] and figures["table_percent"] == 0.0


def test_thinning_keeps_uvs_marks_and_shape(tmp_path: Path) -> None:
    mesh = statuette()
    stage, _ = run(tmp_path, _write(tmp_path, mesh) + "[cleanup]\nbudget = 9000", last="cleanup")
    thin = read_mesh(stage.require("clean", "1"))
    assert 7000 < len(thin.faces) <= 9200
    # UVs still follow the surface: v is the profile's row, which rises with the height on the body
    middle = thin.vertices[thin.faces].mean(axis=1)
    height = (middle @ TURNED_ON_IMPORT)[:, 2]
    body = ~thin.face_marks["filled"] & (height > 12.0)
    assert np.corrcoef(thin.uv[body].mean(axis=1)[:, 1], height[body])[0, 1] > 0.98
    assert thin.face_marks["filled"].any()
    assert len(bpy.data.objects) == 2  # scan and clean: the throw-away object is gone


def test_crop_box_and_a_wrong_one(tmp_path: Path) -> None:
    text = _write(tmp_path, moved(statuette(), np.eye(3)))
    stage, _ = run(tmp_path, text + "[cleanup]\ncrop_low = [-1000.0, -40.0, -1000.0]\nclose = false", last="cleanup")
    kept = read_mesh(stage.require("clean", "1")).vertices
    assert kept[:, 1].min() == pytest.approx(-40.0, abs=1e-4)  # up is -y after import
    with pytest.raises(SubjectError, match="inside out"):
        run(tmp_path, text + "[cleanup]\ncrop_low = [1.0, 1.0, 1.0]\ncrop_high = [0.0, 0.0, 0.0]")
    with pytest.raises(SubjectError, match="Nothing of the scan"):
        run(tmp_path, text + "[cleanup]\ncrop_low = [900.0, 900.0, 900.0]")


# --- orientation -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("outliers", [0.0, 0.1])
@pytest.mark.parametrize("seed", range(3))
def test_tilt_and_scale_against_the_truth(tmp_path: Path, seed: int, outliers: float) -> None:
    """The figures held to: tilt < 0.3 degrees, size < 0.5 %, with 10 % outliers, too, which bend the hull under the base."""
    turn, unit = rotation(seed + 20), 0.037
    true = statuette()
    scan = moved(noisy(true, noise=0.03, seed=seed, outliers=outliers, reach=4.0), turn, scale=unit, shift=(1.0, 2.0, 3.0))
    stage, report = run(tmp_path, _write(tmp_path, scan) + "[orientation]\nheight = 68.0")
    assert report.results["orientation"].figures["up_sure"]
    up = np.array(report.results["orientation"].figures["up"])
    truth = TURNED_ON_IMPORT @ turn @ [0.0, 0.0, 1.0]
    assert np.degrees(np.arctan2(np.linalg.norm(np.cross(up, truth)), up @ truth)) < 0.3
    assert report.results["orientation"].figures["mm_per_unit"] == pytest.approx(1.0 / unit, rel=5e-3)
    item = stage.require("upright")
    assert np.allclose(np.array(item.matrix_basis), np.eye(4))
    assert not item["bozzetto_assumed"]


def test_scan_points_follow_into_the_upright_frame(tmp_path: Path) -> None:
    stage, _ = run(tmp_path, _write(tmp_path, moved(statuette(), rotation(5))) + "[orientation]\nheight = 68.0")
    matrix = np.array(stage.require("upright")["bozzetto_matrix"]).reshape(4, 4)
    scan, upright = read_mesh(stage.require("clean", "1")), read_mesh(stage.require("upright"))
    assert np.allclose(scan.vertices @ matrix[:3, :3].T + matrix[:3, 3], upright.vertices, atol=1e-6)


@pytest.mark.parametrize(
    "known",
    ['height = 60.0\nof = "piece"', "disc = 60.0", "stand_length = 60.0",
     "distance = 34.0\npoint_a = [0.0, 0.0, 0.0]\npoint_b = [0.0, 0.0, 34.0]"],
)  # fmt: skip
def test_true_size_from_any_one_known_length(tmp_path: Path, known: str) -> None:
    """All of one figure, so all must agree within the figure held to, 0.5 %."""
    _, report = run(tmp_path, _write(tmp_path, statuette(rows=201)) + f"[orientation]\n{known}")
    assert report.results["orientation"].figures["height_mm"] == pytest.approx(68.0, rel=5e-3)


def test_without_a_known_length_the_size_is_assumed_and_said(tmp_path: Path) -> None:
    stage, report = run(tmp_path, _write(tmp_path, moved(statuette(), np.eye(3), scale=1e4)))
    figures = report.results["orientation"].figures
    assert figures["assumed"] and max(figures[f"{side}_mm"] for side in ("height", "width", "depth")) == pytest.approx(80.0)
    assert stage.require("upright")["bozzetto_assumed"]
    assert any("assumed" in note.words for note in stage.notes.warnings())
    _, report = run(tmp_path, _write(tmp_path, statuette()).rstrip() + '\nunit = "mm"\n')
    assert not report.results["orientation"].figures["assumed"]
    assert report.results["orientation"].figures["height_mm"] == pytest.approx(68.0, rel=1e-3)


def test_what_can_not_be_measured_is_refused(tmp_path: Path) -> None:
    block = _write(tmp_path, box((40.0, 30.0, 50.0)))
    with pytest.raises(SubjectError, match="not round"):
        run(tmp_path, block + "[orientation]\ndisc = 40.0")
    with pytest.raises(SubjectError, match="no stand"):
        run(tmp_path, block + '[orientation]\nheight = 40.0\nof = "piece"')
    with pytest.raises(SubjectError, match="both points"):
        run(tmp_path, block + "[orientation]\ndistance = 40.0\npoint_a = [0.0, 0.0, 0.0]")


@pytest.mark.parametrize("yaw", [0.0, 50.0, 200.0])
def test_the_front_follows_the_thing_round(tmp_path: Path, yaw: float) -> None:
    """The figure's nose lies on its mirror plane: whichever way the scan is turned, that plane ends up towards -Y."""
    angle = np.radians(yaw)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
    stage, report = run(tmp_path, _write(tmp_path, moved(statuette(), turn)) + "[orientation]\nheight = 68.0")
    if not report.results["orientation"].figures["front_sure"]:  # turned away from its file's front it may be asked
        assert yaw != 0.0
        return
    upright = read_mesh(stage.require("upright"), scale=1000.0).vertices
    body = upright[upright[:, 2] > 12.0]
    nose = body[np.linalg.norm(body[:, :2], axis=1).argmax(), :2]
    assert abs(nose[0]) < 2.0  # on the mirror plane within its 2 degree bins; which end is a proposal


def test_front_is_a_turn_and_six_sides_are_drawn(tmp_path: Path) -> None:
    text = _write(tmp_path, statuette())
    stage, _ = run(tmp_path, text + "[orientation]\nheight = 68.0\nfront = 0.0")
    first = read_mesh(stage.require("upright")).vertices
    sides = front_candidates(stage.require("upright"), size=64)
    assert [angle for angle, _ in sides] == [0.0, 60.0, 120.0, 180.0, 240.0, 300.0]
    assert all(picture.shape == (64, 64, 4) and 0.2 < picture[..., 3].mean() < 0.95 for _, picture in sides)
    stage, _ = run(tmp_path, text + "[orientation]\nheight = 68.0\nfront = 90.0")
    turned = read_mesh(stage.require("upright")).vertices
    quarter = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    gap = turned - first @ quarter.T
    assert np.ptp(gap, axis=0).max() < 1e-6  # a quarter turn clockwise, and a centring


def test_a_lean_is_kept_when_asked(tmp_path: Path) -> None:
    lean = np.radians(9.0)
    turn = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])
    text = _write(tmp_path, moved(statuette(open_bottom=False), TURNED_ON_IMPORT.T @ turn))
    _, level = run(tmp_path, text + "[orientation]\nheight = 68.0")
    _, leaning = run(tmp_path, text + "[orientation]\nheight = 68.0\nkeep_lean = true")
    up = np.array(level.results["orientation"].figures["up"])
    assert np.degrees(np.arccos(up[2])) == pytest.approx(9.0, abs=0.1)
    assert leaning.results["orientation"].figures["up"] == [0.0, 0.0, 1.0]


def test_twice_is_the_same_and_leaves_nothing_over(tmp_path: Path) -> None:
    text = _write(tmp_path, moved(statuette(), rotation(2))) + "[orientation]\nheight = 68.0"
    job = sheet.parse("bozzetto = 1\n" + text, STEPS, name="test", folder=tmp_path)
    seen: list[Any] = []
    for _ in range(2):
        stage = Stage(bpy.context.scene, job)
        runner.finish(runner.run_job(STEPS, STEPS, job, stage))
        seen.append((names_of_all(), read_mesh(stage.require("upright")).vertices))
    first, second = ({kind: len(names) for kind, names in each[0].items()} for each in seen)
    assert first == second
    assert seen[0][0]["objects"] == seen[1][0]["objects"] and seen[0][0]["meshes"] == seen[1][0]["meshes"]
    assert np.array_equal(seen[0][1], seen[1][1])
