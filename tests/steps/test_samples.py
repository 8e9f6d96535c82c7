"""Do the sheets and .blend files of earlier releases still open, with all that stands in them?"""

from __future__ import annotations

import shutil
import tomllib
from dataclasses import asdict
from pathlib import Path
from typing import Any

import bpy
import pytest

from blender_addon.cli import main
from blender_addon.job.settings import specs
from blender_addon.job.sheet import blank, read
from blender_addon.scene import roles
from blender_addon.scene.running.job_card import SHEET_TEXT
from blender_addon.scene.stage import Stage
from blender_addon.steps import catalogue

SAMPLES = Path(__file__).parents[1] / "samples"
RENAMED_STEPS = {"delighting": "albedo"}
"""Steps of the samples that are called otherwise today. A rename adds a line here and a migration; it never changes a
sample."""

SHAPES = ({"picture_width", "picture_height"}, {"width", "height"})
"""Pairs of fields of a camera or a shot that together gave a picture's shape, and are `aspect` today."""


def today(step: str, field: str = "") -> str:
    """What a step or a field of a sample is called today."""
    name = RENAMED_STEPS.get(step, step)
    if not field:
        return name
    settings = next(other.settings for other in catalogue() if other.name == name)
    return "aspect" if step == "camera" and field in SHAPES[0] else getattr(settings, "ALIASES", {}).get(field, field)


def tables(path: Path) -> dict[str, dict[str, Any]]:
    """The step tables as they stand in the file."""
    return {key: value for key, value in tomllib.loads(path.read_text(encoding="utf-8")).items() if isinstance(value, dict)}


def plain(value: Any) -> Any:
    """Tuples as lists and rows as tables, as TOML has them."""
    if isinstance(value, (list, tuple)):
        return [plain(part) for part in value]
    return {key: plain(part) for key, part in asdict(value).items()} if hasattr(value, "__dataclass_fields__") else value


@pytest.mark.parametrize("name", ["new", "everything", "changed", "job"])
def test_a_sheet_of_0_1_0_reads_with_every_value_in_place(name: str) -> None:
    path = SAMPLES / "0.1.0" / f"{name}.toml"
    sheet = read(path, catalogue())
    for step, fields in tables(path).items():
        settings = sheet[today(step)]
        for field, value in fields.items():
            if (step, field) == ("intake", "scan"):  # a short form of the table below it
                assert settings.scans[0].file == value
                continue
            got = plain(getattr(settings, today(step, field)))
            if step == "camera" and field in SHAPES[0]:
                assert got == pytest.approx(fields["picture_width"] / fields["picture_height"])
                continue
            if isinstance(value, list) and value and isinstance(value[0], dict):
                assert len(got) == len(value)
                for kept, row in zip(got, value, strict=True):
                    if step == "camera" and "width" in row:
                        assert kept["aspect"] == pytest.approx(row["width"] / row["height"])
                    row = {key: part for key, part in row.items() if step != "camera" or key not in SHAPES[1]}
                    assert {key: kept[key] for key in row} == row, f"{step}.{field}"
            else:
                assert got == value, f"{step}.{field}"


def test_the_changed_sample_holds_every_setting_of_0_1_0() -> None:
    """The sample of changed settings leaves none out that the full sample has, and each differs from the default there."""
    changed, full = (tables(SAMPLES / "0.1.0" / f"{name}.toml") for name in ("changed", "everything"))
    for step, fields in full.items():
        for field, value in fields.items():
            assert field in changed[step], f"{step}.{field}"
            assert changed[step][field] != value, f"{step}.{field}"


def test_the_full_sample_says_what_a_blank_sheet_says() -> None:
    """What 0.1.0 wrote as defaults still means the job that it meant, as far as today's defaults are those of 0.1.0."""
    path = SAMPLES / "0.1.0" / "everything.toml"
    sheet, empty = read(path, catalogue()), blank(catalogue())
    known = {today(step) for step in tables(path)}
    assert known <= set(empty.settings)
    for step, fields in tables(path).items():
        assert {today(step, field) for field in fields} <= set(specs(sheet[today(step)]))


@pytest.fixture
def old_job() -> Any:
    """The scene of the finished job of 0.1.0, opened."""
    bpy.ops.wm.open_mainfile(filepath=str(SAMPLES / "0.1.0" / "job.blend"))
    yield bpy.context.scene
    bpy.ops.wm.read_factory_settings(use_empty=True)


def test_a_finished_job_of_0_1_0_opens_and_its_parts_are_found(old_job: Any) -> None:
    stage = Stage(old_job, read(SAMPLES / "0.1.0" / "job.toml", catalogue()))
    for role in ("scan", "clean", "upright", "piece", "surface", "albedo", "relief_height", "table", "world", "light", "card"):
        assert stage.has(role), role
    assert list(stage.find_all("shot")) == ["back", "detail", "hero", "turntable"]
    assert set(stage.results()) >= {"intake", "orientation", "camera", "lighting"}
    assert stage.require("piece").dimensions.z == pytest.approx(0.020, rel=0.05)  # of the whole, 20 mm; the piece is all of it
    assert bpy.data.texts[SHEET_TEXT].as_string().startswith("# The customer wants the back as well.\n")
    assert bpy.data.objects["Rule"][roles.ROLE] == "prop" and "Rib" not in bpy.data.objects


def test_the_command_goes_on_in_a_job_of_0_1_0_and_keeps_what_was_edited_in_it(tmp_path: Path, capsys: Any) -> None:
    """The rule that was moved, the rib and the paper that were deleted, the comment in the sheet; and nothing twice."""
    for name in ("job.toml", "knob.obj", "knob.mtl", "knob.png"):
        shutil.copy(SAMPLES / "0.1.0" / name, tmp_path)
    (tmp_path / "out").mkdir()
    shutil.copy(SAMPLES / "0.1.0" / "job.blend", tmp_path / "out")
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "out" / "job.blend"))
    names = sorted(item.name for item in bpy.data.objects)
    place = tuple(bpy.data.objects["Rule"].location)
    command = ["run", str(tmp_path / "job.toml"), "--out", str(tmp_path / "out"), "--until", "lighting", "--quiet"]
    assert main(command) == 0
    words = capsys.readouterr().out
    assert "You deleted the backdrop rise" in words
    warnings = [line for line in words.splitlines() if "another release of Blender made them" in line]
    assert not warnings, "what nobody changed is known as such: cameras, lights, world and materials too"
    assert '"Rule" is no longer made but you changed it, so it stays' in words and "as you changed it" not in words
    assert sorted(item.name for item in bpy.data.objects) == names
    assert tuple(bpy.data.objects["Rule"].location) == place
    assert bpy.data.texts[SHEET_TEXT].as_string().startswith("# The customer wants the back as well.\n")
    assert (tmp_path / "out" / "job.v1.blend").is_file()  # another release of Blender wrote it
    bpy.ops.wm.read_factory_settings(use_empty=True)
