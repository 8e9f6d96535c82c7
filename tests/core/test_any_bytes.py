"""Do the readers of files and names answer for any bytes and any words, or say in words why they can't?"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("hypothesis")

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blender_addon.core.files import texture_names
from blender_addon.core.files.meshes import mtl
from blender_addon.core.files.meshes.draco import check_draco
from blender_addon.core.files.meshes.fbx_arrays import check_arrays, promised_bytes
from blender_addon.core.files.meshes.mesh_files import FORMATS, check_file, sniffed, without_bad_numbers
from blender_addon.core.files.meshes.ply import FileProblem, ply_header
from blender_addon.core.files.meshes.ply_plain import write_plain
from blender_addon.core.files.meshes.ply_rows import read_rows
from blender_addon.core.files.no_mesh import refuse_no_mesh
from blender_addon.core.files.pictures.picture_headers import check_picture_bytes, picture_size
from blender_addon.core.files.references import find_beside, follow
from scripts.bench.corpus import scans

EACH = settings(
    max_examples=150, derandomize=True, deadline=None, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)  # fmt: skip

MARKS = st.sampled_from(
    [b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", b"\xff\xd8\xff\xe0\0\x10", b"II\x2a\0\x08\0\0\0", b"MM\0\x2a\0\0\0\x08",
    b"\x76\x2f\x31\x01\x02\0\0\0",
     b"BM", b"RIFF\0\0\0\0WEBPVP8 ", b"\0\0\0\x0cjP  \r\n\x87\n", b"#?RADIANCE\n", b"8BPS", b"DDS ", b"\x01\xda",
     b"DRACO\2\2\1\1\0\0",
     b"glTF\2\0\0\0", b"ply\nformat ascii 1.0\n", b"solid x\n", b"#usda 1.0\n", b"PXR-USDC\0\x08", b"PK\3\4",
     b"Kaydara FBX Binary  \0",
     b"{", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", b""]
)  # fmt: skip
BYTES = st.builds(lambda mark, rest: mark + rest, MARKS, st.binary(max_size=120))
WORDS = st.text(max_size=24)
NAMES = st.one_of(
    WORDS,
    st.lists(st.sampled_from(["owl", "Albedo", "normal", "_", "-", "2k", "DX", ".png", ".JPG", "é", "map"])).map("".join),
)


@EACH
@given(BYTES, st.sampled_from(["", "a.tga", "a.png"]))
def test_any_bytes_have_a_size_or_none(data: bytes, name: str) -> None:
    found = picture_size(io.BytesIO(data), name)
    assert found is None or (found.width > 0 and found.height > 0)
    try:
        assert check_picture_bytes(data, name).width > 0
    except FileProblem as problem:
        assert ";" in str(problem)


@EACH
@given(BYTES, st.sampled_from([*FORMATS, ""]))
def test_any_bytes_are_a_scan_or_refused(tmp_path: Path, data: bytes, suffix: str) -> None:
    path = tmp_path / f"a{suffix}"
    path.write_bytes(data)
    assert sniffed(data[:4096], len(data)) in (*FORMATS, "")
    try:
        check_file(path)
    except FileProblem as problem:
        assert 20 < len(str(problem)) < 500
    assert path.read_bytes() == data


@st.composite
def changed_scans(draw: Callable[..., Any]) -> tuple[str, bytes]:
    """A sound scan with a few bytes or a stretch changed."""
    format = draw(st.sampled_from(scans.FORMATS))
    name = scans.MAIN[format]
    data = bytearray(scans.scan(format)[name])
    for _ in range(draw(st.integers(0, 3))):
        place = draw(st.integers(0, len(data)))
        data[place : place + draw(st.integers(0, 6))] = draw(st.binary(max_size=6))
    return name, bytes(data)


@EACH
@given(changed_scans())
def test_a_changed_scan_is_taken_or_refused_and_can_be_mended(tmp_path: Path, changed: tuple[str, bytes]) -> None:
    name, data = changed
    (tmp_path / name).write_bytes(data)
    (tmp_path / "scan.bin").write_bytes(bytes(9000))
    try:
        checked = check_file(tmp_path / name)
    except FileProblem:
        return
    if checked.bad_vertices or checked.bad_others:
        without_bad_numbers(tmp_path / name, tmp_path / f"repaired {name}")
        again = check_file(tmp_path / f"repaired {name}")
        assert not again.bad_vertices and not again.bad_others


@EACH
@given(BYTES, st.none() | st.integers(0, 10**9))
def test_any_bytes_are_a_packed_mesh_or_refused(data: bytes, triangles: int | None) -> None:
    try:
        check_draco(data, triangles, "here")
    except FileProblem as problem:
        assert "here" in str(problem)


@EACH
@given(BYTES)
def test_any_header_is_read_or_refused(data: bytes) -> None:
    try:
        header = ply_header(b"ply\n" + data + b"\nend_header\n")
    except FileProblem:
        return
    assert header.count("vertex") == sum(count for name, count, _ in header.elements if name == "vertex")


@EACH
@given(st.binary(max_size=120), WORDS)
def test_any_material_library_is_read(data: bytes, name: str) -> None:
    text = "newmtl a\nmap_Kd " + mtl.text_of(data) + "\n" + name
    assert all(isinstance(part, str) for maps in mtl.read_mtl(text).values() for part in maps.values())


@EACH
@given(st.lists(NAMES, max_size=8), NAMES, NAMES)
def test_any_name_of_a_picture_is_understood(files: list[str], mesh: str, material: str) -> None:
    for name in files:
        assert set(texture_names.roles_named(name, subject=texture_names.words_of(mesh))) <= set(texture_names.ROLES)
        related = texture_names.relation(name, mesh=mesh, material=material, others=files)
        assert np.isfinite(related)
        words = set().union(*map(texture_names.telling_words, files))
        assert related == texture_names.relation(name, mesh=mesh, material=material, words=words)
        assert isinstance(texture_names.series_of(name), str)


@EACH
@given(
    st.one_of(
        WORDS,
        st.lists(st.sampled_from(["..", ".", "a", "/", "\\", "C:", "\0", "%2e", "link", "é" * 90]), max_size=9).map("/".join),
    )
)
def test_any_name_leads_into_the_folder_or_nowhere(tmp_path: Path, written: str) -> None:
    folder = tmp_path / "scan"
    folder.mkdir(exist_ok=True)
    (tmp_path / "a").write_bytes(b"x")
    if not (folder / "link").is_symlink():
        (folder / "link").symlink_to(tmp_path)
    for found in (follow(written, folder), find_beside(written, folder / "scan.obj", [folder])):
        assert found.path is None or found.path.is_relative_to(folder.resolve())


@EACH
@given(st.sampled_from(["ply_text", "ply_binary", "ply_big"]), st.integers(0, 4000), st.binary(max_size=12))
def test_any_ply_is_rewritten_or_refused(tmp_path: Path, form: str, place: int, other: bytes) -> None:
    data = scans.scan(form)["scan.ply"]
    path, target = tmp_path / "a.ply", tmp_path / "b.ply"
    path.write_bytes(data[:place] + other + data[place + len(other) :])
    try:
        rows = read_rows(path)
    except FileProblem as problem:
        assert 20 < len(str(problem)) < 500
        return
    write_plain(rows, target)
    again = read_rows(target)
    assert sum(len(group.corners) for group in again.groups) == sum(len(group.corners) for group in rows.groups)


@EACH
@given(st.integers(0, 6000), st.binary(max_size=16), st.sampled_from([7400, 7700]))
def test_any_fbx_says_how_large_its_arrays_are_or_is_counted_in_part(
    tmp_path: Path, place: int, other: bytes, version: int
) -> None:
    data = bytearray(scans.scan("fbx_binary")["scan.fbx"])
    data[23:27] = version.to_bytes(4, "little")
    data[place : place + len(other)] = other
    path = tmp_path / "a.fbx"
    path.write_bytes(data)
    found = promised_bytes(path)
    assert found >= 0
    try:
        check_arrays(path, free=found / 2e6)
        assert not found
    except FileProblem as problem:
        assert "GB" in str(problem)


@EACH
@given(BYTES, st.sampled_from(FORMATS))
def test_any_bytes_pass_for_a_mesh_or_are_said_to_be_none(tmp_path: Path, data: bytes, kind: str) -> None:
    path = tmp_path / f"a{kind}"
    path.write_bytes(data)
    if data.startswith(b"\x89PNG") or (data.startswith(b"PK\3\4") and kind not in (".usd", ".usdz")):
        with pytest.raises(FileProblem, match=r"archive|picture"):
            refuse_no_mesh(path, kind)
    else:
        try:
            refuse_no_mesh(path, kind)
        except FileProblem:
            assert data.startswith((b"\xff\xd8\xff", b"\x1f\x8b"))
