"""The installed zip in a throw-away profile: what the host tests stand on. The source folder is never imported beside it."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.host.small_scan import QUICK_SHEET, write_knob

bpy = pytest.importorskip("bpy")

MODULE = "bl_ext.user_default.bozzetto"


@pytest.fixture(scope="session")
def zip_path() -> Path:
    """The built zip: $BOZZETTO_ZIP from build.py test, else the newest in dist/."""
    named = os.environ.get("BOZZETTO_ZIP", "")
    if named:
        return Path(named)
    found = sorted((Path(__file__).parents[2] / "dist").glob("bozzetto-*.zip"), key=lambda path: path.stat().st_mtime)
    assert found, "there is no zip to test: run python3 build.py package and see what it says"
    return found[-1]


@pytest.fixture(scope="module")
def installed(zip_path: Path) -> Iterator[str]:
    """The add-on installed from the zip and enabled; uninstalled at the end."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    result = bpy.ops.extensions.package_install_files(filepath=str(zip_path), repo="user_default", enable_on_install=True)
    assert result == {"FINISHED"}
    assert MODULE in bpy.context.preferences.addons
    yield MODULE
    if MODULE in bpy.context.preferences.addons:
        bpy.ops.preferences.addon_disable(module=MODULE)
    assert not [name for name in sys.modules if name.split(".")[0] == "blender_addon"], "the source folder was imported too"


@pytest.fixture
def job(installed: str, tmp_path: Path) -> Path:
    """A quick sheet beside its scan, in an empty scene."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    if not hasattr(bpy.types.Scene, "bozzetto"):
        bpy.ops.preferences.addon_enable(module=installed)
    write_knob(tmp_path)
    (tmp_path / "knob.toml").write_text(QUICK_SHEET, encoding="utf-8")
    return tmp_path / "knob.toml"


@pytest.fixture
def command(installed: str) -> Any:
    """The function behind `blender --command bozzetto`; a wheel can't dispatch it, so it is called."""
    return importlib.import_module(f"{installed}.cli").main
