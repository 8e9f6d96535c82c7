"""Is the library found by which Blender's own glTF importer unpacks, in the form that each release asks for it?"""

from __future__ import annotations

import importlib
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from blender_addon.scene import compat


def by_name(folder: Path) -> Any:
    """As in Blender 5.2: asked with two names, the library's and its build's."""
    return SimpleNamespace(dll_path=lambda name, build: folder / f"{name}.so")


def draco_alone(folder: Path) -> Any:
    """As in Blender 4.5 and 5.0: asked without a name."""
    return SimpleNamespace(dll_path=lambda: folder / "draco.so")


@pytest.mark.parametrize("module", ["io_scene_gltf2.io.com.library", "io_scene_gltf2.io.com.draco"])
def test_a_library_that_is_there_is_found_and_one_that_is_not_is_none(
    module: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = by_name(tmp_path) if module.endswith("library") else draco_alone(tmp_path)

    def importing(name: str) -> Any:
        if name != module:
            raise ImportError(name)
        return made

    monkeypatch.setattr(importlib, "import_module", importing)
    assert compat.importer_library("draco") is None, "the importer names a file that this build lacks"
    (tmp_path / "draco.so").write_bytes(b"\0")
    assert compat.importer_library("draco") == tmp_path / "draco.so"
