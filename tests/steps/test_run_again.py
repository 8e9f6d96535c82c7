"""However often settings were changed in a scene, is it what a fresh run with the last ones makes?

Left out is what a person does not see: the numbers behind the names of data that only other data uses.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import bpy
import pytest

from blender_addon.job import sheet as sheets
from blender_addon.job.runner import chosen, finish, run_job, stale
from blender_addon.scene import roles
from blender_addon.scene.running.job_card import STATE
from blender_addon.scene.stage import Stage
from blender_addon.steps import catalogue
from tests.host.small_scan import write_knob
from tests.scene.whole_file import differences, scene_state, whole_file

STEPS = catalogue()
BASE = """\
bozzetto = 1
[intake]
scan = "knob.obj"
[orientation]
height = 42.0
[separation]
stand_top = 12.0
[relief]
method = "band"
[albedo]
shading = "photo"
[camera]
views = "own"
shots = ["hero", "back"]
[tabletop]
props = 1
width = 300.0
depth = 300.0
[debris]
count = 20
powder = 20
on = true
[lighting]
exposure = 0.0
"""
PHOTO_ALONE = ["relief.method=light", "relief.shading=none", "albedo.on=false"]
"""Settings by which the maps of relief and albedo go that the materials and the piece's modifier use."""
WALKS = {
    ("orientation", "material"): (
        [*PHOTO_ALONE],
        [*PHOTO_ALONE, "orientation.height=60.0"],
        ["separation.stand=no", "material.piece=own", "material.recesses=false", "material.displacement=false"],
    ),
    ("camera", "moves"): (
        ['camera.shots=["hero", {name="left", set="slate", light="soft"}]', "moves.push_in=true"],
        ["camera.shots=[]", "camera.aspect=1.0"],
        ['camera.shots=["back", "scale"]', "moves.of=back", "moves.arc=true"],
    ),
    ("tabletop", "lighting"): (
        ["tabletop.kind=slate", "tabletop.trade=carver", "debris.body=wood", "lighting.setup=soft"],
        ["tabletop.backdrop=none", "debris.on=false", "lighting.setup=hdri", "lighting.targets=true", "lighting.finish=false"],
    ),
}
"""First and last step, and settings beside the base's, one list after the other; each walk ends where it began."""


def run(folder: Path, assignments: list[str], last: str, first: str | None = None) -> Stage:
    """Run what is out of date with these settings beside the base's, from `first` on where it is given, up to `last`."""
    sheet = sheets.parse(BASE, STEPS, name="knob", folder=folder)
    for assignment in assignments:
        sheets.override(sheet, assignment)
    stage = Stage(bpy.context.scene, sheet)
    first = first or next(iter(stale(STEPS, sheet, stage)), None)
    finish(run_job(chosen(STEPS, first=first, last=last), STEPS, sheet, stage))
    return stage


def made() -> dict[str, Any]:
    """The file: what has a role, each with its content and marks, how much there is of the rest by name, and the scene."""
    found: dict[str, Any] = {}
    rest: Counter[str] = Counter()
    every = whole_file()
    for block in roles.blocks():
        entry = every[f"{type(block).__name__} {block.name}"]
        if roles.has(block, roles.ROLE):
            entry["marks"] = {name: value for name, value in entry["marks"].items() if name not in (roles.PRINT, roles.JOB)}
            found[f"{block.get(roles.ROLE)} {block.get(roles.KEY)}"] = entry | {"users": 0}
        else:
            rest[f"{type(block).__name__} {roles.stem(block.name)}"] += 1
    scene = scene_state(bpy.context.scene)
    state = json.loads(scene["marks"].pop(STATE))
    for step, kept in state["results"].items():
        found[f"result of {step}"] = {part: value for part, value in kept.items() if part != "figures"}
    found["state"] = {"made": state["made"], "settings": state.get("settings", {})}
    scene["settings"].pop("render.compositor_device", None)  # stays as the job's compositor needs it when that is switched off
    return found | {"rest": dict(rest), "scene": {part: scene[part] for part in scene if part != "layers"}}


@pytest.mark.parametrize(("first", "last"), WALKS)
def test_a_scene_is_what_a_fresh_run_makes_whatever_was_set_before(first: str, last: str, tmp_path: Path) -> None:
    write_knob(tmp_path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    names = [step.name for step in STEPS]
    run(tmp_path, [], names[names.index(first) - 1])
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "before.blend"))
    chain = [*WALKS[first, last], []]
    expected = []
    for assignments in chain:
        bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "before.blend"))
        run(tmp_path, assignments, last, first)
        expected.append(made())
    for assignments, whole in zip(chain, expected, strict=True):
        stage = run(tmp_path, assignments, last)
        assert not [note.words for note in stage.notes if note.level == "kept"]  # nobody edited anything
        found = differences(whole, made())
        assert not found, f"{assignments}: " + "\n".join(found[:12])
