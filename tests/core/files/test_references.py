"""Does a scan reach nothing but its own folder, and is what is not a plain file never opened?"""

from __future__ import annotations

import base64
import os
import socket
import struct
import zipfile
from pathlib import Path

import pytest

from blender_addon.core.files.meshes import usd_names
from blender_addon.core.files.meshes.fbx_names import (
    is_struck_out,
    not_to_follow,
    packed_not_to_decode,
    stored_names,
    write_without,
)
from blender_addon.core.files.meshes.ply import FileProblem
from blender_addon.core.files.plain_files import is_plain, lies_within, near_names, plain_file
from blender_addon.core.files.references import find_beside, follow


def announced(width: int, height: int) -> bytes:
    """A grey PNG by its header alone (ISO/IEC 15948, 11.2.2), which is all that is looked at."""
    return b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + struct.pack(">IIBB", width, height, 8, 0) + b"\0" * 1000


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """A scan's folder with a picture, a folder of pictures, links out of it, a pipe; and a secret beside the folder."""
    folder = tmp_path / "scan"
    (folder / "textures").mkdir(parents=True)
    (tmp_path / "secret.png").write_bytes(b"secret")
    (folder / "owl.png").write_bytes(announced(20, 20))
    (folder / "textures" / "Über.PNG").write_bytes(b"over")
    (folder / "link.png").symlink_to(tmp_path / "secret.png")
    (folder / "inner.png").symlink_to("owl.png")
    (folder / "away").symlink_to(tmp_path)
    (folder / "loop.png").symlink_to("loop.png")
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "pipe.png")
    return folder


@pytest.mark.parametrize(
    ("written", "end"),
    [
        ("owl.png", "owl.png"), ("./owl.png", "owl.png"), ("textures/../owl.png", "owl.png"), ("inner.png", "owl.png"),
        ("textures\\..\\owl.png", "owl.png"), ("none.png", ""), ("", ""), ("a\0b.png", ""), ("x" * 5000, ""),
        ("//server/share/owl.png", ""), ("\\\\server\\share\\owl.png", ""), ("https://example.org/owl.png", ""),
        ("C:\\scans\\owl.png", ""),
    ],
)  # fmt: skip
def test_what_lies_in_the_folder_is_found(tree: Path, written: str, end: str) -> None:
    found = follow(written, tree)
    assert found.refused == ""
    assert (found.path is None and not end) or found.path == (tree / end).resolve()


@pytest.mark.parametrize(
    "written", ["../secret.png", "..\\secret.png", "link.png", "away/secret.png", "textures/../../secret.png", "ABSOLUTE"]
)
def test_what_lies_outside_is_refused_unless_the_sheet_names_it(tree: Path, written: str) -> None:
    written = written.replace("ABSOLUTE", str(tree.parent / "secret.png"))
    found = follow(written, tree)
    assert found.path is None and "outside the scan's own folder" in found.refused
    secret = (tree.parent / "secret.png").resolve()
    assert follow(written, tree, allowed={secret}).path == secret


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_what_is_no_plain_file_is_refused_by_its_status(tree: Path) -> None:
    with socket.socket(socket.AF_UNIX) as end:
        end.bind(str(tree / "s.png"))
        for name, words in (("pipe.png", "named pipe"), ("s.png", "socket"), ("textures", "folder")):
            assert words in follow(name, tree).refused
            assert not is_plain(tree / name)
    with pytest.raises(FileProblem, match="device"):
        plain_file(Path("/dev/null"))
    with pytest.raises(FileProblem, match="leads back to itself"):
        plain_file(tree / "loop.png")


