"""Are bad files reported before Blender reads them, and pictures found by their names?"""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest

from blender_addon.core.files.meshes import mesh_files, mtl, text_lines
from blender_addon.core.files.meshes.mesh_files import FileProblem, check_file
from blender_addon.core.files.pictures.picture_files import looks_whole
from blender_addon.core.files.texture_names import relation, roles_named, series_of
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan import units
from tests.glb_files import TRIANGLE, glb
from tests.scan_shapes import box, statuette, write_obj

PLY = "ply\nformat {}\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face {}\n" \
    "property list uchar int vertex_indices\nend_header\n"  # fmt: skip


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.obj", b"", "empty"),
        ("a.obj", b"# nothing\n", "no vertices"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", "no faces"),
        ("a.obj", b"v 0 0 0\n\0\0\0f 1 1 1\n", "zero bytes"),
        ("a.ply", b"solid", "does not begin"),
        ("a.ply", b"ply\nformat ascii 1.0\n", "no end"),
        ("a.ply", PLY.format("ascii 1.0", 0).encode() + b"0 0 0\n1 0 0\n0 1 0\n", "no faces"),
        ("a.ply", PLY.format("ascii 1.0", 1).encode() + b"0 0 0\n1 0 0\n", "cut short"),
        ("a.ply", PLY.format("binary_little_endian 1.0", 1).encode() + b"\0" * 40, "cut short"),
        ("a.stl", b"\0" * 80 + struct.pack("<I", 7) + b"\0" * 90, "does not fit"),
        ("a.stl", b"solid x\nendsolid x\n", "no faces"),
        ("a.glb", b"no glb at all, really", "does not begin"),
        ("a.glb", glb(TRIANGLE, b"\0" * 36)[:-20], "cut short"),
        ("a.glb", glb(TRIANGLE, b"\0" * 12), "cut short"),
        ("a.glb", glb(TRIANGLE, b"\0" * 36).replace(b'"count": 3', b'"count": 9'), "beyond"),
        ("a.glb", glb({**TRIANGLE, "meshes": []}, b"\0" * 36), "no mesh"),
        ("a.glb", glb({**TRIANGLE, "extensionsRequired": ["EXT_meshopt_compression"]}, b"\0" * 36), "meshopt"),
        ("a.gltf", b"{", "JSON"),
        ("a.gltf", json.dumps({**TRIANGLE, "buffers": [{"byteLength": 36, "uri": "no.bin"}]}).encode(), "no.bin"),
        ("a.fbx", b"hello world", "does not begin"),
        (
            "a.fbx",
            b"Kaydara FBX Binary  \0\x1a\0"
            + struct.pack("<IIIIB", 7400, 53, 1, 13, 0)
            + b"d"
            + struct.pack("<III", 2**32 - 1, 1, 0)
            + bytes(8),
            "34.4 GB of memory",
        ),
        ("a.glb", b"\n<!DOCTYPE html><html>", "web page"),
        ("a.obj", b"version https://git-lfs.github.com/spec/v1\n", "pointer"),
        ("a.usda", b"PK\3\4" + bytes(60), "archive"),
        ("a.stl", b"\x89PNG\r\n\x1a\n" + bytes(60), "picture"),
        ("a.usdc", b"hello world", "does not begin"),
        ("a.off", b"OFF\n", "convert"),
        ("a.vtp", b"<VTKFile>", "save it as PLY"),
        ("a.zip", b"PK", "unpack"),
        ("a.xyz", b"0 0 0", "points"),
        ("a.png", b"\x89PNG", "not its texture"),
        ("a", b"?", "OBJ, PLY"),
    ],
)
def test_a_bad_file_is_refused_in_words(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(FileProblem, match=words):
        check_file(file)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match="no such file"):
        check_file(tmp_path / "none.obj")
    write_obj(tmp_path / "owl.obj", box((1, 1, 1), steps=1))
    with pytest.raises(FileProblem, match=r'folder.*"owl\.obj"'):
        check_file(tmp_path)


