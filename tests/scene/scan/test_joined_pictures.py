"""A scan of several pictures becomes one of one picture, and every face still shows what it showed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.rasters import bilinear
from blender_addon.core.srgb import encode
from blender_addon.scene.images import make_image, read_pixels
from blender_addon.scene.scan.joined_pictures import joined_pictures
from blender_addon.scene.scan.textures import Textures

pytestmark = pytest.mark.usefixtures("empty_scene")
UV = np.array([[[0.1, 0.1], [0.9, 0.1], [0.9, 0.9]], [[0.1, 0.1], [0.9, 0.9], [0.1, 0.9]]], np.float32)
PLAIN = [(0.5, 0.5, 0.5), (0.5, 0.5, 0.5), (0.2, 0.05, 0.01)]


def sloping(size: tuple[int, int], red: float) -> np.ndarray:
    """A picture (h, w, 3) whose green rises from left to right, and blue from below upwards."""
    height, width = size
    y, x = np.mgrid[0:height, 0:width]
    return np.stack([np.full(size, red), (x + 0.5) / width, (y + 0.5) / height], axis=-1).astype(np.float32)


def scan(*, shift: float = 0.0) -> TriangleMesh:
    """Three squares side by side, a slot each, all with the same layout."""
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], float)
    points = np.concatenate([corners + [2.0 * n, 0, 0] for n in range(3)])
    faces = np.concatenate([np.array([[0, 1, 2], [0, 2, 3]]) + 4 * n for n in range(3)]).astype(np.int32)
    uv = np.concatenate([UV + np.float32(shift), UV, UV])
    return TriangleMesh(points, faces, uv=uv, material=np.repeat([0, 1, 2], 2).astype(np.int32))


def sets(*, flipped: bool = False) -> list[Textures]:
    """A large and a small picture with a normal map to the first, and a material of one colour."""
    leaning = np.broadcast_to(np.array([0.5, 0.3, 0.9], np.float32), (64, 128, 3))
    return [
        Textures({"base": make_image("first", sloping((64, 128), 0.2)), "normal": make_image("n", leaning, data=True)},
                 flipped, {"base": "mtl", "normal": "name"}),
        Textures({"base": make_image("second", sloping((32, 32), 0.8))}, found={"base": "file"}),
        Textures(),
    ]  # fmt: skip


def seen(mesh: TriangleMesh, image: Any) -> np.ndarray:
    """(m, 3) what the middle of each face shows."""
    values = read_pixels(image)[..., :3]
    assert mesh.uv is not None
    x, y = (mesh.uv.mean(axis=1) * [values.shape[1], values.shape[0]] - 0.5).T
    return np.stack([bilinear(values[..., k], x, y) for k in range(3)], axis=1)


def test_every_face_shows_what_it_showed() -> None:
    """To 8 bits and half a texel of the small picture."""
    said: list[str] = []
    mesh, textures = joined_pictures(scan(), sets(), PLAIN, say=said.append)
    assert len(textures) == 1 and mesh.material is not None and not mesh.material.any()
    middle = UV.mean(axis=1)  # green is u, blue is v
    expected = [[red, *place] for red in (0.2, 0.8) for place in middle]
    expected += [encode(np.array(PLAIN[2], np.float32)).tolist()] * 2
    assert np.abs(seen(mesh, textures[0].images["base"]) - expected).max() < 0.02
    assert len(said) == 1 and "2 base pictures are joined into one of" in said[0]
    assert textures[0].found == {"base": "mtl", "normal": "name"}


@pytest.mark.parametrize(("flipped", "green"), [(False, 0.3), (True, 0.7)])
def test_normals_lean_the_same_way_and_are_flat_where_there_was_no_map(flipped: bool, green: float) -> None:
    """A map with its green downwards is turned over, since the joined one has one convention (+Y, as in glTF 2.0)."""
    mesh, textures = joined_pictures(scan(), sets(flipped=flipped), PLAIN, say=lambda words: None)
    found = seen(mesh, textures[0].images["normal"])
    assert found[:2] == pytest.approx(np.tile([0.5, green, 0.9], (2, 1)), abs=0.01)
    assert found[2:] == pytest.approx(np.tile([0.5, 0.5, 1.0], (4, 1)), abs=0.01)
    assert not textures[0].flipped and textures[0].images["normal"].colorspace_settings.name == "Non-Color"


def test_one_picture_stays_as_it_is_and_so_do_pictures_that_repeat() -> None:
    whole, said = sets(), list[str]()
    alone = [whole[0], Textures({"base": whole[0].images["base"]}), Textures()]
    mesh = scan()
    assert joined_pictures(mesh, alone, PLAIN, say=said.append) == (mesh, alone) and not said
    tiled = scan(shift=0.6)  # beyond the picture's edge
    kept, textures = joined_pictures(tiled, whole, PLAIN, say=said.append)
    assert kept is tiled and textures == whole and "repeat over the surface" in said[0]
