"""Does what a person changed by hand survive when the job is run again, in the window and by the command line?"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from typing import Any

import bpy

from . import Options, Record
from ._edits import OBJECTS, Edit
from ._edits_of_data import DATA
from ._faults_job import SmallJob

EDITS = (*OBJECTS, *DATA)
FAST = ("moved", "deleted", "renamed", "vertex group", "backdrop unlinked", "material's value", "value inside a group",
        "shot deleted", "lamp's power", "exposure", "own world", "comment in the sheet", "root collection moved")  # fmt: skip


def groups(edits: Sequence[Edit]) -> list[list[Edit]]:
    """The edits in as few runs as can be, no two of one data-block in one: a second edit could hide that one is not seen."""
    found: list[list[Edit]] = []
    for edit in edits:
        for group in found:
            if edit.of not in {other.of for other in group}:
                group.append(edit)
                break
        else:
            found.append([edit])
    return found


def run(record: Record, options: Options) -> None:
    """All edits; `--fast` tries a few, in the window alone."""
    job = SmallJob(options.out / "edits")
    edits = [edit for edit in EDITS if not options.fast or edit.name in FAST]
    kept, kept_by_command = 0, 0
    for group in groups(edits):
        for by_command in (False,) if options.fast else (False, True):
            lost = tried(job, group, by_command=by_command)
            for name, words in lost.items():
                record.fail(f"edit lost {'by the command' if by_command else 'in the window'}: {name}: {words}")
            if by_command:
                kept_by_command += len(group) - len(lost)
            else:
                kept += len(group) - len(lost)
    record.add("edits", len(edits), floor="" if options.fast else ">= 50")
    record.add("edits_kept", kept, yardstick=len(edits), goal=f"== {len(edits)}")
    if not options.fast:
        record.add("cli_edits", len(edits), floor=">= 10")
        record.add("cli_edits_kept", kept_by_command, yardstick=len(edits), goal=f"== {len(edits)}")


def tried(job: SmallJob, group: Sequence[Edit], *, by_command: bool) -> dict[str, str]:
    """Make the edits in the finished job, run it again, and return those that are lost, with what was and what is."""
    stage = job.opened()
    before = {edit.name: _seen(edit, stage) for edit in group}
    for edit in group:
        edit.make(stage)
    bpy.context.view_layer.update()
    made = {edit.name: _seen(edit, stage) for edit in group}
    for edit in group:
        if made[edit.name] == before[edit.name]:
            raise RuntimeError(f'the edit "{edit.name}" does nothing: {before[edit.name]}')
    if by_command:
        left = job.run_as_command()
        bpy.ops.wm.open_mainfile(filepath=str(left))
    else:
        job.run_in_window()
    stage = job.stage()
    after = {edit.name: _seen(edit, stage) for edit in group}
    return {name: f"{made[name]!r} became {after[name]!r}" for name in made if made[name] != after[name]}


def _seen(edit: Edit, stage: Any) -> Any:
    with contextlib.suppress(AttributeError, KeyError, StopIteration, IndexError, TypeError):
        return edit.seen(stage)
    return "not to be found"
