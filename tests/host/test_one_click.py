"""Does the installed zip go from a scan to pictures by one click, and is nothing left behind when it is disabled?"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from PIL import Image

from tests.host.small_scan import FEW_THINGS, QUICK_SHEET, write_knob
from tests.host.traces import Watch, traces

MODULE = "bl_ext.user_default.bozzetto"


def pixels(path: Path) -> np.ndarray:
    """RGB values 0 to 255."""
    return np.asarray(Image.open(path).convert("RGB"), dtype=float)


@pytest.fixture(scope="module")
def clicked(zip_path: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Install, enable, click once, disable; what was seen on the way."""
    folder = tmp_path_factory.mktemp("job")
    scan = write_knob(folder)
    (folder / "knob.toml").write_text(QUICK_SHEET + FEW_THINGS, encoding="utf-8")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    seen: dict[str, Any] = {"before": traces(), "out": folder / "out", "scan": scan}
    with Watch() as watch:
        seen["installed"] = bpy.ops.extensions.package_install_files(
            filepath=str(zip_path), repo="user_default", enable_on_install=True
        )
        seen["enabled"] = traces()
        bpy.ops.bozzetto.read_sheet(filepath=str(folder / "knob.toml"))
        bpy.context.scene.bozzetto.output = str(folder / "out")
        seen["result"] = bpy.ops.bozzetto.run_job()
        seen["objects"] = {o.name: (o.type, tuple(o.dimensions)) for o in bpy.data.objects}
        seen["again"] = bpy.ops.bozzetto.run_job()
        seen["objects_again"] = {o.name: (o.type, tuple(o.dimensions)) for o in bpy.data.objects}
        bpy.ops.preferences.addon_disable(module=MODULE)
    seen["watch"] = watch
    seen["after"] = traces()
    seen["objects_disabled"] = sorted(o.name for o in bpy.data.objects)
    return seen


def test_the_zip_installs_and_enables(clicked: dict[str, Any]) -> None:
    assert clicked["installed"] == {"FINISHED"}
    added = clicked["enabled"]["types"] - clicked["before"]["types"]
    assert {name for name in added if "BOZZETTO_PT" in name}
    assert "bozzetto" in clicked["enabled"]["properties"]["Scene"]


def test_one_click_makes_pictures(clicked: dict[str, Any]) -> None:
    assert clicked["result"] == {"FINISHED"}
    stills = [path for path in clicked["out"].rglob("*.png") if max(Image.open(path).size) == 96]
    assert len(stills) >= 3
    for path in stills:
        assert pixels(path).std() > 4.0, f"{path.name} shows nothing"  # an empty frame has none; 4 of 255 is a faint picture


def test_one_click_keeps_figures_and_log(clicked: dict[str, Any]) -> None:
    figures = json.loads((clicked["out"] / "figures.json").read_text(encoding="utf-8"))
    steps = {
        "intake", "cleanup", "orientation", "registration", "separation", "albedo", "relief", "closeups", "material",
        "reference", "camera", "moves", "tabletop", "debris", "lighting", "render", "comparison", "export", "films",
    }  # fmt: skip
    assert set(figures) == steps
    assert (clicked["out"] / "log.txt").stat().st_size > 0
    assert list(clicked["out"].rglob("*.glb"))
    assert (clicked["out"] / "index.html").is_file()
    page = (clicked["out"] / "maker.html").read_text(encoding="utf-8")
    rows = [page.index(f"<td>{name.capitalize()}</td>") for name in ("intake", "orientation", "camera", "tabletop", "lighting")]
    assert rows == sorted(rows)  # in the order of the work


def test_true_size_is_kept(clicked: dict[str, Any]) -> None:
    """42 mm asked for the whole, and the piece is a part of it; 1 % is twice what a size may be off."""
    assert clicked["objects"]["Upright"][1][2] == pytest.approx(0.042, rel=0.01)
    assert clicked["objects"]["Piece"][1][2] <= 0.042 * 1.01


def test_a_second_click_doubles_nothing(clicked: dict[str, Any]) -> None:
    assert clicked["again"] == {"FINISHED"}
    assert set(clicked["objects_again"]) == set(clicked["objects"])
    for name, (_, size) in clicked["objects"].items():
        assert clicked["objects_again"][name][1] == pytest.approx(size, rel=1e-5, abs=1e-7), name


def test_nothing_is_left_behind(clicked: dict[str, Any]) -> None:
    for kind, before in clicked["before"].items():
        assert clicked["after"][kind] == before, kind
    assert clicked["watch"].left_open() == []


def test_what_was_made_stays_without_the_add_on(clicked: dict[str, Any]) -> None:
    assert clicked["objects_disabled"] == sorted(clicked["objects_again"])


def test_it_can_be_enabled_again(clicked: dict[str, Any]) -> None:
    bpy.ops.preferences.addon_enable(module=MODULE)
    assert hasattr(bpy.types.Scene, "bozzetto")
    bpy.ops.preferences.addon_disable(module=MODULE)
    assert traces() == clicked["before"]
