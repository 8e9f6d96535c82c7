"""Is a plain GLB that is read from its own tables what Blender's importer makes of it, and is anything else left to that?"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from blender_addon.core.files.meshes.gltf import read_gltf
from blender_addon.scene.scan import plain_glb
from blender_addon.scene.scan.importers import Imported, import_scan
from scripts.bench.corpus import scans

pytestmark = pytest.mark.usefixtures("empty_scene")
FIGURE = scans.figure(3)
NEVER = 1 << 30
Change = Callable[[dict[str, Any], list[bytes]], None]


def written(folder: Path, change: Change | None = None) -> Path:
    """The figure as a GLB with a picture, its tables changed. Views: corners, points, UVs, picture."""
    content, _ = scans._gltf_parts(FIGURE)
    views = [FIGURE.faces.astype("<u4").tobytes(), FIGURE.points.astype("<f4").tobytes(), FIGURE.uv.astype("<f4").tobytes()]
    views.append(scans.png(16, 16))
    content["images"], content["bufferViews"] = [{"bufferView": 3, "mimeType": "image/png"}], [{} for _ in views]
    if change is not None:
        change(content, views)
    data = b""
    for table, view in zip(content["bufferViews"], views, strict=True):
        table |= {"buffer": 0, "byteOffset": len(data), "byteLength": len(view)}
        data += view + b"\0" * (-len(view) % 4)
    path = folder / "figure.glb"
    path.write_bytes(scans.glb(content, data))
    return path


def both_ways(path: Path, patch: pytest.MonkeyPatch) -> tuple[Imported, Imported]:
    """A file as read from its tables and as Blender's importer alone reads it."""
    found = []
    for fewest in (1, NEVER):
        patch.setattr(plain_glb, "FEWEST", fewest)
        found.append(import_scan(path))
    return found[0], found[1]


def short_corners(content: dict[str, Any], views: list[bytes]) -> None:
    """Corners of 16 bits."""
    content["accessors"][0]["componentType"], views[0] = 5123, FIGURE.faces.astype("<u2").tobytes()


def interleaved(content: dict[str, Any], views: list[bytes]) -> None:
    """Points and UVs row by row in one view."""
    rows = np.concatenate([FIGURE.points, FIGURE.uv], axis=1).astype("<f4")
    views[1], content["bufferViews"][1]["byteStride"] = rows.tobytes(), 20
    content["accessors"][2] |= {"bufferView": 1, "byteOffset": 12}


def unused_points(content: dict[str, Any], views: list[bytes]) -> None:
    """Every third face is gone, so that some points have none, and one is there twice and another has no area."""
    faces = FIGURE.faces[np.arange(len(FIGURE.faces)) % 3 != 0]
    faces = np.concatenate([faces[faces.min(axis=1) > 4], faces[-1:], [[9, 9, 10]]])
    views[0], content["accessors"][0]["count"] = faces.astype("<u4").tobytes(), faces.size


def placed(content: dict[str, Any], views: list[bytes]) -> None:
    """Turned, scaled and moved within another part."""
    content["nodes"] = [
        {"children": [1], "translation": [1.0, 2.0, 3.0]},
        {"mesh": 0, "name": "figure", "rotation": [0.5, 0.5, 0.5, 0.5], "scale": [2.0, 2.0, 2.0]},
    ]


def lost_numbers(content: dict[str, Any], views: list[bytes]) -> None:
    """UVs that are not numbers."""
    uv = FIGURE.uv.astype("<f4").copy()
    uv[3] = np.nan
    views[2] = uv.tobytes()


def without_uv(content: dict[str, Any], views: list[bytes]) -> None:
    """No UVs and no material."""
    del content["meshes"][0]["primitives"][0]["attributes"]["TEXCOORD_0"], content["meshes"][0]["primitives"][0]["material"]


def moved_picture(content: dict[str, Any], views: list[bytes]) -> None:
    """KHR_texture_transform, and a mode that is written out."""
    content["extensionsUsed"] = ["KHR_texture_transform"]
    texture = content["materials"][0]["pbrMetallicRoughness"]["baseColorTexture"]
    texture["extensions"] = {"KHR_texture_transform": {"offset": [0.2, 0.1], "scale": [0.5, 0.25], "rotation": 0.3}}
    content["meshes"][0]["primitives"][0]["mode"] = 4


@pytest.mark.parametrize(
    "change", [None, short_corners, interleaved, unused_points, placed, lost_numbers, without_uv, moved_picture]
)
def test_it_is_what_the_importer_makes_of_it(change: Change | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path, change)
    assert plain_glb.plain_part(read_gltf(path)) is None  # too small to be worth it
    own, theirs = both_ways(path, monkeypatch)
    assert np.array_equal(own.mesh.faces, theirs.mesh.faces)
    assert np.array_equal(own.mesh.vertices, theirs.mesh.vertices)
    assert (own.mesh.uv is None) == (theirs.mesh.uv is None)
    assert own.mesh.uv is None or np.array_equal(own.mesh.uv, theirs.mesh.uv, equal_nan=True)
    facts = [
        (each.parts, each.reflected, each.dropped_vertices, each.repaired_numbers, each.remarks, each.in_metres, each.step)
        for each in (own, theirs)
    ]
    assert facts[0] == facts[1]
    for ours, other in zip(own.materials, theirs.materials, strict=True):
        assert (ours is None) == (other is None)
        assert ours is None or len(ours.node_tree.nodes) == len(other.node_tree.nodes)
    assert (own.same_block() is None) == (theirs.same_block() is None)


def two_parts(content: dict[str, Any], views: list[bytes]) -> None:
    content["meshes"][0]["primitives"] *= 2


def shown_twice(content: dict[str, Any], views: list[bytes]) -> None:
    content["nodes"] *= 2
    content["scenes"][0]["nodes"] = [0, 1]


def a_strip(content: dict[str, Any], views: list[bytes]) -> None:
    content["meshes"][0]["primitives"][0]["mode"] = 5


def two_sets_of_uvs(content: dict[str, Any], views: list[bytes]) -> None:
    content["meshes"][0]["primitives"][0]["attributes"]["TEXCOORD_1"] = 2


def changed_in_part(content: dict[str, Any], views: list[bytes]) -> None:
    views.append(np.array([0], "<u4").tobytes() + np.ones(3, "<f4").tobytes())
    content["bufferViews"].append({})
    sparse = {"count": 1, "indices": {"bufferView": 4, "componentType": 5125}, "values": {"bufferView": 4, "byteOffset": 4}}
    content["accessors"][1]["sparse"] = sparse


def in_16_bits(content: dict[str, Any], views: list[bytes]) -> None:
    content["extensionsUsed"] = ["KHR_mesh_quantization"]
    views[2] = (FIGURE.uv * 65535).astype("<u2").tobytes()
    content["accessors"][2] |= {"componentType": 5123, "normalized": True}


def without_corners(content: dict[str, Any], views: list[bytes]) -> None:
    del content["meshes"][0]["primitives"][0]["indices"]


def another_shape(content: dict[str, Any], views: list[bytes]) -> None:
    content["meshes"][0]["primitives"][0]["targets"] = [{"POSITION": 1}]


@pytest.mark.parametrize(
    "change",
    [two_parts, shown_twice, a_strip, two_sets_of_uvs, changed_in_part, in_16_bits, without_corners, another_shape],
)
def test_what_is_unusual_is_left_to_the_importer(change: Change, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plain_glb, "FEWEST", 1)
    assert plain_glb.plain_part(read_gltf(written(tmp_path))) is not None
    assert plain_glb.plain_part(read_gltf(written(tmp_path, change))) is None
