"""Does the tab notice each change of a setting, though it reads the settings only when something stored has changed?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import bpy
import pytest

import blender_addon
from blender_addon.job.settings import specs
from blender_addon.steps import catalogue
from blender_addon.ui import job_state
from blender_addon.ui.on_screen import DATA, sheet_of


@pytest.fixture(autouse=True)
def registered() -> Iterator[None]:
    """The add-on enabled in an empty scene that has two scans and props of its own."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    blender_addon.register()
    job = bpy.context.scene.bozzetto
    for name in ("/scans/piece.obj", "/scans/stand.obj"):
        job.intake.scans.add().file = name
    job.tabletop.collection = bpy.data.collections.new("Tools")
    job.orientation.use_height, job.orientation.height = True, 0.08
    yield
    blender_addon.unregister()


def _by_unit() -> None:
    bpy.context.scene.unit_settings.scale_length = 0.5


def _by_name() -> None:
    bpy.data.collections["Tools"].name = "My tools"


def _by_removal() -> None:
    bpy.data.collections.remove(bpy.data.collections["Tools"])


CHANGES: dict[str, Callable[[Any], None]] = {
    "a choice": lambda job: setattr(job.intake, "unit", "mm"),
    "a switch": lambda job: setattr(job.intake, "find_textures", False),
    "automatic again": lambda job: setattr(job.orientation, "use_height", False),
    "a length": lambda job: setattr(job.orientation, "height", 0.0801),
    "unset": lambda job: job.orientation.property_unset("height"),
    "a text": lambda job: setattr(job.tabletop, "things", "roller"),
    "a row's field": lambda job: setattr(job.intake.scans[1], "role", "stand"),
    "a row more": lambda job: job.intake.scans.add(),
    "a row less": lambda job: job.intake.scans.remove(1),
    "rows in another order": lambda job: job.intake.scans.move(0, 1),
    "the first panel's scan": lambda job: setattr(job, "scan", "/scans/other.obj"),
    "another unit of the scene": lambda job: _by_unit(),
    "a new name of what is named": lambda job: _by_name(),
    "what is named is gone": lambda job: _by_removal(),
}


@pytest.mark.parametrize("change", CHANGES)
def test_every_change_is_noticed_at_the_next_redraw(change: str) -> None:
    scene = bpy.context.scene
    before = job_state.refreshed(scene)
    assert job_state.refreshed(scene) is before and job_state.state_of(scene) is before
    CHANGES[change](scene.bozzetto)
    after, read = job_state.refreshed(scene), sheet_of(scene, catalogue())
    assert (after.sheet.name, after.sheet.settings) == (read.name, read.settings)
    assert (after.sheet.name, after.sheet.settings) != (before.sheet.name, before.sheet.settings)


def test_no_row_of_a_table_names_a_data_block() -> None:
    """If one did, a new name of it would not be noticed."""
    rows = [spec.row for step in catalogue() for spec in specs(step.settings).values() if spec.row is not None]
    assert rows and not [spec for row in rows for spec in specs(row).values() if spec.kind in DATA]


def test_each_scene_has_its_own_state() -> None:
    scene = bpy.context.scene
    other = bpy.data.scenes.new("Other")
    other.bozzetto.intake.unit = "cm"
    assert job_state.refreshed(scene).sheet["intake"].unit == "auto"
    assert job_state.refreshed(other).sheet["intake"].unit == "cm"
    assert job_state.refreshed(scene).sheet["intake"].unit == "auto"