def test_good_files_pass(tmp_path: Path) -> None:
    (tmp_path / "a.glb").write_bytes(glb(TRIANGLE, b"\0" * 36))
    assert check_file(tmp_path / "a.glb").in_metres
    (tmp_path / "a.stl").write_bytes(b"\0" * 80 + struct.pack("<I", 2) + b"\0" * 100)
    check_file(tmp_path / "a.stl")
    assert check_file(write_obj(tmp_path / "a.obj", statuette(rows=20, columns=12))) == mesh_files.Checked()


@pytest.mark.parametrize("block", [64, 1 << 24])
@pytest.mark.parametrize("word", ["nan", "NaN", "-inf", "1e5 nan 0", "-nan(ind)", "1.#QNAN"])
def test_numbers_that_are_none_are_counted_and_sent_far(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, word: str, block: int
) -> None:
    """At any place of the file, in blocks of any size; names that hold such letters are left alone."""
    monkeypatch.setattr(text_lines, "BLOCK", block)
    file = tmp_path / "a.obj"
    file.write_text(
        f"mtllib nan_info.mtl\ng nan_info\no banana\nv 0 0 0\nv {word} 1 2\nv 1 0 0\nv 0 1 0\nvt nan 0\n"
        "usemtl infinity\nf 1 3 4\nf 2 3 4\n"
    )
    checked = check_file(file)
    assert (checked.bad_vertices, checked.bad_others) == (1, 1)
    mesh_files.without_bad_numbers(file, tmp_path / "b.obj")
    repaired = (tmp_path / "b.obj").read_text()
    assert "g nan_info\no banana\nv 0 0 0\nv " in repaired and "usemtl infinity" in repaired
    assert "mtllib" not in repaired  # an importer must not look for it; our own code reads it
    assert any(part == "9e29" for part in repaired.splitlines()[4].split())
    assert "vt 0 0" in repaired
    assert check_file(tmp_path / "b.obj") == mesh_files.Checked()


def test_ascii_ply_with_a_bad_number(tmp_path: Path) -> None:
    file = tmp_path / "nan.ply"
    file.write_text(PLY.format("ascii 1.0", 1) + "0 0 0\nnan 0 0\n0 1 0\n3 0 1 2\n")
    assert check_file(file).bad_vertices == 1
    mesh_files.without_bad_numbers(file, tmp_path / "b.ply")
    assert (tmp_path / "b.ply").read_text().endswith("0 0 0\n9e29 0 0\n0 1 0\n3 0 1 2\n")


def test_an_stl_as_text_may_begin_with_a_byte_order_mark(tmp_path: Path) -> None:
    triangle = (
        b"\xef\xbb\xbfsolid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
    )
    (tmp_path / "a.stl").write_bytes(triangle + b"endsolid\n")
    assert check_file(tmp_path / "a.stl").recode
    mesh_files.without_bad_numbers(tmp_path / "a.stl", tmp_path / "b.stl")
    assert (tmp_path / "b.stl").read_bytes().startswith(b"solid\nfacet")


def test_any_cut_of_a_glb_is_refused(tmp_path: Path) -> None:
    whole = glb(TRIANGLE, b"\0" * 36)
    for length in range(len(whole)):
        (tmp_path / "cut.glb").write_bytes(whole[:length])
        with pytest.raises(FileProblem):
            check_file(tmp_path / "cut.glb")


def test_mtl_options_are_skipped_and_spaces_kept() -> None:
    """Map statements with options as in the MTL specification (Alias|Wavefront, appendix B1; from memory)."""
    tables = mtl.read_mtl(
        "newmtl a b\nKd 1 1 1\nmap_Kd -o 0.1 0.2 -s 1 1 1 -clamp on my owl.png\nbump -bm 0.3 n.png\n"
        "newmtl\tc\nmap_Kd\tC:\\x\\y.jpg\t\n"
    )
    assert tables == {"a b": {"base": "my owl.png", "bump": "n.png"}, "c": {"base": "C:\\x\\y.jpg"}}


