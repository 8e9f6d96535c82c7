"""Does what a person changed by hand survive when the job is run again, in the window and by the command line?"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from typing import Any

import bpy

from blender_addon.scene import roles

from .. import Options, Record
from . import tell
from .edits_of_data import DATA
from .edits_of_objects import OBJECTS, Edit
from .edits_of_users import MORE
from .job import SmallJob

EDITS = (*OBJECTS, *DATA, *MORE)
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


def run(record: Record, options: Options, *, by_command: bool = False) -> None:
    """All edits, in the window or by the command; `--fast` tries a few; a piece is some of the groups."""
    job = SmallJob(options.out / "edits")
    wanted = options.share(groups([edit for edit in EDITS if not options.fast or edit.name in FAST]))
    kept = 0
    for group in wanted:
        lost = tried(job, group, by_command=by_command)
        for name, words in lost.items():
            record.fail(f"edit lost {'by the command' if by_command else 'in the window'}: {name}: {words}")
        kept += len(group) - len(lost)
    name = "cli_edits" if by_command else "edits"
    tell(record, options, (name, f"{name}_kept"), (sum(map(len, wanted)), kept), least=10 if by_command else 50)


def tried(job: SmallJob, group: Sequence[Edit], *, by_command: bool) -> dict[str, str]:
    """Make the edits in the finished job, run it again, and return those that are lost, with what was and what is."""
    stage = job.opened()
    before = {edit.name: _seen(edit, stage) for edit in group}
    for edit in group:
        edit.make(stage)
    bpy.context.view_layer.update()
    edited, used = {edit.name: _seen(edit, stage) for edit in group}, _used(stage)
    for edit in group:
        if edited[edit.name] == before[edit.name]:
            raise RuntimeError(f'the edit "{edit.name}" does nothing: {before[edit.name]}')
    if by_command:
        left = job.run_as_command()
        bpy.ops.wm.open_mainfile(filepath=str(left))
    else:
        job.run_in_window()
    stage = job.stage()
    after = {edit.name: _seen(edit, stage) for edit in group}
    lost = {name: f"{edited[name]!r} became {after[name]!r}" for name in edited if edited[name] != after[name]}
    loose = sorted(used - _used(stage))
    if loose:
        lost.setdefault(group[0].name, f"of {', '.join(edit.name for edit in group)}: no longer used: {loose}")
    return lost


def _used(stage: Any) -> set[tuple[str, str]]:
    """(what, by what): which of the job's blocks others of the job use, directly or through data without a role.

    An edit that is kept in the file and that nothing shows any more is lost as well.
    """
    users, found = bpy.data.user_map(), set()
    for block in stage.players():
        seen, front = {block}, [block]
        while front:
            for user in users.get(front.pop(), set()) - seen:
                seen.add(user)
                if user.get(roles.ROLE):
                    found.add((_place(block), _place(user)))
                elif not isinstance(user, (bpy.types.Scene, bpy.types.Collection)):
                    front.append(user)
    return {(what, by) for what, by in found if "collection" not in by}


def _place(block: Any) -> str:
    return f"{block[roles.ROLE]} {block.get(roles.KEY, '')}".strip()


def _seen(edit: Edit, stage: Any) -> Any:
    with contextlib.suppress(AttributeError, KeyError, StopIteration, IndexError, TypeError):
        return edit.seen(stage)
    return "not to be found"
