"""The state of a job for the panels, read once per redraw by the first panel's poll and shared by the others."""

from __future__ import annotations

import json
from dataclasses import field
from functools import cache, lru_cache
from typing import Any

import bpy

from ..core.records import record
from ..job.decisions import Question, is_answered
from ..job.settings import plain, specs
from ..job.sheet import JobSheet
from ..job.status import why_out_of_date
from ..job.step import Step, maker
from ..scene.compat import stored_settings
from ..scene.running.kept_decisions import questions
from ..scene.stage import STATE, Stage
from ..steps import catalogue
from .on_screen import DATA, sheet_of

KEPT = ("Kept ", "You deleted ")
"""How notes on the user's edits begin."""

_read: dict[int, tuple[object, JobState]] = {}
"""Cache: the last state of each scene by session id, with its inputs, since panels are drawn many times per second."""


@record
class JobState:
    """A job as the tab shows it.

    results: what each step returned when it ran, by its name. late: the steps that are out of date, with the reason.
    open: the questions that are not answered yet.
    """

    sheet: JobSheet
    results: dict[str, dict[str, Any]] = field(default_factory=dict)
    late: dict[str, str] = field(default_factory=dict)
    open: tuple[Question, ...] = ()

    def missing(self, step: Step) -> str:
        """Why a step can't run yet, and what to do; '' when it can."""
        makers = [other for role in step.needs for other in catalogue() if role in other.makes]
        first = next((other for other in makers if other.name not in self.results), None)
        return f'Run "{first.label}" first' if first else ""

    def kept(self, step: str) -> list[str]:
        """A sentence on each thing that a step kept because the user had changed or deleted it."""
        return [str(words) for words in self.results.get(step, {}).get("notes", ()) if str(words).startswith(KEPT)]


def refreshed(scene: bpy.types.Scene) -> JobState:
    """The present state of the scene's job; takes about 0.1 ms where nothing has changed."""
    held = _read.get(scene.session_uid)
    if held is not None and held[0] == _print(scene):
        return held[1]
    state = _state(scene, sheet_of(scene, catalogue()), scene.get(STATE, "{}"))
    _read[scene.session_uid] = (_print(scene), state)  # only now, as the first reading makes groups where none were stored
    return state


def _print(scene: bpy.types.Scene) -> object:
    """All that a job's state follows from."""
    units, stored = scene.unit_settings, stored_settings(scene)
    return (
        scene.get(STATE, "{}"), bpy.data.filepath, units.system, units.scale_length, _names_taken(stored), stored,
    )  # fmt: skip


def _names_taken(stored: dict[str, Any]) -> list[str]:
    """Take the data-blocks out of stored settings, and return their names, which are what a sheet has."""
    parts = [(stored[step], name) for step, name in _naming() if name in stored.get(step, ())]
    return [f"{name} {getattr(part.pop(name), 'name', '')}" for part, name in parts]  # one that was read while empty has none


@cache
def _naming() -> tuple[tuple[str, str], ...]:
    """(step, field) of each setting that names a data-block; no row of a table has one."""
    return tuple((step.name, name) for step in catalogue() for name, spec in specs(step.settings).items() if spec.kind in DATA)


def state_of(scene: bpy.types.Scene) -> JobState:
    """The state read by the first panel in this redraw, or read now."""
    held = _read.get(scene.session_uid)
    return held[1] if held is not None else refreshed(scene)


def forget() -> None:
    """Clear the cache, when another file is opened or the add-on is disabled."""
    _read.clear()


def stage_of(context: bpy.types.Context) -> Stage:
    """The stage of the context's scene with the settings on screen."""
    return Stage(context.scene, sheet_of(context.scene, catalogue()))


def settings_for(scene: bpy.types.Scene, role: str) -> Any:
    """The settings on screen of the step that makes a role."""
    return getattr(scene.bozzetto, maker(role, catalogue()).name)


def _state(scene: bpy.types.Scene, sheet: JobSheet, raw: str) -> JobState:
    if STATE not in scene:  # a stage would mark the scene as a job, but drawing must not change data
        return JobState(sheet)
    stage, results = Stage(scene, sheet), _parsed(raw).get("results", {})
    late = why_out_of_date(catalogue(), sheet, stage, results)
    accepted = stage.accepted()
    asked = [
        question for question in questions(results) if not is_answered(question, lambda place: _held(sheet, place), accepted)
    ]
    return JobState(sheet, results, late, tuple(asked))


def _held(sheet: JobSheet, place: str) -> Any:
    """A setting's plain value by 'step.field'; None where there is no such setting."""
    step, _, name = place.partition(".")
    return plain(sheet[step]).get(name) if step in sheet.settings else None


@lru_cache(maxsize=4)
def _parsed(raw: str) -> Any:
    return json.loads(raw)
