"""Runs inside the window's Blender after `drive.py`: does what was changed by hand stay when the button is pressed again?

The edits are those of the bench of faults (`scripts/bench/faults`: `edits_of_objects.py`, `edits_of_data.py`), which lie in
/shots/edited.
"""

from __future__ import annotations

import contextlib
import importlib
import sys
from collections.abc import Callable, Iterator
from typing import Any

import bpy

OUT, JOB = "/shots/out", "/scans"
MODULE = "bl_ext.user_default.bozzetto"
FEWEST = 50
"""Edits that are tried at least; more where a round holds more."""


def ours(name: str) -> Any:
    """A module of the installed add-on."""
    return importlib.import_module(f"{MODULE}.{name}")


def session(window: Any, log: Callable[..., None], keep: Callable[..., None]) -> Iterator[None]:
    """Rounds of edits, no two of one data-block in one, each in the finished job, until there are enough."""
    for name in ("scene", "scene.compat", "scene.stage", "scene.running", "scene.running.job_card"):
        sys.modules[f"blender_addon.{name}"] = ours(name)
    sys.modules["blender_addon"] = importlib.import_module(MODULE)
    found = [importlib.import_module(name) for name in ("edited.edits_of_objects", "edited.edits_of_data")]
    edits = [*found[0].OBJECTS, *found[1].DATA]
    bpy.ops.scene.new(type="EMPTY")  # whatever the acts at random have left, this is a job of its own
    bpy.ops.bozzetto.read_sheet(filepath=f"{JOB}/edits.toml")
    bpy.context.scene.bozzetto.output = f"{OUT}/edits"
    _run()
    bpy.ops.wm.save_as_mainfile(filepath=f"{OUT}/edits.blend", check_existing=False)
    tried, lost = 0, []
    while edits and tried < FEWEST:
        taken: dict[str, Any] = {}
        for edit in edits:
            taken.setdefault(edit.of, edit)
        edits = [edit for edit in edits if edit not in taken.values()]
        lost += _round(list(taken.values()), log)
        tried += len(taken)
        keep(edits=tried, edits_kept_percent=100.0 * (tried - len(lost)) / tried, edits_lost=lost)
        yield


def _round(edits: list[Any], log: Callable[..., None]) -> list[str]:
    """The edits made in the finished job and the button pressed; those that are lost, with what was and what is."""
    bpy.ops.wm.open_mainfile(filepath=f"{OUT}/edits.blend", load_ui=False)
    stage = ours("ui.job_state").stage_of(bpy.context)
    before = {edit.name: _seen(edit, stage) for edit in edits}
    for edit in edits:
        edit.make(stage)
    bpy.context.view_layer.update()
    edited = {edit.name: _seen(edit, stage) for edit in edits}
    idle = [name for name in edited if edited[name] == before[name]]
    if idle:
        raise AssertionError(f"edits that do nothing: {', '.join(idle)}")
    _run()
    stage = ours("ui.job_state").stage_of(bpy.context)
    after = {edit.name: _seen(edit, stage) for edit in edits}
    lost = [f"{name}: {edited[name]!r} became {after[name]!r}" for name in edited if edited[name] != after[name]]
    log("edits", len(edits), "lost", lost)
    state = ours("ui.job_state").refreshed(bpy.context.scene)
    log("said", [words for step in state.results for words in state.kept(step)][:12])
    return lost


def _run() -> None:
    """The button, as in the window's view: after a file was opened a timer has no window of its own."""
    window = bpy.context.window_manager.windows[0]
    area = max((a for a in window.screen.areas if a.type == "VIEW_3D"), key=lambda a: a.width * a.height)
    region = next(part for part in area.regions if part.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        bpy.ops.bozzetto.run_job()


def _seen(edit: Any, stage: Any) -> Any:
    with contextlib.suppress(AttributeError, KeyError, StopIteration, IndexError, TypeError):
        return edit.seen(stage)
    return "not to be found"