def test_what_is_missing_is_reported_with_its_folder_and_near_names(tree: Path) -> None:
    for path, words in (
        (tree / "owls.png", f'no such file in "{tree}"; did you mean "owl.png"'),
        (tree / "none" / "owl.png", f'no folder "{tree / "none"}"'),
        (tree / "owl.png" / "x.obj", 'owl.png" in its path is a file, not a folder'),
        (tree / ("x" * 300), "too long"),
        (tree / ("x/" * 3000), "letters long"),
        (Path("a\0b"), "zero byte"),
    ):
        with pytest.raises(FileProblem) as caught:
            plain_file(path)
        assert words in str(caught.value)
    assert near_names(tree / "OWL.jpg") == ["owl.png"]
    assert lies_within(tree / "textures" / "x", tree) and not lies_within(tree / "away" / "x", tree)


def test_names_of_another_computer_are_found_by_their_bare_name(tree: Path) -> None:
    """Letters' case and the way an accent is written may differ; a file of that name in the folder goes before one outside."""
    folders = [tree, tree / "textures"]
    scan = tree / "owl.obj"
    assert find_beside("C:\\Users\\me\\OWL.png", scan, folders).path == (tree / "owl.png").resolve()
    decomposed = "U\u0308ber.png"
    assert find_beside(f"D:/x/{decomposed}", scan, folders).path == (tree / "textures" / "Über.PNG").resolve()
    assert find_beside("../owl.png", scan, folders).path == (tree / "owl.png").resolve()
    assert find_beside("../secret.png", scan, folders).refused
    assert not find_beside("nothing.png", scan, folders).refused


def binary_fbx(*names: bytes) -> bytes:
    """Bytes as an FBX stores names: a node's name, S, the length, the text."""
    rows = b"".join(b"\x10RelativeFilenameS" + struct.pack("<I", len(name)) + name + b"\0" * 13 for name in names)
    return b"Kaydara FBX Binary  \0\x1a\0" + struct.pack("<I", 7400) + rows


@pytest.mark.parametrize("binary", [True, False])
def test_an_fbx_loses_the_names_that_lead_outside(tree: Path, binary: bool) -> None:
    secret = str(tree.parent / "secret.png").encode()
    names = [b"owl.png", b"../secret.png", secret, b"C:\\x\\pipe.png", b"none.png"]
    text = b"; FBX 7.4.0 project file\n" + b"".join(b'RelativeFilename: "' + name + b'"\n' for name in names)
    file = tree / "a.fbx"
    file.write_bytes(binary_fbx(*names) if binary else text)
    found = stored_names(file)
    assert [name.text.encode() for name in found] == names
    refused = not_to_follow(file, found, ())
    assert [name.text.encode() for name in refused] == [names[1], names[2], *([names[3]] if hasattr(os, "mkfifo") else [])]
    write_without(file, tree / "b.fbx", refused)
    copy = (tree / "b.fbx").read_bytes()
    assert len(copy) == file.stat().st_size and b"owl.png" in copy and b"none.png" in copy and b"secret" not in copy


@pytest.mark.parametrize("binary", [True, False])
def test_an_fbx_loses_pictures_that_announce_too_much(tree: Path, binary: bool) -> None:
    """Named ones, and those packed in it, which stay as long as they were."""
    (tree / "vast.png").write_bytes(announced(60_000, 60_000))
    vast, small = announced(60_000, 60_000), announced(20, 20)
    if binary:
        rows = b"".join(b"\x07ContentR" + struct.pack("<I", len(data)) + data for data in (small, vast))
        data = binary_fbx(b"vast.png", b"owl.png") + rows
    else:
        rows = b"".join(b'Content: ,\n"' + base64.b64encode(data) + b'"\n' for data in (small, vast))
        data = b'; FBX 7.4.0 project file\nRelativeFilename: "vast.png"\nRelativeFilename: "owl.png"\n' + rows
    file = tree / "a.fbx"
    file.write_bytes(data)
    names = stored_names(file)
    assert [name.text for name in not_to_follow(file, names, ())] == ["vast.png"]
    packed = packed_not_to_decode(file, names)
    assert [(name.text, "60,000 x 60,000" in why.refused) for name, why in packed.items()] == [("owl.png", True)]
    write_without(file, tree / "b.fbx", packed)
    copy = (tree / "b.fbx").read_bytes()
    assert len(copy) == len(data)
    as_stored = (lambda data: data) if binary else base64.b64encode
    assert as_stored(small) in copy and as_stored(vast) not in copy
    if binary:
        assert is_struck_out(copy[-len(vast) :]) and not is_struck_out(small)


