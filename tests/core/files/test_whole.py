"""A file that ends early is found by what its own format promises; whole ones of other programs' making pass."""

from __future__ import annotations

import io
import json
import struct

import numpy as np
import pytest

from blender_addon.core.files.pictures.exr import with_places, without_words
from blender_addon.core.files.pictures.labels import Labels
from blender_addon.core.files.pictures.png_writer import write_png
from blender_addon.core.files.pictures.tiff_writer import write_tiff
from blender_addon.core.files.whole import damage


def _png():
    held = io.BytesIO()
    write_png(held, [np.random.default_rng(1).integers(0, 65535, (20, 30, 3)).astype(np.uint16)], (30, 20), Labels())
    return held.getvalue()


def _tiff():
    held = io.BytesIO()
    write_tiff(held, [np.random.default_rng(1).integers(0, 65535, (20, 30, 3)).astype(np.uint16)], (30, 20), Labels())
    return held.getvalue()


def _jpeg():
    image = pytest.importorskip("PIL.Image")
    held = io.BytesIO()
    image.fromarray(np.random.default_rng(1).integers(0, 255, (40, 60, 3)).astype(np.uint8)).save(held, "JPEG")
    return held.getvalue()


def _attribute(name, kind, value):
    return name + b"\0" + kind + b"\0" + struct.pack("<i", len(value)) + value


def _exr(words=b"2026:11:28"):
    """Three lines of half floats, not compressed, by the OpenEXR file layout."""
    window = struct.pack("<4i", 0, 0, 3, 2)
    channel = b"Y\0" + struct.pack("<iB3xii", 1, 0, 1, 1) + b"\0"
    head = b"\x76\x2f\x31\x01" + struct.pack("<I", 2) + _attribute(b"channels", b"chlist", channel)
    head += _attribute(b"capDate", b"string", words) + _attribute(b"compression", b"compression", b"\0")
    head += _attribute(b"dataWindow", b"box2i", window) + _attribute(b"displayWindow", b"box2i", window) + b"\0"
    lines = [struct.pack("<ii", row, 8) + np.full(4, row, np.float16).tobytes() for row in range(3)]
    starts = [len(head) + 24 + 16 * row for row in range(3)]
    return head + struct.pack("<3Q", *starts) + b"".join(lines)


def _mp4():
    def box(kind, data):
        return struct.pack(">I", 8 + len(data)) + kind + data

    return box(b"ftyp", b"isom") + box(b"mdat", bytes(200)) + box(b"moov", bytes(60))


def _glb():
    body = b'{"asset":{"version":"2.0"}} '
    return struct.pack("<4sII", b"glTF", 2, 20 + len(body)) + struct.pack("<I4s", len(body), b"JSON") + body


def _webm():
    body = bytes(100)
    return b"\x1a\x45\xdf\xa3\x84" + bytes(4) + b"\x18\x53\x80\x67" + (0x0100000000000000 | len(body)).to_bytes(8, "big") + body


WHOLE = {
    ".png": _png, ".tif": _tiff, ".jpg": _jpeg, ".exr": _exr, ".mp4": _mp4, ".glb": _glb, ".webm": _webm,
    ".json": lambda: json.dumps({"a": [1, 2]}).encode(), ".html": lambda: b"<html><p>x</p></html>\n",
    ".blend": lambda: b"BLENDER-v502" + bytes(300) + b"ENDB" + bytes(20),
}  # fmt: skip


@pytest.mark.parametrize("suffix", WHOLE)
def test_whole_files_pass_and_any_cut_is_found(tmp_path, suffix):
    data = WHOLE[suffix]()
    path = tmp_path / f"a{suffix}"
    path.write_bytes(data)
    assert damage(path) == ""
    ends = sorted({0, 1, 5, 11, 40, len(data) // 3, len(data) // 2, len(data) - 30} | set(range(len(data) - 4, len(data))))
    for end in (e for e in ends if 0 <= e < len(data)):
        if (suffix == ".html" and data[:end].rstrip().endswith(b"</html>")) or (suffix == ".blend" and end >= len(data) - 20):
            continue  # only the last line break, or padding after the end mark, is gone
        path.write_bytes(data[:end])
        assert damage(path), f"cut at {end} of {len(data)}"


def test_changed_bytes_of_a_png_are_found_anywhere(tmp_path):
    """Each chunk has a checksum over kind and data (ISO/IEC 15948, 5.3)."""
    data = _png()
    for place in range(0, len(data), 37):
        (tmp_path / "a.png").write_bytes(data[:place] + bytes([data[place] ^ 0x10]) + data[place + 1 :])
        assert damage(tmp_path / "a.png"), place


def test_noise_is_no_file_of_any_kind(tmp_path):
    noise = np.random.default_rng(3).integers(0, 256, 5000).astype(np.uint8).tobytes()
    for suffix in [*WHOLE, ".usdc", ".toml"]:
        (tmp_path / f"a{suffix}").write_bytes(noise)
        assert damage(tmp_path / f"a{suffix}")


def test_an_exr_loses_its_words_and_nothing_else(tmp_path):
    """The table of places is moved with the lines: what a reader finds at each place is the line of that number."""
    first, other = without_words(_exr()), without_words(_exr(b"2031:01:01 at noon"))
    assert first == other and b"capDate" not in first
    more = without_words(_exr(), more={"owner": "Åsa"})
    (tmp_path / "a.exr").write_bytes(more)
    assert damage(tmp_path / "a.exr") == "" and "Åsa".encode() in more
    table = more.index(b"\0" * 1, more.index("Åsa".encode()))
    starts = struct.unpack_from("<3Q", more, table + 1)
    assert [struct.unpack_from("<i", more, start)[0] for start in starts] == [0, 1, 2]
    table = _exr().index(b"\0", _exr().index(b"displayWindow") + 40) + 1
    empty = _exr()[:table] + bytes(24) + _exr()[table + 24 :]
    (tmp_path / "b.exr").write_bytes(empty)
    assert damage(tmp_path / "b.exr") and with_places(empty) == _exr(), "a table that was never written is filled in"
    with pytest.raises(ValueError, match="lines that"):
        with_places(empty[:-1])
    for broken in (b"", b"\x76\x2f\x31\x01", _exr()[:60], b"x" * 400):
        with pytest.raises((ValueError, IndexError, struct.error)):
            without_words(broken)
