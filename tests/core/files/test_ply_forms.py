"""Is all of a PLY read, whatever its form, and do coordinates far from zero keep their digits?

PLY: Turk, *The PLY Polygon File Format*, 1994: any element may have lists, and one of three encodings. Places corner by corner
(`texcoord`, `texnumber`, the comment `TextureFile`) are common practice of programs that make scans.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest

from blender_addon.core.files.meshes.file_coordinates import far_origin
from blender_addon.core.files.meshes.mesh_files import FileProblem, check_file, moved_to_zero, without_bad_numbers
from blender_addon.core.files.meshes.ply import ply_header
from blender_addon.core.files.meshes.ply_plain import MATERIAL, picture_count, write_obj, write_plain
from blender_addon.core.files.meshes.ply_rows import pictures_named, read_in_part, read_rows

POINTS = np.array([[0, 0, 0], [4, 0, 0], [4, 3, 0], [0, 3, 0], [2, 1, 5]], float)
FACES = ((0, 1, 4), (3, 2, 1, 0), (1, 2, 4), (5,), (2, 3, 4), (3, 0, 4))
"""Triangles, a square, and a face of one corner that no importer can use (its point is not there)."""
PLACES = [np.random.default_rng(3).random((len(face), 2)).round(3) for face in FACES]
CODES = {"uchar": "B", "int": "i", "float": "f", "double": "d", "ushort": "H"}


def ply(kind: str, *, lists: bool = True, away: float = 0.0, pictures: int = 1) -> bytes:
    """A pyramid with a list at each vertex, double coordinates, 16-bit colours and places corner by corner."""
    head = [f"ply\nformat {kind} 1.0\ncomment TextureFile one.png\ncomment TextureFile two b.png\nelement vertex 5"]
    head += ["property list uchar float views"] if lists else []
    head += [f"property double {axis}" for axis in "xyz"] + [f"property ushort {name}" for name in ("red", "green", "blue")]
    head += [f"element face {len(FACES)}", "property list uchar int vertex_indices", "property list uchar float texcoord"]
    head += ["property int texnumber", "end_header\n"]
    rows: list[list[tuple[str, float]]] = []
    for row, point in enumerate(POINTS):
        views = [("uchar", row % 3), *[("float", 0.5)] * (row % 3)] if lists else []
        rows.append([*views, *(("double", value + away) for value in point), *[("ushort", 13107 * row)] * 3])
    for row, (face, places) in enumerate(zip(FACES, PLACES, strict=True)):
        corners = [("uchar", len(face)), *(("int", corner) for corner in face)]
        rows.append([*corners, ("uchar", places.size), *(("float", v) for v in places.ravel()), ("int", row % pictures)])
    if kind == "ascii":
        body = "".join(" ".join(f"{value:.12g}" for _, value in row) + "\n" for row in rows).encode()
    else:
        order = ">" if "big" in kind else "<"
        body = b"".join(struct.pack(order + "".join(CODES[name] for name, _ in row), *(v for _, v in row)) for row in rows)
    return "\n".join(head).encode() + body


@pytest.mark.parametrize("lists", [True, False])
@pytest.mark.parametrize("kind", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_all_of_a_ply_is_read_in_every_encoding(tmp_path: Path, kind: str, lists: bool) -> None:
    path = tmp_path / "a.ply"
    path.write_bytes(ply(kind, lists=lists))
    assert check_file(path).read_in_part and pictures_named(path.read_bytes()) == ["one.png", "two b.png"]
    rows = read_rows(path)
    assert np.array_equal(rows.points, POINTS) and rows.colours is not None
    np.testing.assert_allclose(rows.colours, np.arange(5)[:, None].repeat(3, 1) / 5.0)  # 13107 is a fifth of 65535
    found = {tuple(corners): uv for group in rows.groups for corners, uv in zip(group.corners.tolist(), group.uv, strict=True)}
    assert set(found) == {face for face in FACES if len(face) > 2}
    for face, places in zip(FACES, PLACES, strict=True):
        if len(face) > 2:
            np.testing.assert_allclose(found[face], places, rtol=1e-6)  # as 32-bit numbers hold them


@pytest.mark.parametrize("kind", ["ascii", "binary_big_endian"])
def test_what_is_rewritten_holds_the_same_places_and_is_read_as_it_is(tmp_path: Path, kind: str) -> None:
    path, plain = tmp_path / "a.ply", tmp_path / "b.ply"
    path.write_bytes(ply(kind))
    rows = read_rows(path)
    write_plain(rows, plain)
    assert not read_in_part(ply_header(plain.read_bytes()))
    again = read_rows(plain)
    assert again.uv is not None
    count = {len(face): 0 for face in FACES}
    for group, old in zip(again.groups, rows.groups, strict=True):
        np.testing.assert_array_equal(again.points[group.corners], rows.points[old.corners])
        np.testing.assert_allclose(again.uv[group.corners], old.uv, rtol=1e-6)
        count[group.corners.shape[1]] += len(group.corners)
    assert count == {1: 0, 3: 4, 4: 1}


def test_faces_on_several_pictures_wear_a_material_of_each(tmp_path: Path) -> None:
    path, target = tmp_path / "a.ply", tmp_path / "b.obj"
    path.write_bytes(ply("ascii", pictures=2))
    rows = read_rows(path)
    assert picture_count(rows) == 2
    write_obj(rows, target)
    worn, faces = "", {0: 0, 1: 0}
    for line in target.read_text().splitlines():
        worn = line.removeprefix("usemtl ") if line.startswith("usemtl") else worn
        if line.startswith("f "):
            faces[next(number for number in faces if MATERIAL.format(number) == worn)] += 1
    assert faces == {0: 3, 1: 2}


@pytest.mark.parametrize("kind", ["ascii", "binary_little_endian"])
def test_rows_of_an_element_without_properties_are_refused(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "scan.ply"
    path.write_bytes(f"ply\nformat {kind} 1.0\nelement vertex 3\nelement face 0\nend_header\n".encode() + bytes(40))
    with pytest.raises(FileProblem):
        read_rows(path)


@pytest.mark.parametrize("kind", ["ascii", "binary_little_endian"])
def test_a_ply_that_ends_too_soon_or_names_what_is_not_there_is_refused(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "a.ply"
    path.write_bytes(ply(kind)[:-9])
    with pytest.raises(FileProblem, match="cut short"):
        read_rows(path)
    whole = ply(kind, lists=False)
    path.write_bytes(whole.replace(b"\n3 0 1 4", b"\n3 0 9 4") if kind == "ascii" else whole.replace(
        struct.pack("<B3i", 3, 0, 1, 4), struct.pack("<B3i", 3, 0, 9, 4)))  # fmt: skip
    with pytest.raises(FileProblem, match="name points"):
        read_rows(path)


GRID = np.array([512345.6, 5400123.4, 311.2])
"""A place in metres as a country's grid has it (UTM: eastings about 500,000, northings up to 10,000,000)."""


