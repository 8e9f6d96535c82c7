"""Runs one job sheet from the command line, from opening its .blend to the summary at the end."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Generator, Iterator, Sequence
from pathlib import Path
from typing import Any

import bpy

from ..core.generators import passed_on
from ..core.records import record
from ..job.errors import OutputError
from ..job.files.made_files import LOG, MAKERS_PAGE, PAGE, SUMMARY
from ..job.files.names import cleaned
from ..job.files.whole_files import begin_folder
from ..job.notes import Notes, several
from ..job.runner import Report, Update, chosen
from ..job.settings import specs
from ..job.sheet import JobSheet, check_names, input_files, override, read
from ..job.step import current_name
from ..job.stopping import Stopped, Stopping
from ..scene.running.blend_file import BlendFile
from ..scene.running.folder_lock import FolderLock, locked
from ..scene.running.kept_decisions import questions
from ..scene.running.session import Means, run_session, writable, write_text
from ..scene.stage import Stage
from ..steps import catalogue
from .farm import ClusterFarm
from .last_run import LastRun
from .terminal import Printer, clock, quiet_blender


@record
class Wish:
    """The command line's options for a run.

    scans, name: used instead of the sheet's own. folder: name of the run's own folder within `out`, '' for none. workers:
    number of pictures rendered at once by processes on this machine. cluster: address of a cluster that renders. place: the
    run's number in a batch or series.
    """

    out: Path | None = None
    folder: str = ""
    name: str = ""
    scans: tuple[Path, ...] = ()
    sets: tuple[str, ...] = ()
    first: str | None = None
    last: str | None = None
    afresh: bool = False
    quiet: bool = False
    workers: int = 0
    cluster: str = ""
    place: int | None = None


def run_sheet(path: Path, wish: Wish, stopping: Stopping) -> None:
    """Run one sheet. Raises JobError for errors that the user can fix, Stopped on a signal."""
    sheet = sheet_for(path, wish)
    out = (wish.out or path.resolve().parent / "out").resolve()
    if wish.folder or wish.out is None:
        out = out / (wish.folder or cleaned(path.stem))
    writable(out)
    with locked(out) as lock:
        begin_folder(out, inputs=input_files(sheet))
        _run_in(out, cleaned(wish.name or path.stem), sheet, wish, lock, stopping)


def sheet_for(path: Path, wish: Wish) -> JobSheet:
    """The sheet with the command line's options applied. Raises SheetError."""
    sheet = read(path, catalogue())
    sheet.place = wish.place
    if wish.scans:
        give_scans(sheet, wish.scans)
    for assignment in wish.sets:
        override(sheet, assignment)
    if wish.name:
        sheet.name = wish.name
    check_names(sheet)
    return sheet


def give_scans(sheet: JobSheet, scans: Sequence[Path]) -> None:
    """Replace the sheet's scans: the first shows the piece, the others its stand."""
    row = specs(sheet["intake"])["scans"].row
    assert row is not None
    sheet["intake"].scans = [
        row(file=str(scan.resolve()), role="whole" if place == 0 else "stand") for place, scan in enumerate(scans)
    ]


def _run_in(out: Path, name: str, sheet: JobSheet, wish: Wish, lock: FolderLock | None, stopping: Stopping) -> None:
    """Run a sheet in a locked folder, from opening the .blend to saving it."""
    steps = catalogue()
    chosen(steps, first=wish.first, last=wish.last)  # reports wrong names before anything else
    last_run = LastRun(out, out / f"{name}.blend", sheet, steps, current_name(wish.last) if wish.last else None)
    if not (wish.first or wish.afresh) and last_run.nothing_changed():
        with quiet_blender(out / LOG, quiet=wish.quiet) as terminal:
            for line in _unchanged(out):
                terminal.say(line)
        return
    with _farm(out, wish) as farm, quiet_blender(out / LOG, quiet=wish.quiet, stopping=stopping) as terminal:
        progress = Printer(terminal, stopping=stopping)
        blend = BlendFile(out / f"{name}.blend", afresh=wish.afresh)
        scene = _open_scene(blend, sheet, wish)
        _keep_settings(sheet, scene)
        place = scene.name
        first = wish.first or (None if wish.afresh else last_run.first(Stage(scene, sheet)))
        if first and not wish.first:
            terminal.say(f"Nothing before {_label(first)} has changed since the last run, so this one begins there")
        last_run.begin(first and current_name(first))
        run = run_session(
            chosen(steps, first=first, last=wish.last),
            steps,
            sheet,
            scene,
            out=out,
            afresh=wish.afresh,
            means=Means(lock, farm),
        )
        keeping = _Keeping(blend, last_run)
        try:
            report, notes = progress.drain(keeping.saved_before_delivery(run))
        except Stopped:
            keeping.save()  # the interrupted step was undone; those before it are complete
            raise
        keeping.save()
        check = to_check(report, notes, Stage(bpy.data.scenes[place], sheet).results())
        _keep_summary(out, report, check, progress.spent)
        last_run.ended()
        for line in summary(report, [*blend.words, *map(str, notes.kept())], check, out, progress.spent):
            terminal.say(line)


@contextlib.contextmanager
def _farm(out: Path, wish: Wish) -> Iterator[ClusterFarm | None]:
    """The requested workers inside the block, or None. Raises OutputError where they are not available."""
    if not (wish.workers or wish.cluster):
        yield None
        return
    farm = ClusterFarm(out, workers=wish.workers, address=wish.cluster)
    try:
        yield farm
    finally:
        farm.close()


