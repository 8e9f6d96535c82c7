"""Runs a whole job in a .blend: writes the log, the sheet and the figures, each file whole or not at all."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Callable, Generator, Iterator
from pathlib import Path

import bpy

from ...core.generators import passed_on
from ...core.records import record
from ...job.errors import OutputError
from ...job.farm import Farm
from ...job.files.made_files import MadeFiles
from ...job.files.whole_files import begin_folder, forget_gone, whole_file, writable, write_text
from ...job.notes import Notes
from ...job.runner import Report, Update, run_job
from ...job.sheet import JobSheet, check_names, input_files, written
from ...job.sheet_text import brought_up_to_date, values_of
from ...job.step import Step
from .. import roles
from ..stage import Stage
from .editing_mode import object_mode
from .first_look import looked_at, with_a_look_first
from .folder_lock import FolderLock, clear_drafts, locked
from .job_card import SHEET_TEXT, card_of, sheet_text
from .kept_decisions import write_pictures


def keep_sheet(sheet: JobSheet, steps: tuple[Step, ...], stage: Stage) -> None:
    """Store the job sheet in the .blend as a text; comments that a person wrote in it are kept.

    The job runs by its settings, so values that were changed in the text have no effect. In that case a warning is given, and
    the changed text is kept under another name.
    """
    block = sheet_text(stage.job)
    words = written(sheet, steps)
    if block is None:
        block = bpy.data.texts.new(SHEET_TEXT)
        block.from_string(words)
    else:
        merged = brought_up_to_date(block.as_string(), words)
        if merged is None or _changed_values(block):
            kept = bpy.data.texts.new(f"{SHEET_TEXT}, yours")
            kept.from_string(block.as_string())
            kept.use_fake_user = True
            stage.warn(
                f'Values were changed in the text "{block.name}": the job runs by its settings, so the text follows them, and '
                f'what stood there is kept as "{kept.name}"'
            )
        if merged != block.as_string():
            block.from_string(words if merged is None else merged)
    block.use_fake_user = True
    block[roles.JOB], block[roles.PRINT] = stage.job, _values_print(words)


def _changed_values(block: bpy.types.ID) -> bool:
    """Whether a value in a sheet's text was changed since it was written."""
    return bool(block.get(roles.PRINT)) and block[roles.PRINT] != _values_print(block.as_string())


def _values_print(words: str) -> str:
    """A digest of a sheet's values, without its comments; of the text itself where it is no valid sheet."""
    try:
        words = json.dumps(values_of(words), sort_keys=True, default=str)
    except ValueError:  # a TOMLDecodeError is one
        pass
    return hashlib.sha256(words.encode()).hexdigest()[:20]


def save_blend(path: Path, *, opened: bool = False) -> None:
    """Save a copy of the open .blend, compressed, with packed textures; whole or not at all.

    opened: the scene was read from that file, so that changes made to the file by hand are in the scene.
    """
    with whole_file(path, holds_old=opened) as draft, writes(path):
        bpy.ops.wm.save_as_mainfile(filepath=str(draft), copy=True, compress=True, check_existing=False)


@contextlib.contextmanager
def writes(path: Path) -> Iterator[None]:
    """Wraps Blender's writing of a file: a RuntimeError becomes an OutputError that names the file and the remedy."""
    try:
        yield
    except RuntimeError as error:
        words = str(error).strip().splitlines() or ["no reason given"]
        raise OutputError(
            f'"{path}" can\'t be written ({words[-1].strip()}): free some room or choose another folder'
        ) from None


def write_figures(path: Path, report: Report) -> None:
    """Write figures.json: one table per step; steps that did not run this time keep their figures."""
    kept: dict[str, object] = {}
    with contextlib.suppress(OSError, ValueError, RecursionError):
        read = json.loads(path.read_text(encoding="utf-8"))
        kept = read if isinstance(read, dict) else {}
    kept.update(report.figures())
    write_text(path, json.dumps(kept, indent=1, sort_keys=True, default=float) + "\n")


def _say_units(stage: Stage) -> None:
    """Warn where the scene's unit scale is not 1, since Blender then displays wrong sizes for the piece."""
    units = stage.scene.unit_settings
    if units.system != "NONE" and abs(units.scale_length - 1.0) > 1e-6:
        stage.warn(
            f"The unit scale of this scene is {units.scale_length:g}, and a job is built with one unit to a metre: Blender "
            "shows the piece at that many times its size. Pictures and figures are right; set Unit Scale to 1, or use a scene "
            "of its own, to read true sizes in Blender too"
        )


