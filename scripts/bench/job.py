"""How long does the whole job take, and how much memory, on the demo and on a real scan?

The whole job runs once a case, in a process of its own: `seconds_total` and `peak_mb` are that run's. Then it runs four times
more with the pictures left out, so that `seconds_without_render` (the process from start to end, less the render step) is a
median of 5. The yardstick is the time that a person needs for the set alone, 15 minutes by common practice.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from scripts import real_scans

from . import ROOT, Options, Record

BY_HAND_SECONDS = 900.0
CHILD = (
    "import resource, sys; from blender_addon.cli import leave, main; code = main(sys.argv[1:]); "
    "print('PEAK_KB', resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, flush=True); leave(code)"
)
NO_PICTURES = ("render.stills=false", "render.turntable=false", "render.contact_sheet=false")


@dataclass(frozen=True)
class Run:
    """One run of the job: wall seconds of its process, of its render step, peak memory in MB."""

    seconds: float
    render_seconds: float
    peak_mb: float


def run(record: Record, options: Options) -> None:
    """Both cases; `--fast` leaves out the repeats and renders proofs."""
    for case, sheet in _sheets(record, options):
        try:
            _case(record, options, case, sheet)
        except RuntimeError as error:
            record.fail(f"{case}: {error}")


def _sheets(record: Record, options: Options) -> list[tuple[str, Path]]:
    sheets = []
    demo = sorted((ROOT / "assets_demo").glob("*.toml"))
    if options.wants("demo"):
        if demo:
            sheets.append(("demo", demo[0]))
        else:
            record.fail("assets_demo holds no job sheet")
    if options.wants("bowl"):
        try:
            sheets.append(("bowl", _bowl(options.out)))
        except real_scans.Unavailable as error:
            record.fail(str(error))
    return sheets


def _bowl(folder: Path) -> Path:
    """The smallest useful sheet for the real bowl: its file and its height, nothing else."""
    sheet = folder / "bowl.toml"
    scan = real_scans.fetch("bowl").as_posix()
    sheet.write_text(f'bozzetto = 1\n\n[intake]\nscan = "{scan}"\n\n[orientation]\nheight = 75.0\n', encoding="utf-8")
    return sheet


def _case(record: Record, options: Options, case: str, sheet: Path) -> None:
    proof = ("render.quality=proof", "render.frames=2") if options.fast else ()
    whole = _timed(sheet, options.out / case, proof)
    record.add("seconds_total", whole.seconds, case=case, unit="s", goal="<= 480")
    record.add("peak_mb", whole.peak_mb, case=case, unit="MB")
    rest = [whole.seconds - whole.render_seconds]
    for turn in range(0 if options.fast else 4):
        again = _timed(sheet, options.out / f"{case}-{turn}", NO_PICTURES)
        rest.append(again.seconds - again.render_seconds)
    record.add("seconds_without_render", statistics.median(rest), case=case, unit="s", yardstick=BY_HAND_SECONDS, goal="<= 60")


def _timed(sheet: Path, out: Path, sets: tuple[str, ...]) -> Run:
    """Run a sheet in a process of its own; raises RuntimeError with its last words when it fails."""
    figures = out / "figures.json"
    figures.unlink(missing_ok=True)
    command = [sys.executable, "-c", CHILD, "run", str(sheet), "--out", str(out), "--quiet"]
    for one in sets:
        command += ["--set", one]
    start = time.perf_counter()
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    seconds = time.perf_counter() - start
    if done.returncode:
        raise RuntimeError((done.stderr or done.stdout).strip()[-600:] or f"ended with {done.returncode}")
    peak = next(int(line.split()[1]) for line in done.stdout.splitlines() if line.startswith("PEAK_KB"))
    render = json.loads(figures.read_text(encoding="utf-8"))["render"]["seconds"]
    return Run(seconds, float(render), peak / (1e6 if sys.platform == "darwin" else 1e3))
