"""Does a length that is typed in a scene of other units mean what it says? Settings on screen, in any unit system."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
import pytest

import blender_addon
from blender_addon.job.settings import specs
from blender_addon.job.sheet import blank, override
from blender_addon.steps import catalogue
from blender_addon.ui.on_screen import sheet_of
from blender_addon.ui.properties import fill

UNITS = [("METRIC", 1.0), ("METRIC", 0.001), ("METRIC", 0.01), ("IMPERIAL", 0.3048), ("NONE", 0.001)]


@pytest.fixture(params=UNITS, ids=lambda pair: f"{pair[0]} {pair[1]}")
def scene(request: Any) -> Iterator[Any]:
    """A scene in which one unit is `scale` metres, with the settings registered."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    mine = not blender_addon.registered()
    if mine:
        blender_addon.register()
    found = bpy.context.scene
    found.unit_settings.system, found.unit_settings.scale_length = request.param
    yield found
    if mine:
        blender_addon.unregister()


def metres_a_unit(scene: Any) -> float:
    """What Blender multiplies a length field by to show it: its unit scale, where it has units at all."""
    return 1.0 if scene.unit_settings.system == "NONE" else scene.unit_settings.scale_length


def test_a_typed_length_means_what_it_says(scene: Any) -> None:
    scene.bozzetto.orientation.use_height = True
    scene.bozzetto.orientation.height = 0.042 / metres_a_unit(scene)  # what Blender keeps when "42 mm" is typed
    assert sheet_of(scene, catalogue())["orientation"].height == pytest.approx(42.0, rel=1e-5)


def test_a_sheet_comes_back_as_it_went(scene: Any) -> None:
    sheet = blank(catalogue(), folder=Path.cwd())
    for words in ("orientation.height=42", "orientation.point_a=[1, 2, 3]", "tabletop.board_width=95", "debris.keep_off=2.5"):
        override(sheet, words)
    fill(scene, sheet, catalogue())
    back = sheet_of(scene, catalogue())
    assert back["orientation"].height == pytest.approx(42.0, rel=1e-5)
    assert back["tabletop"].board_width == pytest.approx(95.0, rel=1e-5)
    assert back["debris"].keep_off == pytest.approx(2.5, rel=1e-5)
    assert back["orientation"].point_a == pytest.approx((1.0, 2.0, 3.0), rel=1e-5)


def test_what_was_never_typed_is_what_the_sheet_says_by_itself(scene: Any) -> None:
    untouched, blank_sheet = sheet_of(scene, catalogue()), blank(catalogue())
    assert untouched["debris"].keep_off == blank_sheet["debris"].keep_off
    scene.bozzetto.scan = "owl.obj"  # from here on the fields are shown
    assert scene.bozzetto.debris.keep_off * metres_a_unit(scene) == pytest.approx(0.0012, rel=1e-5)
    assert sheet_of(scene, catalogue())["debris"].keep_off == pytest.approx(1.2, rel=1e-5)


def test_limits_hold_in_these_units_too(scene: Any) -> None:
    scene.bozzetto.tabletop.use_board_width = True
    scene.bozzetto.tabletop.board_width = 1e6
    assert sheet_of(scene, catalogue())["tabletop"].board_width == pytest.approx(400.0, rel=1e-5)
    assert scene.bozzetto.tabletop.board_width * metres_a_unit(scene) == pytest.approx(0.4, rel=1e-5)


def test_a_length_that_is_switched_on_starts_at_one_size_in_all_units(scene: Any) -> None:
    """Shown and read are the same: a middling value between its limits, which is what the tab shows at one metre a unit."""
    tabletop, limits = scene.bozzetto.tabletop, specs(blank(catalogue())["tabletop"])["board_width"]
    tabletop.use_board_width = True
    start = sheet_of(scene, catalogue())["tabletop"].board_width
    assert limits.low < start < limits.high
    assert tabletop.board_width * metres_a_unit(scene) == pytest.approx(start / 1000.0, rel=1e-5)
    assert start == pytest.approx(80.0, rel=1e-5)  # the root of 15 x 400, to one figure
    tabletop.board_width = 0.12 / metres_a_unit(scene)
    tabletop.use_board_width = False
    tabletop.use_board_width = True
    assert sheet_of(scene, catalogue())["tabletop"].board_width == pytest.approx(120.0, rel=1e-5)


def test_a_picture_and_a_collection_that_a_sheet_names_are_chosen_on_the_screen() -> None:
    """What lies in the .blend is chosen by its name; what is not there any more is left empty, and nothing else is taken."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    mine = not blender_addon.registered()
    if mine:
        blender_addon.register()
    try:
        scene, image, own = bpy.context.scene, bpy.data.images.new("where", 4, 4), bpy.data.collections.new("My bench")
        sheet = blank(catalogue())
        override(sheet, 'debris.mask="where"')
        override(sheet, 'tabletop.collection="My bench"')
        fill(scene, sheet, catalogue())
        assert scene.bozzetto.debris.mask == image and scene.bozzetto.tabletop.collection == own
        back = sheet_of(scene, catalogue())
        assert (back["debris"].mask, back["tabletop"].collection) == ("where", "My bench")
        override(sheet, 'debris.mask="gone"')
        fill(scene, sheet, catalogue())
        assert scene.bozzetto.debris.mask is None
    finally:
        if mine:
            blender_addon.unregister()
    assert not blender_addon.registered(), "nothing of it stays when it is disabled"
