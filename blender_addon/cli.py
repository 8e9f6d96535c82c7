"""The job without a window: `bozzetto run JOB.toml --out DIR`, `bozzetto new SCAN`, `bozzetto steps`.

Started as `blender --command bozzetto ...` where the add-on is installed, or as a module beside a `bpy` wheel.
"""

from __future__ import annotations

import argparse
import io
import os
import shutil
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import bpy

from .core.generators import finish, passed_on
from .job.errors import JobError, OutputError
from .job.files.names import cleaned
from .job.files.places import folder_names
from .job.files.whole_files import begin_folder
from .job.notes import Notes
from .job.reference import as_markdown
from .job.runner import Report, Update, chosen
from .job.settings import specs
from .job.sheet import JobSheet, blank, check_names, input_files, override, read, short, written
from .job.stopping import Stopped, Stopping
from .scene.running.blend_file import BlendFile
from .scene.running.folder_lock import FolderLock, locked
from .scene.running.session import run_session, writable, write_text
from .steps import catalogue


def main(argv: Sequence[str]) -> int:
    """Run the command line; 0 when all went well, 1 when the user must mend something, 2 for a wrong call."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal of another encoding must not stop the work at a file's name
            stream.reconfigure(errors="backslashreplace")
    parser = _parser()
    try:
        options = parser.parse_args(list(argv))
    except SystemExit as end:
        return int(end.code or 0)
    stopping = Stopping(lambda: shutil.rmtree(bpy.app.tempdir, ignore_errors=True))
    try:
        with stopping:
            options.stopping = stopping
            return options.command(options)
    except JobError as error:
        print(f"bozzetto: {error}", file=sys.stderr)
        return 1
    except BrokenPipeError:  # the reader of the list has seen enough
        sys.stdout = open(os.devnull, "w")
        return 0
    except Stopped as stop:
        print("bozzetto: stopped; what was finished before stays", file=sys.stderr)
        return stop.code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="bozzetto", description="From a scan of a small piece to macro photographs of it.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    run = commands.add_parser("run", help="run a job sheet, from the scan to the pictures")
    run.add_argument("sheets", nargs="+", type=Path, metavar="JOB.toml", help="one or more job sheets")
    run.add_argument("--out", type=Path, metavar="DIR", help="where everything goes (default: out/NAME beside the sheet)")
    run.add_argument("--set", action="append", default=[], dest="sets", metavar="STEP.FIELD=VALUE", help="override a setting")
    run.add_argument("--from", dest="first", metavar="STEP", help="start here; the steps before it must have run")
    run.add_argument("--until", dest="last", metavar="STEP", help="stop after this step")
    run.add_argument(
        "--afresh",
        action="store_true",
        help="start anew, also what was changed or deleted by hand, and keep the earlier .blend beside",
    )
    run.add_argument("--quiet", action="store_true", help="no progress")
    run.set_defaults(command=_run)

    new = commands.add_parser("new", help="write a job sheet for a scan: the lines that matter")
    new.add_argument("scans", nargs="*", metavar="SCAN", help="scan files, the one with the piece first")
    new.add_argument("--height", type=float, metavar="MM", help="the piece's height in mm")
    new.add_argument("--all", action="store_true", help="every setting, explained, instead of the lines that matter")
    new.add_argument("--to", type=Path, metavar="JOB.toml", help="where to write it (default: beside the first scan)")
    new.set_defaults(command=_new)

    steps = commands.add_parser("steps", help="list the steps and their settings")
    steps.add_argument("--settings", action="store_true", help="with every setting")
    steps.set_defaults(command=_steps)
    return parser


def _run(options: Any) -> int:
    failed = 0
    for path, folder in zip(options.sheets, folder_names(options.sheets), strict=True):
        options.stopping.check()
        try:
            _run_sheet(path, options, folder if len(options.sheets) > 1 else "")
        except JobError as error:
            if len(options.sheets) == 1:
                raise
            failed += 1
            print(f"bozzetto: {path}: {error}", file=sys.stderr)
    return 1 if failed else 0


def _run_sheet(path: Path, options: Any, folder: str) -> None:
    """Run one sheet; `folder`: the name of its own folder in a batch, '' for a single one."""
    steps = catalogue()
    sheet = read(path, steps)
    for assignment in options.sets:
        override(sheet, assignment)
    check_names(sheet)
    out = (options.out or path.resolve().parent / "out").resolve()
    if folder or options.out is None:
        out = out / (folder or cleaned(path.stem))
    writable(out)
    with locked(out) as lock:
        begin_folder(out, inputs=input_files(sheet))
        _run_in(out, path, sheet, options, lock)


def _run_in(out: Path, path: Path, sheet: JobSheet, options: Any, lock: FolderLock | None) -> None:
    """Run a sheet in a folder that is this run's alone, from opening the .blend to saving it."""
    steps = catalogue()
    blend = BlendFile(out / f"{cleaned(path.stem)}.blend", afresh=options.afresh)
    scene = _open_scene(blend, sheet, options)
    _keep_settings(sheet, scene)
    progress = Printer(quiet=options.quiet, stopping=options.stopping)
    run = run_session(
        chosen(steps, first=options.first, last=options.last), steps, sheet, scene, out=out, afresh=options.afresh, held=lock
    )
    try:
        report, notes = progress.drain(_saved_before_delivery(run, blend))
    except Stopped:
        blend.save()  # the step in work was taken back, those before it are whole
        raise
    blend.save()
    _farewell(report, [*blend.words, *_note_lines(notes)], out, progress)


