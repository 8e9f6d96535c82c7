"""A Blender process that runs one case after another: reads case numbers by lines, writes each result as a line of JSON.

Each case must end in a result or in one error that a user can mend, within its time; nothing may be printed, no input changed,
no half file left, no data left in the scene. Warnings of numpy's arithmetic count as failures.
"""

from __future__ import annotations

import hashlib
import json
import os
import resource
import shutil
import sys
import time
import traceback
import warnings
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.job.errors import JobError
from blender_addon.job.runner import chosen, finish
from blender_addon.job.sheet import JobSheet, blank, read
from blender_addon.scene.meshes import read_mesh
from blender_addon.scene.running.session import run_session
from blender_addon.scene.stage import Stage
from blender_addon.steps import catalogue

from .cases import Case
from .sheets import build

KINDS = ("objects", "meshes", "materials", "images", "collections", "cameras", "lights", "armatures", "node_groups", "worlds",
         "actions", "curves", "texts", "libraries")  # fmt: skip
REFRESH = 200
"""Cases after which Blender is set back to its factory state, which takes longer than taking the data away."""
MOST_MB = 1500
"""Memory that a case of some kilobytes may make the process grow by."""


def main(folder: Path) -> None:
    """Answer numbers from standard input until it ends."""
    answers = os.fdopen(os.dup(1), "w")
    chatter = (folder / "chatter.txt").open("w+b")
    for stream in (1, 2):
        os.dup2(chatter.fileno(), stream)
    warnings.simplefilter("error", RuntimeWarning)
    seen: set[str] = set()
    for count, line in enumerate(sys.stdin):
        if count % REFRESH == 0:
            bpy.ops.wm.read_factory_settings(use_empty=True)
            os.ftruncate(chatter.fileno(), 0)
        answers.write(json.dumps(_answer(int(line), folder, chatter, seen)) + "\n")
        answers.flush()


def _answer(number: int, folder: Path, chatter: Any, seen: set[str]) -> dict[str, Any]:
    """Run one case in a folder of its own, and judge it."""
    home = folder / str(number)
    case = build(number)
    before = _laid_down(case, home)
    names = _names()
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.perf_counter()
    outcome, words, failures = "result", "", []
    try:
        words = _run(home, case, seen)
    except JobError as error:
        outcome, words = "refused", str(error)
        if (left := _names()) != names and not Stage(bpy.context.scene, blank(())).has("scan"):
            failures.append(f"left in the scene: {sorted(set(left) - set(names))[:5]}")
    except Exception:
        failures.append(traceback.format_exc(limit=-6))
    seconds = time.perf_counter() - start
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - memory) / 1024.0
    failures += _judged(home, before, chatter)
    if grown > MOST_MB:
        failures.append(f"took {grown:.0f} MB")
    if outcome == "refused" and (len(words) > 700 or "Traceback" in words):
        failures.append("the sentence is no sentence")
    _emptied()
    shutil.rmtree(home, ignore_errors=True)
    shown = words.encode("utf-8", "backslashreplace").decode()
    return {"number": number, "kind": case.kind, "outcome": outcome, "words": shown[:300], "seconds": round(seconds, 3),
            "grown_mb": round(grown), "failures": failures}  # fmt: skip


def _laid_down(case: Case, home: Path) -> dict[str, str]:
    """Write a case's files; what lies there then, name to digest."""
    inputs = home / "in"
    inputs.mkdir(parents=True)
    for name, data in case.files.items():
        (inputs / name).write_bytes(data)
    (inputs / "job.toml").write_bytes(case.sheet)
    if case.prepare is not None:
        case.prepare(inputs)
    for name, data in case.results.items():
        (home / case.out).mkdir(exist_ok=True)
        (home / case.out / name).write_bytes(data)
    return _digests(inputs)


def _digests(folder: Path) -> dict[str, str]:
    """Every entry below a folder to a digest of what it is; only plain files are opened."""
    found = {}
    for place in sorted(folder.rglob("*")):
        if place.is_symlink():
            found[str(place)] = "link " + os.readlink(place)
        elif place.is_file():
            found[str(place)] = hashlib.sha256(place.read_bytes()).hexdigest()
        else:
            found[str(place)] = f"mode {place.lstat().st_mode:o}"
    return found


def _run(home: Path, case: Case, seen: set[str]) -> str:
    """The steps until orientation, as the command line runs them; orientation once for each shape. Words of the result."""
    steps = catalogue()
    sheet = read(home / "in" / "job.toml", steps)
    out, scene = home / case.out, bpy.context.scene
    report, _ = finish(run_session(chosen(steps, last="cleanup"), steps, sheet, scene, out=out))
    shape = _shape(scene, sheet)
    if shape not in seen:
        finish(run_session(chosen(steps, first="orientation", last="orientation"), steps, sheet, scene, out=out))
        seen.add(shape)
    json.loads((out / "figures.json").read_text(encoding="utf-8"))
    return "; ".join(result.words for result in report.results.values())


def _shape(scene: Any, sheet: JobSheet) -> str:
    """A digest of what orientation depends on: the clean mesh and the settings."""
    digest = hashlib.sha256(repr(sheet["orientation"]).encode())
    for item in Stage(scene, sheet).find_all("clean").values():
        mesh = read_mesh(item)
        digest.update(np.ascontiguousarray(mesh.vertices).tobytes() + np.ascontiguousarray(mesh.faces).tobytes())
    return digest.hexdigest()


def _judged(home: Path, before: dict[str, str], chatter: Any) -> list[str]:
    """What a case left behind that it must not."""
    failures = []
    sys.stdout.flush()
    sys.stderr.flush()
    chatter.flush()
    chatter.seek(0)
    said = chatter.read().decode("utf-8", "replace")
    os.ftruncate(chatter.fileno(), 0)
    chatter.seek(0)
    if said.strip("\0 \n"):
        failures.append("printed: " + said.strip("\0 \n")[:600])
    after = _digests(home / "in")
    if after != before:
        failures.append(f"inputs changed: {sorted(set(after.items()) ^ set(before.items()))[:4]}")
    drafts = [place.name for place in home.rglob("*") if ".draft" in place.name or place.name.endswith((".part", ".tmp"))]
    if drafts:
        failures.append(f"left behind: {drafts[:4]}")
    return failures


def _names() -> list[str]:
    return sorted(f"{kind} {block.name}" for kind in KINDS if kind != "texts" for block in getattr(bpy.data, kind))


def _emptied() -> None:
    """Take all data away and forget the job."""
    for kind in KINDS:
        bpy.data.batch_remove(list(getattr(bpy.data, kind)))
    scene = bpy.context.scene
    for key in list(scene.keys()):
        if key.startswith("bozzetto"):
            del scene[key]


if __name__ == "__main__":
    main(Path(sys.argv[1]))
    sys.stdout.flush()
    os._exit(0)  # past the wheel's own tearing down
