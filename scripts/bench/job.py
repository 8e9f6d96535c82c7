"""How long does the whole job take, and how much memory, on the demo and on a real scan?

Two parts a case, each in processes of its own. `whole`: the job once, from the scan to all pictures; `seconds_total` and
`peak_mb` are that run's. `rest`: the job five times more, in the same folder, where the pictures stand and are kept, so that
all is done but what Cycles does; `seconds_without_render` (the process from start to end) is their median. What the render step
does beside Cycles (digests of the scene, film, contact sheet) is in it.
A run that renders again a picture that nothing has changed is a failure. `--cases demo-whole` runs one part alone.
"""

from __future__ import annotations

import json
import shutil
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from scripts import real_scans

from . import ROOT, Options, Record

CHILD = (
    "import resource, sys; from blender_addon.cli import leave, main; code = main(sys.argv[1:]); "
    "print('PEAK_KB', resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, flush=True); leave(code)"
)
REPEATS = 5


@dataclass(frozen=True)
class Run:
    """One run of the job: wall seconds of its process, peak memory in MB, pictures rendered."""

    seconds: float
    peak_mb: float
    rendered: int


def run(record: Record, options: Options) -> None:
    """Both cases; `--fast` renders proofs and repeats the rest once."""
    for case, find in (("demo", _demo), ("bowl", _bowl)):
        whole, rest = (options.wants(f"{case}-{part}") for part in ("whole", "rest"))
        if whole or rest:
            try:
                _case(record, options, case, find(options.out), whole=whole, rest=rest)
            except (RuntimeError, real_scans.Unavailable) as error:
                record.fail(f"{case}: {error}")


def _demo(folder: Path) -> Path:
    return next((ROOT / "assets_demo").glob("*.toml"))


def _bowl(folder: Path) -> Path:
    """The smallest useful sheet for the real bowl: its file and its height; and pictures as large as the demo's."""
    sheet = folder / "bowl.toml"
    scan = real_scans.fetch("bowl").as_posix()
    tables = (f'[intake]\nscan = "{scan}"', "[orientation]\nheight = 75.0", "[render]\nsize = 960\nturntable_size = 480")
    sheet.write_text("\n\n".join(("bozzetto = 1", *tables)) + "\n", encoding="utf-8")
    return sheet


def _case(record: Record, options: Options, case: str, sheet: Path, *, whole: bool, rest: bool) -> None:
    out = options.out / case
    sets = ("render.quality=proof", "render.frames=2") if options.fast else ()
    if whole:
        shutil.rmtree(out, ignore_errors=True)
        first = _timed(sheet, out, sets)
        record.add("seconds_total", first.seconds, case=case, unit="s", goal="<= 480")
        record.add("peak_mb", first.peak_mb, case=case, unit="MB")
    if not rest:
        return
    if not (out / "figures.json").is_file():
        raise RuntimeError(f"{case}-rest keeps the pictures of {case}-whole, which has not run in {out}")
    times = []
    for _ in range(1 if options.fast else REPEATS):
        again = _timed(sheet, out, sets)
        times.append(again.seconds)
        print(f"  {case}: {times[-1]:.1f} s without rendering", flush=True)
        if again.rendered:
            record.fail(f"{case}: {again.rendered} pictures were rendered again though nothing had changed")
    record.add("seconds_without_render", statistics.median(times), case=case, unit="s", goal="<= 30")


def _timed(sheet: Path, out: Path, sets: tuple[str, ...]) -> Run:
    """Run a sheet in a process of its own; raises RuntimeError with its last words when it fails."""
    figures = out / "figures.json"
    figures.unlink(missing_ok=True)
    command = [sys.executable, "-c", CHILD, "run", str(sheet), "--out", str(out), "--quiet"]
    for assignment in sets:
        command += ["--set", assignment]
    start = time.perf_counter()
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    seconds = time.perf_counter() - start
    if done.returncode:
        raise RuntimeError((done.stderr or done.stdout).strip()[-600:] or f"ended with {done.returncode}")
    peak = next(int(line.split()[1]) for line in done.stdout.splitlines() if line.startswith("PEAK_KB"))
    render = json.loads(figures.read_text(encoding="utf-8"))["render"]
    return Run(seconds, peak / (1e6 if sys.platform == "darwin" else 1e3), render["rendered"])
