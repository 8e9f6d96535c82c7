"""Is the right picture taken for the colour? On labelled scans and on made-up folders of odd names.

`python -m scripts.bench.decisions.pictures [FOLDER OF SCANS]` prints the rows; alone, without the bench of decisions.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.job import sheet
from blender_addon.job.decisions import Decision
from blender_addon.job.runner import chosen, finish, run_job
from blender_addon.job.step import from_module, ordered
from blender_addon.scene.images import make_image
from blender_addon.scene.stage import Stage
from blender_addon.steps.scan import intake
from scripts.photos.odd_folders import FOLDERS, Form, write

from .. import Options, Record
from .._processes import Part
from .scans import folder

Row = dict[str, Any]
IN_THE_FILE = "(in the file)"
LIMIT = ">= 100"


def parts(record: Record, options: Options) -> list[Part]:
    """The labelled scans as exported are one part, the made-up folders another."""
    if not (options.wants("pictures") or options.wants("scans/file")):
        return []
    found = [Part("pictures", _made)]
    try:
        found.append(Part("pictures", _labelled, (folder(),)))
    except FileNotFoundError as missing:
        record.fail(str(missing))
    return found


def report(record: Record, found: list[list[Row]]) -> None:
    """The rows of the pictures' roles."""
    for row in sorted((row for part in found for row in part), key=lambda row: (row["metric"], row["case"])):
        limit = LIMIT if row["metric"] == "base_picture_right_percent" else ""
        record.add(row["metric"], row["value"], case=row["case"], goal=limit, floor=limit)


def rows(scans: Path) -> list[Row]:
    """base_picture_right_percent of the labelled scans and of the made-up folders; a row a case that is wrong or asked."""
    return [*_labelled(scans), *_made()]


def _labelled(scans: Path) -> list[Row]:
    labels = json.loads((scans / "labels.json").read_text(encoding="utf-8"))
    right, found = [], []
    for name, label in labels.items():
        bases, _, stated = taken(scans / name / label["file"])
        wanted = label["base_picture"]
        good = bases == [wanted] if wanted != IN_THE_FILE else bases == stated
        right.append(good)
        if not good:
            found.append({"case": f"case_{name}", "metric": "base_picture_right", "value": 0.0})
    share = 100.0 * float(np.mean(right))
    return [{"case": "scans/file", "metric": "base_picture_right_percent", "value": share}, *found]


def _made() -> list[Row]:
    form, right, asked, seconds, found = Form(), 0, 0, 0.0, []
    with tempfile.TemporaryDirectory() as place:
        for number, folder in enumerate(FOLDERS):
            mesh = write(folder, form, Path(place) / str(number), _save)
            start = time.perf_counter()
            bases, decision, _ = taken(mesh)
            seconds = max(seconds, time.perf_counter() - start)
            good = bases == list(folder.right)
            right += good
            asked += bool(decision and decision.asked)
            if not good:
                found.append({"case": f"case_{folder.name}", "metric": "base_picture_right", "value": 0.0})
    count = len(FOLDERS)
    return [
        {"case": "made/file", "metric": "base_picture_right_percent", "value": 100.0 * right / count},
        {"case": "made/file", "metric": "base_picture_asked_percent", "value": 100.0 * asked / count},
        {"case": "made/file", "metric": "base_picture_seconds", "value": seconds},
        *found,
    ]


def taken(path: Path) -> tuple[list[str | None], Decision | None, list[str | None]]:
    """The base picture's file name that intake takes for each slot of a scan, what it says of it, and what the scan's own
    material names (in a binary glTF)."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    steps = ordered([from_module(intake)])
    job = sheet.parse("bozzetto = 1\n", steps, name="pictures", folder=path.parent)
    job["intake"].scans = [intake.Scan(file=str(path))]
    stage = Stage(bpy.context.scene, job)
    result = finish(run_job(chosen(steps), steps, job, stage)).results["intake"]
    names = [_shown(name) for name in result.figures["base_pictures"]]
    stated = _stated(path) if path.suffix.lower() == ".glb" else []
    decision = next((candidate for candidate in result.decisions if candidate.key == "pictures"), None)
    return names, decision, stated


def _shown(name: str) -> str | None:
    """None for no picture; pictures inside of the scan's file have no file of their own."""
    if not name:
        return None
    return name if Path(name).suffix else IN_THE_FILE


def _stated(path: Path) -> list[str | None]:
    """For each material of a binary glTF (Khronos, glTF 2.0, section 4.4) whether it names a base colour texture."""
    data = path.read_bytes()
    length = int.from_bytes(data[12:16], "little")
    content = json.loads(data[20 : 20 + length])
    named = [material.get("pbrMetallicRoughness", {}).get("baseColorTexture") for material in content.get("materials", [])]
    return [IN_THE_FILE if picture is not None else None for picture in named]


def _save(path: Path, values: Any) -> None:
    image = make_image("made", values)
    image.file_format = "PNG" if path.suffix.lower() == ".png" else "JPEG"
    image.save(filepath=str(path), quality=92)
    bpy.data.images.remove(image)


if __name__ == "__main__":
    for row in rows(Path(sys.argv[1] if len(sys.argv) > 1 else "out/scans")):
        print(f"{row['case']:40} {row['metric']:30} {row['value']:.4g}")