@record
class Means:
    """Resources of a run: the lock of its folder, where the caller holds it already, other machines to render on, and a
    function that is called when the hero first stands in its light."""

    lock: FolderLock | None = None
    farm: Farm | None = None
    first_look: Callable[[Stage], None] | None = None


def run_session(
    run_steps: tuple[Step, ...], steps: tuple[Step, ...], sheet: JobSheet, scene: bpy.types.Scene, *, out: Path | None,
    afresh: bool = False, means: Means | None = None,
) -> Generator[Update, None, tuple[Report, Notes]]:  # fmt: skip
    """Run steps in a scene; with `out`, write log.txt, figures.json and the sheet to that folder.

    means: resources that the caller has already. Raises OutputError where another run works in the folder, or where a step
    reports beforehand that it can't succeed. afresh: also make again what the user has changed or deleted.
    """
    means = means or Means()
    notes = Notes()
    check_names(sheet)
    with contextlib.ExitStack() as stack:
        lock = means.lock
        aside: set[str] = set()
        if out is not None:
            writable(out)
            lock = means.lock or stack.enter_context(locked(out))
            aside = set(begin_folder(out, names=_models(sheet), inputs=input_files(sheet)).aside)
            notes.log = out / "log.txt"
            notes.write(f"--- {sheet.name}: {', '.join(step.name for step in run_steps)}")
        stack.enter_context(object_mode(scene))
        stage = Stage(scene, sheet, out=out, notes=notes)
        stage.farm = means.farm
        for step in run_steps:
            if step.able is not None:
                step.able(sheet, out)
        stage.settle()
        if out is not None and lock is not None:
            _after_a_kill(stage, lock, out)
        keep_sheet(sheet, steps, stage)
        stage.keep_card(card_of(sheet))
        _say_units(stage)
        run = _begun(run_steps, steps, stage, means, afresh=afresh)
        report = yield from _noted(_with_decision_pictures(run, stage), lock)
        if out is not None:
            write_figures(out / "figures.json", report)
            forget_gone(out)
            _tell_of_kept(out, aside, notes)
    return report, notes


def _begun(
    run_steps: tuple[Step, ...], steps: tuple[Step, ...], stage: Stage, means: Means, *, afresh: bool
) -> Generator[Update, None, Report]:
    """The run of the steps; where a first look is wanted, with that."""
    if means.first_look is None:
        return run_job(run_steps, steps, stage.sheet, stage, afresh=afresh)
    run = run_job(with_a_look_first(run_steps), steps, stage.sheet, stage, afresh=afresh)
    return looked_at(run, stage, means.first_look)


def _after_a_kill(stage: Stage, lock: FolderLock, out: Path) -> None:
    """Remove the drafts of a run that was killed in this folder, and add a note."""
    clear_drafts(out)
    if lock.left:
        words = f"An earlier run in this folder was broken off ({lock.left})"
        stage.note(f"{words}: what it had finished is kept, and this run continues", level="kept")


def _noted(run: Generator[Update, None, Report], lock: FolderLock | None) -> Generator[Update, None, Report]:
    """Pass on the run's updates, recording the current step in the lock."""
    at = ""

    def noted(update: Update) -> Update:
        nonlocal at
        if lock is not None and update.step.label != at:
            at = update.step.label
            lock.at(at)
        return update

    return passed_on(run, noted)


def _with_decision_pictures(run: Generator[Update, None, Report], stage: Stage) -> Generator[Update, None, Report]:
    """Pass on the run's updates, writing the pictures of a step's decisions into the folder as soon as it has ended."""

    def written(update: Update) -> Update:
        if update.ended and stage.out is not None:
            write_pictures(stage.scene, update.step.name, stage.out)
        return update

    return passed_on(run, written)


def _models(sheet: JobSheet) -> list[str]:
    """The file names of the models that the job will export."""
    asked = sheet.settings.get("export")
    return [f"{sheet.name}{suffix}" for name, suffix in (("glb", ".glb"), ("usd", ".usdc")) if getattr(asked, name, False)]


def _tell_of_kept(out: Path, before: set[str], notes: Notes) -> None:
    """Add a note for each file that had been changed by hand and was renamed in this run."""
    files = MadeFiles.read(out)
    for place, old in sorted(files.aside.items() if files else ()):
        if place not in before:
            notes.add("job", f'"{old}" had been changed by hand, so it was kept as "{place}" before it was made again')


__all__ = [
    "SHEET_TEXT", "Means", "input_files", "keep_sheet", "run_session", "save_blend", "whole_file", "writable", "write_figures",
    "write_text", "writes",
]  # fmt: skip