Session = Generator[Update, None, tuple[Report, Notes]]


class _Keeping:
    """Saves the .blend and records which step it has reached."""

    def __init__(self, blend: BlendFile, last_run: LastRun):
        self._blend, self._last_run = blend, last_run
        self._done = ""

    def save(self) -> None:
        """Save the .blend and record it."""
        place = self._blend.path
        self._blend.save()
        if self._blend.path == place:  # else saved beside it, since it was changed meanwhile
            self._last_run.saved(self._done)

    def saved_before_delivery(self, run: Session) -> Session:
        """Pass on the run, saving the .blend before rendering starts, so that a kill during it loses no work."""
        saved = False

        def kept(update: Update) -> Update:
            nonlocal saved
            if update.step.folder == "delivery" and not saved:
                saved = True
                self.save()
            self._done = update.step.name if update.ended else self._done
            return update

        return passed_on(run, kept)


def _label(name: str) -> str:
    return next(step.label for step in catalogue() if step.name == current_name(name))


def _open_scene(blend: BlendFile, sheet: JobSheet, wish: Wish) -> bpy.types.Scene:
    """The job's scene from its .blend, with the user's changes; an empty scene where there is none."""
    if wish.first and not blend.exists():
        raise OutputError(f'--from continues an earlier run, but there is no "{blend.path}": run without --from first')
    if blend.exists() and (wish.first or not wish.afresh):
        scene = blend.open(sheet)
        register()
        return scene
    # Resets only the scene: the user's preferences contain the graphics card and the add-on itself.
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    register()
    assert bpy.context.scene is not None
    return bpy.context.scene


def register() -> None:
    """Register the add-on's settings, so that the .blend opens in a window with them filled in."""
    from .. import register, registered

    if not registered():
        register()


def _keep_settings(sheet: JobSheet, scene: bpy.types.Scene) -> None:
    from ..ui.properties import fill

    fill(scene, sheet, catalogue())


def summary(report: Report, words: Sequence[str], check: Sequence[str], out: Path, spent: float) -> list[str]:
    """The lines printed at the end: the time taken, what was made and where, what to check."""
    figures = {name: result.figures for name, result in report.results.items()}
    rendering = report.seconds.get("render")
    device = figures.get("render", {}).get("device", "")
    of_it = f", {clock(rendering)} of it rendering on {device}" if rendering is not None else ""
    lines = [f"Done in {clock(spent)}{of_it}"]
    pictures = _made(figures)
    lines += [f"Made: {pictures}"] if pictures else []
    lines += _places(out, page="export" in figures and (out / PAGE).exists())
    return [*lines, *words, *_to_check_lines(check)]


def _unchanged(out: Path) -> list[str]:
    """The lines printed where there is nothing to do, with what is still to be checked."""
    with contextlib.suppress(OSError, ValueError, RecursionError):
        kept = json.loads((out / SUMMARY).read_text(encoding="utf-8"))
        check = [str(words) for words in kept.get("check", ())]
        words = "Nothing has changed since the last run, so everything stays as it is (--afresh makes it again)"
        return [words, *_places(out, page=(out / PAGE).exists()), *_to_check_lines(check)]
    return ["Nothing has changed since the last run"]


def _places(out: Path, *, page: bool) -> list[str]:
    return [f"For the client: {out / PAGE}", f"For you: {out / MAKERS_PAGE}"] if page else [f"Everything is in {out}"]


def _to_check_lines(check: Sequence[str]) -> list[str]:
    return [f"To check ({len(check)}):", *(f"  {line}" for line in check)] if check else ["To check: nothing"]


def _keep_summary(out: Path, report: Report, check: Sequence[str], spent: float) -> None:
    """Write summary.json, which a series reads for its pages."""
    export = report.results["export"].figures if "export" in report.results else {}
    kept = {name: export.get(name, "") for name in ("title", "line", "cover", "alt")}
    table = {**kept, "check": list(check), "seconds": round(spent, 1)}
    write_text(out / SUMMARY, json.dumps(table, indent=1, sort_keys=True) + "\n")


def to_check(report: Report, notes: Notes, results: dict[str, dict[str, Any]]) -> list[str]:
    """What a person should check, as sentences, including results of steps that ran earlier, which the scene stores."""
    earlier = [step for step in results if step not in report.results]
    warned = [f"! {step}: {words}" for step in earlier for words in results[step].get("warnings", ())]
    asked = [
        (question.step, question.decision)
        for question in questions(results)
        if question.step in earlier and question.decision.asked
    ]
    return [
        *warned, *map(str, notes.warnings()),
        *(f"? {step}: {decision.sentence()}" for step, decision in (*asked, *report.asked())),
    ]  # fmt: skip


def _made(figures: dict[str, dict[str, Any]]) -> str:
    render, files = figures.get("render", {}), figures.get("export", {}).get("files", ())
    counted = [
        (render.get("stills", 0), "still"), (render.get("cutouts", 0), "cut-out"),
        (render.get("frames", 0), "frame of the turn"), (len(files), "file to hand over"),
    ]  # fmt: skip
    words = [several(count, noun) for count, noun in counted if count]
    if reused := render.get("reused"):
        words.append(f"{reused} of the pictures {'was' if reused == 1 else 'were'} there already")
    return ", ".join(words)
