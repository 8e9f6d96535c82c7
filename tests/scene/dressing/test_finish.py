"""Does the finish add what it says: that much grain, fall-off, glare and softness, and no light?"""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon.core.dressing.light_setups import Room
from blender_addon.scene.dressing.lights import flat_object, make_room, matt_material
from blender_addon.scene.nodes.finish import diffraction_share, put_finish
from tests.scene.linear_render import linear_render

pytestmark = pytest.mark.usefixtures("empty_scene")
WIDTH, HEIGHT = 240, 160


def picture(amounts: dict[str, float] | None, folder: Path, *, edge: bool = False) -> np.ndarray:
    """(h, w) linear green of an even grey picture of 0.25, or of one whose right half is black."""
    scene = bpy.context.scene
    camera = bpy.data.objects.new("eye", bpy.data.cameras.new("eye"))
    camera.data.type, camera.data.ortho_scale = "ORTHO", 2.0
    scene.collection.objects.link(camera)
    scene.camera, scene.world = camera, make_room(Room(0.25, 0.25, 0.25, 6500.0, 6500.0), "even", 6500.0)
    if edge:
        black = flat_object("black", 2000.0, 4000.0, matt_material("black", (0.0, 0.0, 0.0)))
        black.location = (1.0, 0.0, -1.0)
        scene.collection.objects.link(black)
    assert put_finish(
        scene, None if amounts is None else {"Grain": 0.0, "Vignette": 0.0, "Glare": 0.0, "Softness": 0.0} | amounts
    )
    scene.cycles.pixel_filter_type = "BOX"
    return linear_render(scene, folder, size=(WIDTH, HEIGHT), samples=16)[..., 1]


def test_without_finish_and_with_all_at_nothing_the_picture_is_the_same(tmp_path: Path) -> None:
    plain = picture(None, tmp_path, edge=True)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    assert np.abs(picture({}, tmp_path, edge=True) - plain).max() < 2e-4  # half floats


def test_grain_has_the_deviation_asked_for_and_adds_no_light(tmp_path: Path) -> None:
    """5 % of the light; over 38,400 pixels the deviation is known to 0.4 %, the mean to 0.03 %."""
    values = picture({"Grain": 0.05}, tmp_path)
    assert values.std() / values.mean() == pytest.approx(0.05, rel=0.03)
    assert values.mean() == pytest.approx(0.25, rel=0.003)


def test_vignette_is_in_stops_at_the_corner(tmp_path: Path) -> None:
    values = picture({"Vignette": 1.0}, tmp_path)
    assert values[HEIGHT // 2, WIDTH // 2] == pytest.approx(0.25, rel=0.01)
    corners = [values[y, x] for y in (0, -1) for x in (0, -1)]
    assert corners == pytest.approx([0.125] * 4, rel=0.03)  # the last pixel's middle lies just inside of the corner


def test_softness_is_the_deviation_of_the_edge(tmp_path: Path) -> None:
    """A black edge blurred by 12.5 thousandths of 240 pixels, 3 pixels: the edge's slope has that deviation (10 %: Blender's
    kernel ends at three deviations and is sampled by whole pixels)."""
    rows = picture({"Softness": 12.5}, tmp_path, edge=True).mean(axis=0)
    slope = np.clip(-np.diff(rows), 0.0, None)[WIDTH // 2 - 25 : WIDTH // 2 + 25]
    place = np.arange(len(slope))
    middle = (place * slope).sum() / slope.sum()
    assert np.sqrt((slope * (place - middle) ** 2).sum() / slope.sum()) == pytest.approx(3.0, rel=0.1)


def test_glare_spreads_its_share_and_keeps_the_sum(tmp_path: Path) -> None:
    """Far from the edge the black half gets nothing, near it a part of 20 %; the whole picture keeps its light (1 %)."""
    plain = picture(None, tmp_path, edge=True)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    glowing = picture({"Glare": 0.2}, tmp_path, edge=True)
    assert glowing.mean() == pytest.approx(plain.mean(), rel=0.01)
    near = glowing[HEIGHT // 2, WIDTH // 2 + 2]
    assert 0.04 * 0.25 < near < 0.2 * 0.25
    assert glowing[HEIGHT // 2, -5] < 0.002 * 0.25


def test_diffraction_follows_the_airy_disc() -> None:
    """The Gaussian nearest to the Airy pattern is about a third of the disc's radius wide (radius 1.22 wavelength N: f/16 gives
    10.7 um at 550 nm): 0.42 wavelength N by Zhang, Zerubia & Olivo-Marin, Applied Optics 46 (2007), and 0.44 by the Airy
    pattern's width at half height, 1.03 wavelength N (Born & Wolf, Principles of Optics, 8.5), over 2.355; both from memory."""
    share = diffraction_share(16.0, 36.0)
    radius = 1000.0 * 1.2197 * 0.00055 * 16.0 / 36.0
    assert 0.34 <= share / radius <= 0.37
