"""How does the add-on feel in a real window? Clicks and seconds to a picture, the longest freeze, redraws, random operators.

Measured by a driver inside a Blender with a window (`scripts/screens`; Debian and root), on the demo's scans and on the host
tests' small one. Where that Blender can't be had the bench fails: nothing else can tell.

redraw_ms: our draw callbacks of one redraw, every panel open with every setting, three million triangles in the scene.
longest_block_s: the longest stretch of our own work between two looks at the window's events; calls into Blender that can't be
split, which are announced as such, are left out; longest_block_cpu_s is the processor's time in it, since what else runs on the
machine is none of ours. seconds_to_first_picture: from the press of the button until the view has drawn
a rendered picture of the dressed and lit hero, at least 480 pixels wide; it is a first look, without the recovered relief and
the debris.
Seconds depend on the machine: here the processor renders and draws the window too, and what else runs takes its share.
"""

from __future__ import annotations

import json
import math
import os
import shutil
from pathlib import Path

from scripts.screens import shots
from scripts.tasks import TaskError, packaging

from . import ROOT, Options, Record
from .faults.job import SHEET

PARTS = ("tooltips", "first", "redraw", "fuzz", "edits")
ACTS, FEWEST = 320, 300
"""Operators that are called at random, and how many there must be."""


def run(record: Record, options: Options) -> None:
    """All parts in one session; `--cases fuzz,redraw` runs some; `--fast` calls a tenth of the operators.

    `--cases fuzz --piece 2/8 --keep` calls an eighth of them, drawn again; the pieces' rows stand beside each other.
    """
    parts = [part for part in PARTS if options.wants(part)]
    wanted: dict[str, object] = {
        "session": "measure", "measure": parts, "until": "", "scans": ["owl_dusted.obj", "stand_bare.obj"],
        "fuzz": (ACTS // 10 if options.fast else ACTS) // options.piece[1], "seed": options.piece[0],
    }  # fmt: skip
    try:
        played = shots.play(packaging.package(), _scans, lambda: wanted, seconds=2400)
    except TaskError as error:
        record.fail(str(error))
        return
    options.out.mkdir(parents=True, exist_ok=True)
    for picture in played.pictures:
        shutil.copy(picture, options.out)
    (options.out / "log.txt").write_text(played.log, encoding="utf-8")
    for line in played.trouble:  # at random much is asked that can't be done: that it is said in words is the right answer
        if "fuzz" not in parts or not line.startswith("Error: "):
            record.fail(line)
    if played.code:
        record.fail(f"the window's Blender ended with {played.code}: see {options.out / 'log.txt'}")
    measured = played.out / "measured.json"
    if not measured.is_file():
        return
    found = json.loads(measured.read_text(encoding="utf-8"))
    _rows(record, found, options.piece)
    (options.out / "measured.json").write_text(json.dumps(found, indent=1), encoding="utf-8")


def _scans(folder: Path) -> str:
    """The demo's two scans and the small scan of the host tests in one folder."""
    for path in (ROOT / "assets_demo").glob("*.*"):
        if path.suffix in (".obj", ".mtl", ".jpg", ".toml"):
            shutil.copy(path, folder)
    edited = folder.parent / "edited"
    edited.mkdir()
    (edited / "__init__.py").touch()
    for name in ("edits_of_objects.py", "edits_of_data.py"):
        shutil.copy(Path(__file__).parent / "faults" / name, edited)
    (folder / "edits.toml").write_text(SHEET, encoding="utf-8")
    return shots.small_job(folder)


def _rows(record: Record, found: dict[str, float], piece: tuple[int, int]) -> None:
    """What was measured, beside its goals."""
    load = f"{os.getloadavg()[0]:.1f}"
    fuzzed = "demo" if piece[1] == 1 else f"piece {piece[0]} of {piece[1]}"
    for metric, name, unit, goal in (
        ("tooltips_missing", "tooltips_missing", "", "<= 0"),
        ("clicks_to_picture", "clicks_to_picture", "", "<= 3"),
        ("seconds_to_first_picture", "seconds_to_first_picture", "s", "<= 35"),
        ("first_picture_pixels", "first_picture_pixels", "px", ">= 480"),
        ("seconds_to_first_still", "seconds_to_first_still", "s", ""),
        ("longest_block_s", "longest_block_s", "s", "<= 0.5"),
        ("longest_block_cpu_s", "longest_block_cpu_s", "s", ""),
        ("redraw_ms", "redraw_ms", "ms", "<= 5"),
        ("edits", "edits", "", f">= {50}"),
        ("edits_kept_percent", "edits_kept_percent", "%", ">= 100"),
        ("fuzz_operators", "fuzz_operators", "", f">= {math.ceil(FEWEST / piece[1])}"),
        ("fuzz_failures", "fuzz_failures", "", "<= 0"),
    ):
        if found.get(name) is not None:
            record.add(
                metric,
                float(found[name]),
                case=fuzzed if metric.startswith("fuzz") else "demo",
                unit=unit,
                goal=goal,
                yardstick=f"load {load}" if unit else None,
            )
