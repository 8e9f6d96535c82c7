"""Is anything lost when a run is killed in the middle? At random moments of every step, by three signals, on 20 k triangles.

After each kill the old .blend must open with the edit that is in it, no half-written file may lie under its final name, and
the next run must end well and keep the edit. The moments are drawn by a seed; the output of the run shows when a step begins.
"""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import bpy
import numpy as np
from PIL import Image

from blender_addon.cli.itself import own_environment
from blender_addon.steps import catalogue
from tests.host import small_scan

from .. import ROOT, Options, Record
from . import tell
from .job import SmallJob

SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
CODES = {signal.SIGTERM: 143, signal.SIGINT: 130}
AROUND, ALONG = 128, 80
"""Rings and points of the scan: about 20,000 triangles."""
EDIT = 0.0125
"""Where the rule was put by hand, m."""
LATEST = 0.8
"""Seconds after a step has begun within which the signal falls; a step that is over by then is hit in the next."""


@dataclass(frozen=True)
class Kill:
    """One kill: in which step, how long after it began, by which signal."""

    step: str
    after: float
    number: int


def kills(count: int, seed: int = 1) -> list[Kill]:
    """`count` kills, the steps and the signals in turn, the moments at random."""
    rng = np.random.default_rng(seed)
    labels = [step.label for step in catalogue()]
    return [
        Kill(labels[place % len(labels)], float(rng.uniform(0.0, LATEST)), SIGNALS[place % len(SIGNALS)])
        for place in range(count)
    ]


def started(job: SmallJob, out: Path) -> subprocess.Popen:
    """The command in a process of its own."""
    command = [sys.executable, "-m", "blender_addon.cli", "run", str(job.sheet), "--out", str(out)]
    return subprocess.Popen(
        command, cwd=ROOT, env=own_environment(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )


def struck(work: subprocess.Popen, kill: Kill) -> int:
    """Wait until the step begins, send the signal, and return the exit code."""
    assert work.stdout is not None
    try:
        for line in work.stdout:
            if line.startswith("[") and f"  {kill.step}: " in line:
                time.sleep(kill.after)
                work.send_signal(kill.number)
                break
        work.stdout.read()
        return work.wait()
    finally:
        if work.poll() is None:
            work.kill()
            work.wait()


def harm(job: SmallJob, out: Path, kill: Kill) -> list[str]:
    """Kill one run over the finished and edited job; what is lost, in words."""
    shutil.rmtree(out, ignore_errors=True)
    shutil.copytree(job.blend.parent, out)
    code = struck(started(job, out), kill)
    found = []
    if code not in (0, -signal.SIGKILL, CODES.get(kill.number, 0)):
        found.append(f"ended with {code}")
    found += broken(out)
    found += unedited(out / "job.blend", "after the kill")
    if job.command(out) != 0:
        found.append("the next run failed")
    found += broken(out) + unedited(out / "job.blend", "after the next run")
    whole = {path.relative_to(job.blend.parent) for path in job.blend.parent.rglob(".*")}
    leftovers = [path.name for path in out.rglob(".*") if path.relative_to(out) not in whole]
    return found + ([f"left behind: {', '.join(sorted(leftovers))}"] if leftovers else [])


def unedited(blend: Path, when: str) -> list[str]:
    """Whether the .blend opens, and the rule lies where it was put."""
    try:
        bpy.ops.wm.open_mainfile(filepath=str(blend))
    except RuntimeError as error:
        return [f"the .blend can't be opened {when}: {error}"]
    rule = bpy.data.objects.get("Rule")
    if rule is None or abs(rule.location.y - EDIT) > 1e-6:
        return [f"the edit is lost {when}"]
    return []


def broken(out: Path) -> list[str]:
    """Pictures under their final names that can't be read to the end."""
    found = []
    for path in out.rglob("*.png"):
        if path.name.startswith("."):
            continue
        try:
            Image.open(path).load()
        except OSError as error:
            found.append(f"{path.name} is broken: {error}")
    return found


class LargerJob(SmallJob):
    """The same job with a scan of 20,000 triangles, and the rule moved by hand."""

    def __init__(self, folder: Path):
        kept = small_scan.AROUND, small_scan.ALONG
        small_scan.AROUND, small_scan.ALONG = AROUND, ALONG
        try:
            super().__init__(folder)
        finally:
            small_scan.AROUND, small_scan.ALONG = kept
        bpy.ops.wm.open_mainfile(filepath=str(self.blend))
        bpy.data.objects["Rule"].location.y = EDIT
        bpy.ops.wm.save_mainfile(filepath=str(self.blend))


def run(record: Record, options: Options) -> None:
    """42 kills, three in each of the steps; `--fast` tries three."""
    job = LargerJob(options.out / "kills")
    tried = options.share(kills(3 if options.fast else 42))
    survived = 0
    for kill in tried:
        found = harm(job, options.out / "kills" / "killed", kill)
        survived += not found
        for words in found:
            record.fail(f"{kill}: {words}")
    tell(record, options, ("kills", "kills_survived"), (len(tried), survived), least=40)
