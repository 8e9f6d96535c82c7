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
LAST = "lighting"
BASE = """\
bozzetto = 1
[intake]
scan = "knob.obj"
[orientation]
height = 42.0
[separation]
stand = "yes"
[relief]
shading = "photo"
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

WALKS = {
    "scan": (
        ["relief.shading=none", "albedo.on=false"],
        ["relief.shading=none", "albedo.on=false", "orientation.height=60.0"],
        ["separation.stand=no", "moves.push_in=true"],
    ),
    "surface": (
        ["material.piece=wood", "material.recesses=false", "material.displacement=false"],
        ["relief.method=band", "material.piece=own"],
        ["albedo.on=false", "material.piece=own"],
    ),
    "shots": (
        ['camera.shots=["hero", {name="left", set="slate", light="soft"}]', "moves.push_in=true"],
        ["camera.shots=[]", "camera.aspect=1.0"],
        ['camera.shots=["back", "scale"]', "moves.of=back", "moves.arc=true"],
    ),
    "set": (
        ["tabletop.kind=slate", "tabletop.trade=carver", "lighting.setup=soft"],
        ["tabletop.kind=sweep", "debris.body=wood", "lighting.targets=true", "lighting.finish=false"],
        ["debris.on=false", "tabletop.backdrop=none", "lighting.setup=hdri"],
    ),
}  # fmt: skip
"""Settings beside the base's, one list after the other; each walk ends where it began."""


def run(folder: Path, assignments: list[str]) -> Stage:
    """Run all that is out of date with these settings beside the base's, or all of a scene that has no job."""
    sheet = sheets.parse(BASE, STEPS, name="knob", folder=folder)
    for assignment in assignments:
        sheets.override(sheet, assignment)
    stage = Stage(bpy.context.scene, sheet)
    first = next(iter(stale(STEPS, sheet, stage)), None)
    finish(run_job(chosen(STEPS, first=first, last=LAST), STEPS, sheet, stage))
    return stage


def fresh(folder: Path, assignments: list[str]) -> dict[str, Any]:
    """What a run in an empty scene makes."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    run(folder, assignments)
    return made()


def made() -> dict[str, Any]:
    """The file: what has a role, each with its content and marks, how much there is of the rest by name, and the scene."""
    found, rest = {}, Counter()
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
    results = {step: {part: value for part, value in kept.items() if part != "figures"} for step, kept in state["results"].items()}
    found["state"] = {"made": state["made"], "settings": state["settings"], "results": results}
    return found | {"rest": dict(rest), "scene": {part: scene[part] for part in scene if part != "layers"}}


@pytest.mark.parametrize("walk", WALKS)
def test_a_scene_is_what_a_fresh_run_makes_whatever_was_set_before(walk: str, tmp_path: Path) -> None:
    write_knob(tmp_path)
    chain = [*WALKS[walk], []]
    expected = [fresh(tmp_path, assignments) for assignments in chain]
    for assignments, whole in zip(chain, expected, strict=True):
        stage = run(tmp_path, assignments)
        assert not [note.words for note in stage.notes if note.level == "kept"]  # nobody edited anything
        found = differences(whole, made())
        assert not found, f"{assignments}: " + "\n".join(found[:12])
