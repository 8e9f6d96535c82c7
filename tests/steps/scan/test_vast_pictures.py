"""Is a picture that announces gigabytes left out before an importer hands it to a decoder, in every format that names one?"""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.scene.scan.importers import import_scan  # noqa: E402
from tests.steps.scan.test_hostile_input import exported, picture  # noqa: E402

pytestmark = pytest.mark.usefixtures("empty_scene")
SIDE = 50_000
"""Pixels; unpacked at four bytes each they are 10 GB."""


def announcing(data: bytes, side: int) -> bytes:
    """A PNG with another size in its header and the checksum that goes with it (ISO/IEC 15948, 11.2.2)."""
    at = data.index(b"IHDR")
    header = b"IHDR" + struct.pack(">II", side, side) + data[at + 12 : at + 17]
    return data[:at] + header + struct.pack(">I", zlib.crc32(header)) + data[at + 21 :]


def reserved_mb() -> float:
    """The most address space that this process has had, MB (proc(5)): what a decoder asks for, used or not."""
    words = Path("/proc/self/status").read_text(encoding="ascii")
    return float(words.split("VmPeak:")[1].split()[0]) / 1e3


@pytest.mark.skipif(not Path("/proc/self/status").is_file(), reason="only Linux tells what a process asked for")
@pytest.mark.parametrize("how", ["gltf", "glb", "fbx", "fbx packed", "usda", "usdc", "usdz", "obj"])
def test_no_decoder_gets_it(tmp_path: Path, how: str) -> None:
    suffix = how.split()[0]
    if suffix.startswith("usd") and not hasattr(bpy.ops.wm, "usd_import"):
        pytest.skip("this Blender has no USD")
    colour = picture(tmp_path / "colour.png")
    small = colour.read_bytes()
    file = exported(tmp_path, suffix, colour, packed="packed" in how)
    vast = announcing(small, SIDE)
    if how in ("glb", "fbx packed", "usdz"):
        data = file.read_bytes()
        assert small in data
        file.write_bytes(data.replace(small, vast).replace(*(struct.pack("<I", zlib.crc32(each)) for each in (small, vast))))
        colour.unlink()
    else:
        for beside in tmp_path.rglob("colour.png"):
            beside.write_bytes(vast)
    before = reserved_mb()
    found = import_scan(file)
    assert len(found.mesh.faces) > 100
    assert reserved_mb() - before < 5000.0
    if suffix not in ("obj", "usdz"):  # their pictures are looked at by `textures` instead, which the importer left packed
        assert any("50,000 x 50,000" in why for _, why in found.left_out), found.left_out


def test_a_small_picture_packed_in_an_fbx_stays(tmp_path: Path) -> None:
    file = exported(tmp_path, "fbx", picture(tmp_path / "colour.png"), packed=True)
    (tmp_path / "colour.png").unlink()
    found = import_scan(file)
    assert not found.left_out
    assert [tuple(image.size) for image in bpy.data.images if image.packed_file] == [(16, 16)]