def _saved_before_delivery(run: Any, blend: BlendFile) -> Any:
    """The run, with the .blend saved before the long renders start, so that a kill there costs no work."""
    saved = False

    def kept(update: Update) -> Update:
        nonlocal saved
        if update.step.folder == "delivery" and not saved:
            saved = True
            blend.save()
        return update

    return passed_on(run, kept)


def _open_scene(blend: BlendFile, sheet: JobSheet, options: Any) -> Any:
    """The scene of the job where it ran before, with what was changed by hand since; else an empty one."""
    if options.first and not blend.exists():
        raise OutputError(f'--from continues an earlier run, but there is no "{blend.path}": run without --from first')
    if blend.exists() and (options.first or not options.afresh):
        scene = blend.open(sheet)
        _register()
        return scene
    # Only the scene: the user's preferences hold the graphics card, and the add-on itself.
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    _register()
    return bpy.context.scene


def _register() -> None:
    """Register the add-on's settings, so that the .blend opens in a window with them filled in."""
    from . import register, registered

    if not registered():
        register()


def _keep_settings(sheet: JobSheet, scene: Any) -> None:
    from .ui.properties import fill

    fill(scene, sheet, catalogue())


class Printer:
    """Progress on a terminal: a line a step, with the time so far and the time left as far as it can be estimated."""

    def __init__(self, *, quiet: bool = False, stopping: Stopping | None = None):
        self._stopping = stopping or Stopping()
        self.started = time.perf_counter()
        self._quiet = quiet
        self._step = ""
        self._shown = 0.0

    def drain(self, run: Any) -> Any:
        """Run to the end, printing; returns what the run returns. Raises Stopped where a signal asked for it."""

        def printed(update: Update) -> None:
            self.show(update)
            self._stopping.check()

        self._stopping.check()
        return finish(passed_on(run, printed))

    def show(self, update: Update) -> None:
        """Print one line when the step is a new one, when it ended, or every two seconds."""
        now = time.perf_counter()
        new = update.step.name != self._step
        if self._quiet or not (new or update.blocking or update.ended or now - self._shown > 2.0):
            return
        self._step, self._shown = update.step.name, now
        spent = now - self.started
        left = ""
        if update.fraction > 0.02:
            left = f", about {_clock(spent * (1 - update.fraction) / update.fraction)} left"
        place = f"[{update.number:2d}/{update.count}] {update.fraction:4.0%} {_clock(spent)}{left}"
        print(f"{place}  {update.step.label}: {update.words}", flush=True)


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def _note_lines(notes: Notes) -> list[str]:
    """What a person should read at the end: what was kept as they changed it, and what asks for a look."""
    return [str(note) for note in (*notes.kept(), *notes.warnings())]


def _farewell(report: Report, words: list[str], out: Path, progress: Printer) -> None:
    for line in words:
        print(line)
    for step, decision in report.asked():
        print(f"? {step}: {decision.sentence()}")
    print(f"Done in {_clock(time.perf_counter() - progress.started)}. Everything is in {out}")
    page = out / "index.html"
    if page.exists() and "export" in report.results:
        print(f"Pictures: {page}")


def _new(options: Any) -> int:
    steps = catalogue()
    target = options.to or (Path(options.scans[0]).with_suffix(".toml") if options.scans else Path("job.toml"))
    if target.exists():
        raise OutputError(f'"{target}" is already there: choose another name with --to')
    sheet = blank(steps, name=cleaned(target.stem), folder=target.resolve().parent)
    for place, scan in enumerate(options.scans or ["scan.obj"]):
        row = specs(sheet["intake"])["scans"].row
        assert row is not None
        sheet["intake"].scans.append(row(file=_relative(Path(scan), sheet.folder), role="whole" if place == 0 else "stand"))
    if options.height is not None:
        override(sheet, f"orientation.height={options.height!r}")
    write_text(target, written(sheet, steps, comments=True) if options.all else short(sheet, steps))
    more = "" if options.all else " (every setting: bozzetto new --all)"
    print(f'Wrote "{target}"{more}. Run it with: bozzetto run {target}')
    return 0


def _relative(path: Path, folder: Path) -> str:
    try:
        return path.resolve().relative_to(folder).as_posix()
    except ValueError:
        return path.resolve().as_posix()


def _steps(options: Any) -> int:
    for step in catalogue():
        print(f"{step.name:13s} {step.help}")
    if options.settings:
        print()
        print(as_markdown(catalogue()))
    return 0


def leave(code: int) -> None:
    """End the process of a `bpy` wheel with this code, past its own tearing down, where 4.5 crashes or hangs.

    All files are written and closed by now; only Blender's temporary folder is left to take away.
    """
    shutil.rmtree(bpy.app.tempdir, ignore_errors=True)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


if __name__ == "__main__":
    leave(main(sys.argv[1:]))
