"""The installed add-on's looks without a window: a look taken from another job's sheet, a material chosen among the samples."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import bpy
import pytest

from tests.host.small_scan import run_until, write_knob

PACKAGE = "bl_ext.user_default.bozzetto"
LOOK = """\
bozzetto = 1

[intake]
scan = "another.obj"

[orientation]
height = 120.0

[separation]
stand = "no"

[material]
piece = "bronze"
patina = "green"

[lighting]
setup = "soft"
turn = 30.0
"""


def module(name: str) -> Any:
    return sys.modules[f"{PACKAGE}.{name}"]


@pytest.fixture
def job(installed: str, tmp_path: Path) -> Any:
    """A job with a scan of its own and a look's sheet beside it."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    if not hasattr(bpy.types.Scene, "bozzetto"):
        bpy.ops.preferences.addon_enable(module=installed)
    (tmp_path / "look.toml").write_text(LOOK, encoding="utf-8")
    settings = bpy.context.scene.bozzetto
    settings.scan = str(write_knob(tmp_path))
    settings.orientation.use_height, settings.orientation.height = True, 0.042
    return settings


def is_the_look_alone(job: Any) -> bool:
    kept = job.scan.endswith("knob.obj") and job.orientation.height == pytest.approx(0.042) and job.separation.stand == "auto"
    return kept and (job.material.piece, job.lighting.setup) == ("bronze", "soft")


def test_a_dropped_sheet_gives_its_look_alone(job: Any, tmp_path: Path) -> None:
    assert bpy.ops.bozzetto.drop_scan(filepath=str(tmp_path / "look.toml"), take="LOOK") == {"FINISHED"}
    assert is_the_look_alone(job)
    assert bpy.ops.bozzetto.drop_scan(filepath=str(tmp_path / "look.toml"), take="ALL") == {"FINISHED"}
    assert job.scan.endswith("another.obj") and job.orientation.height == pytest.approx(0.12)


def test_load_job_can_take_the_look_alone(job: Any, tmp_path: Path) -> None:
    assert bpy.ops.bozzetto.read_sheet(filepath=str(tmp_path / "look.toml"), only_look=True) == {"FINISHED"}
    assert is_the_look_alone(job)


def test_a_sample_is_a_material_with_its_variety(installed: str, tmp_path: Path) -> None:
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    scene = run_until(tmp_path, "material")
    samples = module("scene.surface.surfaces").samples()
    place = next(place for place, (_, kind, choice) in enumerate(samples) if kind == "bronze" and choice)
    assert bpy.ops.bozzetto.set_material(sample=place) == {"FINISHED"}
    assert scene.bozzetto.material.piece == "bronze"
    assert all(getattr(scene.bozzetto.material, name) == value for name, value in samples[place][2].items())
    assert "bronze" in module("ui.job_state").refreshed(scene).results["material"]["words"].lower()
    assert bpy.ops.bozzetto.set_material(sample=999) == {"CANCELLED"}