def test_a_usd_is_refused_pictures_that_announce_too_much(tree: Path) -> None:
    """By name, and in numbered tiles."""
    for name in ("vast.png", "skin.1001.png"):
        (tree / name).write_bytes(announced(20_000, 20_000))
    (tree / "skin.1002.png").write_bytes(announced(20, 20))
    names = ("./vast.png", "./owl.png", "./skin.<UDIM>.png", "./none.png")
    (tree / "a.usda").write_text("#usda 1.0\n" + "".join(f"asset x{n} = @{name}@\n" for n, name in enumerate(names)))
    found = usd_names.refused_assets(tree / "a.usda")
    assert [(each.shown, "20,000 x 20,000" in each.refused) for each in found] == [("vast.png", True), ("skin.1001.png", True)]


def crate(tokens: bytes) -> bytes:
    """A crate file of version 0.8 with nothing but a table of tokens, one LZ4 block of letters alone."""
    count = len(tokens)
    block = bytes([0xF0]) + b"\xff" * ((count - 15) // 255) + bytes([(count - 15) % 255]) + tokens
    table = struct.pack("<QQQ", tokens.count(b"\0"), count, len(block) + 1) + b"\0" + block
    head = b"PXR-USDC" + bytes([0, 8, 0, 0, 0, 0, 0, 0]) + struct.pack("<q", 88 + len(table)) + b"\0" * 64
    return head + table + struct.pack("<Q", 1) + struct.pack("<16sqq", b"TOKENS", 88, len(table))


def test_a_usd_is_followed_layer_by_layer(tree: Path) -> None:
    (tree / "inner.usda").write_text('#usda 1.0\ndef "A" (references = @../other.usda@) {}\n')
    (tree / "a.usda").write_text("#usda 1.0\n(subLayers = [@./inner.usda@])\nasset x = @owl.png@\nasset y = @link.png@\n")
    (tree.parent / "other.usda").write_text("#usda 1.0\n")
    assert {each.shown for each in usd_names.refused_assets(tree / "a.usda")} == {"link.png", "other.usda"}
    (tree / "b.usdc").write_bytes(crate(b"Mesh\0points\0../secret.png\0owl.png\0none.png\0"))
    assert [each.shown for each in usd_names.refused_assets(tree / "b.usdc")] == ["secret.png"]
    with zipfile.ZipFile(tree / "c.usdz", "w") as pack:
        pack.write(tree / "b.usdc", "b.usdc")
    assert [each.shown for each in usd_names.refused_assets(tree / "c.usdz")] == ["secret.png"]


def test_damaged_usd_tables_are_reported(tree: Path) -> None:
    """Every damaged byte ends in names or in a problem; a damaged place of a table in a problem."""
    whole = crate(b"Mesh\0points\0../secret.png\0owl.png\0none.png\0")
    reported = set()
    for place in range(8, len(whole)):
        (tree / "d.usdc").write_bytes(whole[:place] + bytes([whole[place] ^ 0xFF]) + whole[place + 1 :])
        try:
            usd_names.refused_assets(tree / "d.usdc")
        except FileProblem:
            reported.add(place)
    assert reported >= {*range(16, 24), *range(182, 190)}  # where the list of tables begins, and where the tokens do


def test_lz4_blocks_unpack_as_the_format_says() -> None:
    """Five letters, then a match of nine that overlaps itself, then the last letters (lz4.org, block format)."""
    block = bytes([0x55]) + b"abcde" + b"\x02\x00" + bytes([0x30]) + b"xyz"
    assert usd_names.lz4_block(block, 100) == b"abcde" + b"dedededed" + b"xyz"
    with pytest.raises(ValueError, match="damaged"):
        usd_names.lz4_block(bytes([0x1F]) + b"a" + b"\x01\x00" + b"\xff" * 20 + b"\x00", 100)