@pytest.mark.parametrize(
    ("name", "roles"),
    [
        ("owl_albedo.jpg", ["base"]), ("Owl_BaseColor.png", ["base"]), ("owl-diffuse-2k.png", ["base"]),
        ("OWL_Diffuse.PNG", ["base"]), ("owlbasecolor.png", ["base"]), ("rusticroughness.png", ["roughness"]),
        ("owl_Normal.png", ["normal"]), ("Owl_BentNormals.png", ["bent_normal"]), ("owl_thickness_map.png", ["thickness"]),
        ("owl_AO.png", ["occlusion"]), ("owl_ambient_occlusion.png", ["occlusion"]), ("owl_specular_color.png", ["specular"]),
        ("color_preview.png", ["view"]), ("owl_uv_layout.png", ["layout"]), ("color_chart_normal.png", ["base", "normal"]),
        ("owl.png", []), ("owl_map.png", []), ("texture.png", []), ("IMG_2031.jpg", []),
    ],
)  # fmt: skip
def test_names_hint_at_what_a_picture_is(name: str, roles: list[str]) -> None:
    """Words that contradict each other are both reported, and "map" or "texture" alone says nothing."""
    assert list(roles_named(name, subject=["owl"])) == roles


def test_words_of_the_mesh_s_own_name_do_not_count() -> None:
    assert roles_named("normal_owl.png", subject=["normal", "owl"]) == ()
    assert roles_named("normal_owl.png") == ("normal",)


def test_names_tell_whose_a_picture_is() -> None:
    assert relation("owl_albedo.jpg", mesh="owl.obj") == 1.0
    assert relation("eyes_albedo.png", mesh="owl.obj", material="eyes") == 2.0
    assert relation("fox_albedo.png", mesh="owl.obj", others=["fox.obj"]) == -1.0
    assert relation("albedo_2k.png", mesh="owl.obj", others=["albedo_fox.obj"]) == 0.0
    assert series_of("IMG_2031.JPG") == series_of("img_7.jpg") != series_of("owl.jpg") == ""


def test_cut_pictures_are_reported() -> None:
    jpeg = b"\xff\xd8" + b"\x12" * 4000 + b"\xff\xd9"
    png = b"\x89PNG\r\n\x1a\n" + b"\1" * 4000 + b"\0\0\0\0IEND\xaeB`\x82"
    assert looks_whole(jpeg) and looks_whole(jpeg + b"\0" * 500) and looks_whole(png)
    assert not looks_whole(jpeg[:-900]) and not looks_whole(png[:-20]) and not looks_whole(b"")


@pytest.mark.parametrize(
    ("longest", "unit"), [(0.16, "m"), (16.0, "cm"), (160.0, "mm"), (8.0, "cm"), (0.002, ""), (1.8, "cm"), (3000.0, "")]
)
def test_the_unit_is_guessed_so_that_it_fits_a_desk(longest: float, unit: str) -> None:
    assert units.guess_unit(longest).unit == unit


def test_texel_density_of_a_square() -> None:
    """A 10 x 10 square over half of a 1000 x 500 picture's width and height: sqrt(125,000 texels / 100) a unit."""
    mesh = TriangleMesh(
        np.array([[0.0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0]]),
        np.array([[0, 1, 2], [0, 2, 3]]),
        0.5 * np.array([[[0.0, 0], [1, 0], [1, 1]], [[0, 0], [1, 1], [0, 1]]]),
        np.zeros(2, int),
    )
    assert units.texels_per_unit(mesh, {0: (1000, 500)}) == pytest.approx((125_000 / 100) ** 0.5)
    assert units.texels_per_unit(mesh, {}) == 0.0
