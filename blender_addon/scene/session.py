"""Running a whole job in a .blend: log, sheet and figures kept, files written whole or not at all."""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any

import bpy

from ..job.errors import OutputError
from ..job.notes import Notes
from ..job.runner import Report, Update, run_job
from ..job.sheet import JobSheet, written
from ..job.step import Step
from .kept_decisions import write_pictures
from .stage import Stage

SHEET_TEXT = "bozzetto job.toml"


def writable(folder: Path) -> Path:
    """The folder, made and tried out. Raises OutputError in words that say what to do."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as trial:
            trial.write(b"\0" * 65536)
            trial.flush()
            os.fsync(trial.fileno())
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f'Nothing can be written to "{folder}" ({reason}): choose another folder or free some room') from None
    return folder


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A path to write to that takes `path`'s place only when the block ends well: a file appears whole or not at all.

    The draft keeps the suffix, since Blender chooses formats by it.
    """
    draft = path.with_name(f".{path.stem}.draft{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield draft
        if not draft.exists():
            raise OutputError(f'"{path}" was not written: is the disk full?')
        os.replace(draft, path)
    except OSError as error:
        raise OutputError(
            f'"{path}" can\'t be written ({error.strerror or error}): free some room or choose another folder'
        ) from None
    finally:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)


def write_text(path: Path, words: str) -> None:
    """A text file, whole or not at all."""
    with whole_file(path) as draft:
        draft.write_text(words, encoding="utf-8")


def keep_sheet(sheet: JobSheet, steps: tuple[Step, ...]) -> None:
    """Put the job sheet into the .blend as a text, so that it travels with it."""
    block = bpy.data.texts.get(SHEET_TEXT) or bpy.data.texts.new(SHEET_TEXT)
    block.use_fake_user = True
    block.from_string(written(sheet, steps))


def save_blend(path: Path) -> None:
    """Save a copy of the open .blend, compressed, textures packed; whole or not at all."""
    with whole_file(path) as draft:
        try:
            bpy.ops.wm.save_as_mainfile(filepath=str(draft), copy=True, compress=True, check_existing=False)
        except RuntimeError as error:
            raise OutputError(
                f'"{path}" can\'t be saved ({str(error).strip()}): free some room or choose another folder'
            ) from None


def write_figures(path: Path, report: Report) -> None:
    """figures.json: one table a step; steps that did not run this time keep their figures."""
    kept: dict[str, Any] = {}
    with contextlib.suppress(OSError, ValueError):
        kept = json.loads(path.read_text(encoding="utf-8"))
    kept.update(report.figures())
    write_text(path, json.dumps(kept, indent=1, sort_keys=True, default=float) + "\n")


def run_session(
    run_steps: tuple[Step, ...], steps: tuple[Step, ...], sheet: JobSheet, scene: Any, *, out: Path | None, afresh: bool = False
) -> Generator[Update, None, tuple[Report, Notes]]:
    """Run steps in a scene. With `out`: log.txt, figures.json and the sheet are left there."""
    notes = Notes()
    if out is not None:
        writable(out)
        notes.log = out / "log.txt"
        notes.write(f"--- {sheet.name}: {', '.join(step.name for step in run_steps)}")
    stage = Stage(scene, sheet, out=out, notes=notes)
    keep_sheet(sheet, steps)
    report = yield from _with_decision_pictures(run_job(run_steps, steps, sheet, stage, afresh=afresh), stage)
    if out is not None:
        write_figures(out / "figures.json", report)
    return report, notes


def _with_decision_pictures(run: Generator[Update, None, Report], stage: Stage) -> Generator[Update, None, Report]:
    """The run; the pictures of each step's decisions are written into its folder as soon as the step has ended."""
    try:
        while True:
            try:
                update = next(run)
            except StopIteration as end:
                return end.value
            if update.ended and stage.out is not None:
                write_pictures(stage.scene, update.step.name, stage.out)
            yield update
    finally:
        run.close()
