"""Are glTF files with wrong numbers, bounds and links reported before an importer takes memory or answers with a traceback?"""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

import pytest

from blender_addon.core.files.meshes import gltf
from blender_addon.core.files.meshes.gltf_check import check_gltf
from blender_addon.core.files.meshes.gltf_copy import write_copy
from blender_addon.core.files.meshes.gltf_pictures import pictures
from blender_addon.core.files.meshes.ply import FileProblem
from tests.glb_files import TRIANGLE, glb, scene_of, with_picture
from tests.scan_shapes import box

POINT = TRIANGLE["accessors"][0]
NODES: dict[str, Any] = {"nodes": [{"mesh": 0}], "scenes": [{"nodes": [0]}], "scene": 0}


def accessor(**changed: Any) -> dict[str, Any]:
    return {"accessors": [{**POINT, **changed}]}


def primitive(**changed: Any) -> dict[str, Any]:
    return {"meshes": [{"primitives": [{"attributes": {"POSITION": 0}, **changed}]}]}


def two_accessors(second: dict[str, Any], **changed: Any) -> dict[str, Any]:
    return {"accessors": [POINT, second], **primitive(**changed)}


CORNERS = {"bufferView": 0, "componentType": 5121, "count": 3, "type": "SCALAR"}


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"asset": {}}, "no version"),
        ({"asset": {"version": "1.0"}}, "only 2.0"),
        ({"asset": {"version": 2.0}}, "only 2.0"),
        ({"meshes": {}}, "not a list of tables"),
        ({"meshes": [{}]}, "no list of primitives"),
        ({"meshes": [{"primitives": [7]}]}, "no list of primitives"),
        (primitive(attributes={"POSITION": 7}), "POSITION 7, and there are 1"),
        (primitive(attributes={"POSITION": -1}), "POSITION = -1"),
        (primitive(attributes={"POSITION": "0"}), "POSITION = '0'"),
        (primitive(attributes=[0]), "not a table"),
        (primitive(mode=9), "unknown kind"),
        (primitive(mode=0), "points or lines but no faces"),
        (primitive(material=0), "material 0, and there are 0"),
        (accessor(count=3.0), r"count = 3\.0"),
        (accessor(count=True), "count = True"),
        (accessor(count=0), "count = 0"),
        (accessor(count=4), "beyond its data"),
        (accessor(count=10**400), "count = 1000"),
        (accessor(byteOffset=-4), "byteOffset = -4"),
        (accessor(byteOffset=4), "beyond its data"),
        (accessor(componentType=5130), "unknown type"),
        (accessor(componentType=[]), "unknown type"),
        (accessor(type="VEC9"), "unknown type"),
        (accessor(type="SCALAR"), "not points"),
        (accessor(bufferView=1), "bufferView 1, and there are 1"),
        ({"accessors": [{"componentType": 5126, "count": 10**9, "type": "VEC3"}]}, "have no data"),
        (accessor(sparse={"count": 5}), "beyond its data"),
        (accessor(sparse=[]), "not a table"),
        ({"bufferViews": [{"buffer": 0, "byteLength": 40}]}, "beyond its data"),
        ({"bufferViews": [{"buffer": 0, "byteLength": -1}]}, "byteLength = -1"),
        ({"bufferViews": [{"buffer": 0, "byteLength": 36, "byteStride": 0}]}, "byteStride = 0"),
        ({"bufferViews": [{"buffer": 3, "byteLength": 36}]}, "buffer 3, and there are 1"),
        ({"buffers": [{"byteLength": 10**12}]}, "cut short"),
        ({"buffers": [{"byteLength": 36, "uri": 7}]}, "not text"),
        ({"buffers": [{"byteLength": 36, "uri": "data:x;base64,AAAA"}]}, "cut short"),
        ({"buffers": [{"byteLength": 36, "uri": "data:x;base64,????"}]}, "damaged"),
        ({"buffers": [{"byteLength": 36, "uri": "data:text/plain,abc"}]}, "not base64"),
        ({"buffers": [{"byteLength": 36, "uri": "none.bin"}]}, "missing"),
        ({"buffers": [{"byteLength": 36, "uri": "../outside.bin"}]}, "outside the scan's own folder"),
        (two_accessors({**CORNERS, "componentType": 5126}, indices=1), "not whole numbers"),
        (
            two_accessors({**CORNERS, "count": 4, "bufferView": 0}, attributes={"POSITION": 0, "TEXCOORD_0": 1}),
            "several lengths",
        ),
        (two_accessors({"componentType": 5121, "count": 10**9, "type": "SCALAR"}, indices=1), "have no data"),
        (two_accessors({"componentType": 5126, "count": 10**9, "type": "VEC3"}), "1,000,000,000 rows without any data"),
        ({"nodes": [{"children": [1]}, {"children": [0]}]}, "within itself"),
        ({"nodes": [{"children": [2]}, {"children": [2]}, {}]}, "within two others"),
        ({"nodes": [{"children": [n + 1]} for n in range(300)] + [{"mesh": 0}]}, "200 deep"),
        ({"nodes": [{"children": 3}]}, "no list of children"),
        ({"nodes": [{"mesh": 4}]}, "mesh 4, and there are 1"),
        ({"nodes": [{"matrix": [1] * 15}]}, "list of 16 numbers"),
        ({"nodes": [{"translation": [0, 0, 1e40]}]}, "list of 3 numbers"),
        ({"scenes": [{"nodes": 3}]}, "no list of nodes"),
        ({"scenes": [{"nodes": [3]}]}, "node 3, and there are 0"),
        ({"scene": 3}, "scene 3, and there are 0"),
        ({"textures": [{"source": 5}]}, "source 5, and there are 0"),
        ({"materials": [{"pbrMetallicRoughness": {"baseColorTexture": {"index": 1}}}]}, "index 1, and there are 0"),
        ({"extensionsRequired": ["KHR_texture_basisu"]}, "KTX2"),
        ({"extensionsRequired": "x"}, "not a list"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, changed: dict[str, Any], words: str) -> None:
    (tmp_path.parent / "outside.bin").write_bytes(bytes(64))
    file = tmp_path / "a.glb"
    file.write_bytes(glb({**TRIANGLE, **changed}, bytes(36)))
    with pytest.raises(FileProblem, match=words):
        check_gltf(gltf.read_gltf(file))


