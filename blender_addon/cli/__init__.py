"""The command line: `bozzetto run JOB.toml --out DIR`, `series LOOK.toml FOLDER`, `new SCAN`, `photos FOLDER`, `steps`.

Started as `blender --command bozzetto ...` where the add-on is installed, or as a module beside a `bpy` wheel.
"""

from __future__ import annotations

import argparse
import io
import os
import shutil
import sys
import traceback
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import bpy

from ..job.errors import JobError, OutputError, SheetError
from ..job.files.names import cleaned
from ..job.files.places import folder_names
from ..job.notes import several
from ..job.settings import specs
from ..job.settings_reference import as_markdown
from ..job.sheet import blank, override, short, written
from ..job.stopping import Stopped, Stopping
from ..scene.running.session import write_text
from ..steps import catalogue
from .photos import add_photos
from .running import Wish, run_sheet
from .series import run_series

MOST_WORKERS = 256


def main(argv: Sequence[str]) -> int:
    """Run the command line; returns 0 on success, 1 for an error that the user can fix, 2 for wrong arguments."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # file names must not fail on a terminal with another encoding
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
    except BrokenPipeError:  # the reader of the output has closed the pipe
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
    run.add_argument("--out", type=Path, metavar="DIR", help="folder for all output (default: out/NAME beside the sheet)")
    run.add_argument("--scan", action="append", default=[], type=Path, metavar="SCAN",
                     help="use this scan instead of the sheet's; a second one shows the stand")  # fmt: skip
    run.add_argument("--name", metavar="NAME", help="the job's name instead of the sheet's")
    run.add_argument("--place", type=int, metavar="N", help="the piece's number in its series, which chooses its props")
    run.add_argument("--set", action="append", default=[], dest="sets", metavar="STEP.FIELD=VALUE", help="override a setting")
    run.add_argument("--from", dest="first", metavar="STEP", help="start here; the steps before it must have run")
    run.add_argument("--until", dest="last", metavar="STEP", help="stop after this step")
    run.add_argument(
        "--afresh",
        action="store_true",
        help="start from the beginning, discarding changes made by hand; the earlier .blend is kept under another name",
    )
    run.add_argument("--quiet", action="store_true", help="no progress")
    _add_workers(run)
    run.set_defaults(command=_run)

    series = commands.add_parser("series", help="run a folder of scans with one job sheet as their look")
    series.add_argument("look", type=Path, metavar="LOOK.toml", help="the job sheet; its own scans are ignored")
    series.add_argument("scans", type=Path, metavar="FOLDER",
                        help="scans, or folders with one scan each; its pieces.csv lists what differs")  # fmt: skip
    series.add_argument("--out", type=Path, metavar="DIR", help="folder for all output (default: out/NAME beside the sheet)")
    series.add_argument("--title", metavar="WORDS", help="the series' title on its page (default: the folder's name)")
    series.add_argument(
        "--set", action="append", default=[], dest="sets", metavar="STEP.FIELD=VALUE", help="override a setting"
    )
    series.add_argument("--afresh", action="store_true", help="make every piece again")
    series.add_argument("--quiet", action="store_true", help="no progress")
    _add_workers(series)
    series.set_defaults(command=_series)

    new = commands.add_parser("new", help="write a short job sheet for a scan")
    new.add_argument("scans", nargs="*", metavar="SCAN", help="scan files, the one with the piece first")
    new.add_argument("--height", type=float, metavar="MM", help="the piece's height in mm")
    new.add_argument("--all", action="store_true", help="write every setting with an explanation")
    new.add_argument("--to", type=Path, metavar="JOB.toml", help="where to write it (default: beside the first scan)")
    new.set_defaults(command=_new)

    add_photos(commands)
    steps = commands.add_parser("steps", help="list the steps and their settings")
    steps.add_argument("--settings", action="store_true", help="with every setting")
    steps.set_defaults(command=_steps)
    commands.add_parser("paint").set_defaults(command=lambda options: _paint())  # used only by `job/farm.py`
    return parser


def _add_workers(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--workers", type=_count, default=0, metavar="N", help="render N pictures at once in processes of this machine"
    )
    parser.add_argument(
        "--cluster", default="", metavar="ADDRESS", help="render on the cluster of dask.distributed at this address"
    )


def _count(written: str) -> int:
    count = int(written) if written.isascii() and written.isdigit() else 0
    if not 1 <= count <= MOST_WORKERS:
        raise argparse.ArgumentTypeError(f'"{written}" is no whole number from 1 to {MOST_WORKERS}')
    return count


def _paint() -> int:
    from .painter import paint

    return paint()


def _run(options: argparse.Namespace) -> int:
    failed: list[str] = []
    batch = len(options.sheets) > 1
    if batch and (options.scan or options.name):
        raise SheetError("--scan and --name are for one sheet; for a folder of scans there is bozzetto series")
    for number, (path, folder) in enumerate(zip(options.sheets, folder_names(options.sheets), strict=True), 1):
        options.stopping.check()
        try:
            wish = _wish(options, folder if batch else "")
            run_sheet(path, replace(wish, place=number) if batch else wish, options.stopping)
        except JobError as error:
            if not batch:
                raise
            failed.append(f"{path}: {error}")
            print(f"bozzetto: {path}: {error}", file=sys.stderr)
        except Exception:  # a bug that shows in one job of a batch must not stop the others
            if not batch:
                raise
            failed.append(f"{path}: an error in Bozzetto, see above")
            traceback.print_exc()
            print(f"bozzetto: {path}: stopped by an error in Bozzetto, see above", file=sys.stderr)
    if batch:
        print(
            f"{several(len(options.sheets), 'job')}: {len(options.sheets) - len(failed)} made"
            + "".join(f"\n  FAILED {line}" for line in failed)
        )
    return 1 if failed else 0


def _series(options: argparse.Namespace) -> int:
    out = options.out or options.look.resolve().parent / "out" / cleaned(options.scans.resolve().name)
    wish = Wish(name=options.title or "", sets=tuple(options.sets), afresh=options.afresh, quiet=options.quiet)
    more = ["--workers", str(options.workers)] if options.workers else []
    more += ["--cluster", options.cluster] if options.cluster else []
    return 1 if run_series(options.look, options.scans, out, wish, options.stopping, more=more) else 0


def _wish(options: argparse.Namespace, folder: str = "") -> Wish:
    return Wish(
        out=options.out, folder=folder, name=options.name or "", scans=tuple(options.scan), sets=tuple(options.sets),
        first=options.first, last=options.last, afresh=options.afresh, quiet=options.quiet,
        workers=options.workers, cluster=options.cluster, place=options.place,
    )  # fmt: skip


def _new(options: argparse.Namespace) -> int:
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


def _steps(options: argparse.Namespace) -> int:
    for step in catalogue():
        print(f"{step.name:13s} {step.help}")
    if options.settings:
        print()
        print(as_markdown(catalogue()))
    return 0


def leave(code: int) -> None:
    """End the process of a `bpy` wheel with this code, skipping Blender's own cleanup, in which 4.5 crashes or hangs.

    All files are written and closed by now; only Blender's temporary folder must be removed.
    """
    shutil.rmtree(bpy.app.tempdir, ignore_errors=True)
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)