def obj(points: np.ndarray) -> str:
    return "".join("v {:.4f}\t{:.4f}  {:.4f}\n".format(*point) for point in points) + "f 1 2 5\nf 2 3 5\nf 3 4 5\n"


def test_coordinates_far_from_zero_are_moved_with_all_their_digits(tmp_path: Path) -> None:
    path, near = tmp_path / "a.obj", tmp_path / "b.obj"
    small = POINTS / 100.0  # 5 cm in metres: 32-bit numbers there lie half a metre apart in the north
    path.write_text(obj(small + GRID))
    origin = check_file(path).origin
    assert origin == (512346.0, 5400123.0, 311.0)
    moved_to_zero(path, near, origin)
    found = np.array([line.split()[1:] for line in near.read_text().splitlines() if line.startswith("v")], float)
    np.testing.assert_allclose(found + origin, small + GRID, atol=5.1e-5)  # as many digits as were written
    assert np.abs(np.float32(small + GRID) - (small + GRID)).max() > 0.05  # as much as the piece is long


@pytest.mark.parametrize("away", [0.0, 100.0])
def test_what_lies_near_enough_is_left(tmp_path: Path, away: float) -> None:
    path = tmp_path / "a.obj"
    path.write_text(obj(POINTS + away))
    assert check_file(path).origin is None


def test_a_ply_of_doubles_is_moved_too(tmp_path: Path) -> None:
    path, target = tmp_path / "a.ply", tmp_path / "b.ply"
    path.write_bytes(ply("binary_little_endian", lists=False, away=5.4e6))
    assert check_file(path).read_in_part
    write_plain(read_rows(path), target)
    np.testing.assert_allclose(np.ptp(read_rows(target).points, axis=0), np.ptp(POINTS, axis=0), atol=1e-6)


def test_points_that_are_no_numbers_say_nothing_of_the_place() -> None:
    assert far_origin(np.full((9, 3), np.nan)) is None and far_origin(np.zeros((0, 3))) is None
    assert far_origin(np.full((9, 3), 7e5)) is None  # all in one place: of no size


def test_lines_that_go_on_and_capitals_are_read(tmp_path: Path) -> None:
    path, small = tmp_path / "a.obj", tmp_path / "b.stl"
    path.write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf \\\n 1 \\\n 2\t3\n")  # OBJ: a backslash joins lines
    assert check_file(path).triangles >= 1
    loud = tmp_path / "a.stl"
    corners = "".join(f"VERTEX {x} {y} 0\n" for x, y in ((0, 0), (1, 0), (0, 1)))
    loud.write_text(f"SOLID A\nFACET NORMAL 0 0 1\nOUTER LOOP\n{corners}ENDLOOP\nENDFACET\nENDSOLID A\n")
    assert check_file(loud).recode
    without_bad_numbers(loud, small)
    assert small.read_text() == loud.read_text().lower()
