"""Does a job go on after its disk was full in the middle of a run and the user made room? On a small disk, whole runs.

A disk is filled when a step begins, so that the run ends wherever it next writes. It must end in words with exit code 1, leave
the old .blend with the edit in it and no file cut; with room again, the same command must end well, keep the edit, and leave
the same pictures as a run that nothing disturbed. The disk is a small file system in memory, which asks for root on Linux;
elsewhere nothing is tried.
"""

from __future__ import annotations

import hashlib
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

from .. import Options, Record
from . import tell
from .full_disks import _fill, small_disk
from .kills import LargerJob, broken, started, unedited

STEPS = ("Load scans", "Lighting", "Render", "Render", "Delivery files")
"""Labels of the steps, in whose course the disk is filled; the second time in the middle of the pictures."""
LEAVES = (0, 0, 0, 60_000, 20_000)
"""Bytes that stay free."""
SPARE = 60_000_000
"""Bytes that the disk has beyond what the finished job takes: .blend, drafts and pictures lie there twice for a while."""


def run(record: Record, options: Options) -> None:
    """All moments; `--fast` one."""
    job = LargerJob(options.out / "room")
    quiet = options.out / "room" / "quiet"
    copied(job, quiet)
    if job.command(quiet) != 0:
        raise RuntimeError("the edited job does not run")
    tried = options.share(list(zip(STEPS, LEAVES, strict=True)))[: 1 if options.fast else None]
    went_on, count = 0, 0
    for label, leave in tried:
        found = list(filled(job, options.out / "room" / "disk", quiet, label, leave))
        if found == [NO_DISK]:
            print(f"  {NO_DISK}", flush=True)
            return
        count, went_on = count + 1, went_on + (not found)
        for words in found:
            record.fail(f"disk full in {label}, {leave} bytes left: {words}")
    tell(record, options, ("full_runs", "full_runs_went_on"), (count, went_on), least=5)


NO_DISK = "no small disk can be mounted here, so nothing was tried"


def copied(job: LargerJob, out: Path) -> None:
    """The finished and edited job's folder without its pictures, so that they are rendered again."""
    shutil.rmtree(out, ignore_errors=True)
    shutil.copytree(job.blend.parent, out, ignore=shutil.ignore_patterns("*.png", ".originals", ".last_run.json"))


def filled(job: LargerJob, place: Path, quiet: Path, label: str, leave: int) -> Iterator[str]:
    """Fill the disk when a step begins, make room, run again; what is wrong, in words. quiet: a run that nothing disturbed."""
    size = sum(path.stat().st_size for path in job.blend.parent.rglob("*") if path.is_file())
    with small_disk(place, 2 * size + SPARE) as disk:
        if disk is None:
            yield NO_DISK
            return
        out = disk / "out"
        copied(job, out)
        work = started(job, out)
        assert work.stdout is not None
        said = []
        for line in work.stdout:
            said.append(line.rstrip())
            if line.startswith("[") and f"  {label}: " in line and not (disk / "ballast").exists():
                _fill(disk / "ballast", leave=leave)
        code = work.wait()
        if code != 1:
            yield f"ended with {code}: {said[-1:]}"
        if any("Traceback" in line for line in said) or not any("room" in line or "full" in line for line in said[-4:]):
            yield f"did not say so: {said[-3:]}"
        yield from unedited(out / "job.blend", "after the disk was full")
        yield from broken(out)
        (disk / "ballast").unlink(missing_ok=True)
        time.sleep(0.1)
        if job.command(out) != 0:
            yield "the next run failed"
        yield from unedited(out / "job.blend", "after the next run")
        yield from broken(out)
        drafts = [path.name for path in out.rglob("*") if ".draft" in path.name]
        if drafts:
            yield f"left behind: {drafts}"
        other = _pictures(quiet) ^ _pictures(out)
        if other:
            yield f"pictures that are not those of an undisturbed run: {sorted({name for name, _ in other})[:4]}"


def _pictures(folder: Path) -> set[tuple[str, str]]:
    """(name, digest) of each finished picture."""
    found = [path for path in folder.rglob("*.png") if not any(part.startswith(".") for part in path.relative_to(folder).parts)]
    return {(str(path.relative_to(folder)), hashlib.sha256(path.read_bytes()).hexdigest()) for path in found}
