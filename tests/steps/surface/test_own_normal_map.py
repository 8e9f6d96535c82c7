"""Is the fine form of a scan's own normal map kept, with and without a photo?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from blender_addon.scene import images
from blender_addon.steps.surface import relief
from tests.steps.surface.test_relief import done, laid, sheet, texture, words

pytestmark = pytest.mark.usefixtures("empty_scene")


def _bumps(size: int = 320) -> np.ndarray:
    """A normal map (h, w, 3) of waves of 2 mm along v, 0.3 steep, +Y, as stored."""
    v = 40 * ((np.arange(size) + 0.5) / size - 0.02) / 0.96
    slope = np.repeat(0.3 * np.cos(2 * np.pi * v / 2.0)[:, None], size, axis=1)
    normal = np.stack([0 * slope, -slope, np.ones_like(slope)], -1)
    return 0.5 + 0.5 * normal / np.linalg.norm(normal, axis=-1, keepdims=True)


def _wear(piece: Any, stored: np.ndarray) -> None:
    tree = piece.data.materials[0].node_tree
    picture, node = tree.nodes.new("ShaderNodeTexImage"), tree.nodes.new("ShaderNodeNormalMap")
    picture.image = images.make_image("Scan normals", stored, data=True, floating=True)
    tree.links.new(picture.outputs["Color"], node.inputs["Color"])
    tree.links.new(node.outputs["Normal"], tree.nodes["Principled BSDF"].inputs["Normal"])


@pytest.mark.parametrize("grooves", [0.25, 0.0])
def test_the_scan_s_own_normal_map_is_joined_to_what_is_recovered(grooves: float) -> None:
    """The photo shows the map's waves, which must not be counted twice, and perhaps grooves, which the map lacks."""
    stored = _bumps()
    place = laid(sheet(), texture(grooves=grooves, waves=0.3))
    _wear(place.piece, stored)
    result = done(place, relief)
    assert result.figures["own_form"]
    joined = place.stage.find("relief_normal", "piece")
    found, own = (values[16:-16, 16:-16, :3] * 2 - 1 for values in (images.read_pixels(joined), stored))
    rise, waves = -found[..., 1] / found[..., 2], -own[..., 1] / own[..., 2]
    assert 0.8 < float((rise * waves).sum() / (waves**2).sum()) < 1.2  # alone 1; twice 1.5 and more
    grooved = float(np.std(found[..., 0]))
    assert joined["strength"] == 1.0
    assert grooved > 0.06 if grooves else grooved < 0.05  # the grooves' own: 0.25 / sqrt 2 = 0.18


@pytest.mark.parametrize("picture", ["none", "plain", "vertices"])
def test_a_normal_map_without_a_photo_is_shown_as_it_is(picture: str) -> None:
    """A scan with a normal map and no photo, or one that is grey all over, or coloured vertices: the map is its fine form, in
    its own size."""
    stored, mesh = _bumps(), sheet()
    if picture == "vertices":
        random = np.random.default_rng(2).uniform(0.2, 0.8, (len(mesh.vertices), 4))
        mesh = replace(mesh, colours={"Color": random.astype(np.float32)})
    place = laid(mesh, np.full((64, 64, 3), 0.5) if picture == "plain" else None)
    _wear(place.piece, stored)
    result = done(place, relief)
    assert result.figures["own_form"] and not result.figures["found"]
    shown = place.stage.find("relief_normal", "piece")
    assert tuple(shown.size) == (320, 320) and shown["strength"] == 1.0
    found = images.read_pixels(shown)[16:-16, 16:-16, :3]
    assert float(np.abs(found - stored[16:-16, 16:-16]).max()) < 0.01  # two steps of 8 bits, of 0 to 1
    assert "all the fine relief there is" in words(place)