def test_a_part_that_is_repeated_without_end_is_counted(tmp_path: Path) -> None:
    """A hundred bytes can show one mesh a million times."""
    content, views = scene_of(box((1.0, 1.0, 1.0), steps=20))
    binary = b"".join(views)
    starts = [0, len(views[0]), len(views[0]) + len(views[1])]
    content |= {
        "buffers": [{"byteLength": len(binary)}],
        "bufferViews": [{"buffer": 0, "byteOffset": s, "byteLength": len(v)} for s, v in zip(starts, views, strict=True)],
        "nodes": [{"mesh": 0}] * 60_000,
    }
    (tmp_path / "a.glb").write_bytes(glb(content, binary))
    with pytest.raises(FileProblem, match="288,000,000 triangles"):
        check_gltf(gltf.read_gltf(tmp_path / "a.glb"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"[" * 2000 + b"]" * 2000, "damaged|too deep"),
        (b'{"asset":' + b"[" * 200_000 + b"]" * 200_000 + b"}", "too deep"),
        (b'{"asset": NaN}', "no valid JSON"),
        (b'{"asset": ' + b"9" * 5000 + b"}", "no valid JSON"),
        (b"[1, 2]", "no table"),
        (b'"text"', "no table"),
        (b"\xff\xfe{\0}\0", "no valid JSON"),
    ],
)
def test_what_is_no_description(tmp_path: Path, text: bytes, words: str) -> None:
    (tmp_path / "a.gltf").write_bytes(text)
    with pytest.raises(FileProblem, match=words):
        check_gltf(gltf.read_gltf(tmp_path / "a.gltf"))


def test_embedded_data_have_a_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gltf, "MOST_EMBEDDED", 1000)
    assert len(gltf.embedded("data:application/octet-stream;base64," + base64.b64encode(bytes(900)).decode())) == 900
    with pytest.raises(FileProblem, match="export the scan as GLB"):
        gltf.embedded("data:application/octet-stream;base64," + base64.b64encode(bytes(1200)).decode())


def test_pictures_are_looked_at_where_they_lie(tmp_path: Path) -> None:
    """Inside the file, in an address, beside it, outside it, missing: the copy for the importer names only what it may read."""
    image_module = pytest.importorskip("PIL.Image")
    folder = tmp_path / "scan"
    folder.mkdir()
    for place in (tmp_path / "outside.png", folder / "beside.png", folder / "sub" / "deep.png"):
        place.parent.mkdir(exist_ok=True)
        image_module.new("RGB", (8, 4), (200, 100, 50)).save(place)
    (folder / "link.png").symlink_to(tmp_path / "outside.png")
    inline = "data:image/png;base64," + base64.b64encode((folder / "beside.png").read_bytes()).decode()
    wanted = {
        "beside.png": "", "sub/deep.png": "", "./sub/../beside.png": "", inline: "", "../outside.png": "outside",
        "%2e%2e/outside.png": "outside", "..\\outside.png": "outside", str(tmp_path / "outside.png"): "outside",
        "link.png": "outside", "none.png": "missing", "sub": "folder", "data:image/png;base64,AAAA": "not a picture",
        "//server/share/x.png": "missing", "https://example.org/x.png": "missing",
    }  # fmt: skip
    for uri, words in wanted.items():
        content = with_picture({**TRIANGLE, **NODES}, {"uri": uri})
        (folder / "a.glb").write_bytes(glb(content, bytes(36)))
        read = gltf.read_gltf(folder / "a.glb")
        check_gltf(read)
        (found,) = pictures(read)
        assert bool(found.refused) == bool(words) and words in found.refused, uri
        write_copy(read, tmp_path / "copy.gltf", [found])
        copy = json.loads((tmp_path / "copy.gltf").read_bytes())
        assert ("source" in copy["textures"][0]) == (not words)
        if found.file is not None:
            assert copy["images"][0]["uri"].startswith(str(folder))
        elif not uri.startswith("data:"):
            assert "uri" not in copy["images"][0]
