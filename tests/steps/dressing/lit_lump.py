"""A lump on a board before two cameras, on which a test runs the step `lighting`."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from blender_addon.job import sheet as sheets
from blender_addon.job.runner import finish, run_job
from blender_addon.job.step import Progress, Result, Step, from_module, ordered
from blender_addon.scene import meshes
from blender_addon.scene.dressing import lights, meter
from blender_addon.scene.stage import Stage
from blender_addon.steps.dressing import lighting as step
from tests.steps.surface.test_material import Nothing, bowl


def subject(stage: Any, settings: Any) -> Any:
    """A lump 60 mm high on the ground."""
    yield Progress(0.0, "")
    stage.offer("piece", meshes.make_object("Piece", bowl()), name="Piece")
    return Result("", {})


def shots(stage: Any, settings: Any) -> Any:
    """Two cameras: one from the front, one from the right in another light."""
    yield Progress(0.0, "")
    for key, place, light in (("hero", (0.0, -0.4, 0.1), ""), ("side", (0.4, 0.0, 0.1), "bench_lamp")):
        item = bpy.data.objects.new(key, bpy.data.cameras.new(key))
        item.location = place
        item[lights.SETUP] = light
        stage.offer("shot", item, key=key, name=key)
    return Result("", {})


def table(stage: Any, settings: Any) -> Any:
    """A grey board a metre wide."""
    yield Progress(0.0, "")
    board = lights.flat_object("Table", 1000.0, 1000.0, lights.matt_material("Board", (0.3, 0.3, 0.3)))
    board.matrix_world = lights.facing((0.0, 0.0, 0.0), (0.0, 0.0, 100.0))
    stage.offer("table", board, name="Table")
    return Result("", {})


STEPS = ordered(
    [
        Step("separation", "scan", "", "", Nothing, (), (), ("piece", "stand", "surface"), subject),
        Step("camera", "shots", "", "", Nothing, ("piece",), (), ("shot",), shots),
        Step("tabletop", "dressing", "", "", Nothing, ("piece",), (), ("table", "backdrop", "prop"), table),
        from_module(step),
    ]
)


def run(*assignments: str, only: str | None = None) -> tuple[Stage, dict[str, Any]]:
    """Run all, or one step, with settings such as "lighting.setup=soft"."""
    sheet = sheets.blank(STEPS)
    for assignment in assignments:
        sheets.override(sheet, assignment)
    stage = Stage(bpy.context.scene, sheet)
    report = finish(run_job([entry for entry in STEPS if only in (None, entry.name)], STEPS, sheet, stage))
    return stage, report.results["lighting"].figures


def on(stage: Stage) -> list[Any]:
    """Lights and cards that are rendered."""
    items = [*stage.find_all("light").values(), *stage.find_all("card").values()]
    return [item for item in items if not item.hide_render]


def card_reading(stage: Stage, normal: Any) -> float:
    """Luminance of an 18 % card at the subject's place in the scene's present light, with another seed than the job's."""
    found = meter.read_card(
        centre_mm=(0.0, 0.0, 30.0), normal=normal, lights=on(stage), world=stage.scene.world,
        around=[stage.require("table")], seed=77,
    )  # fmt: skip
    return float(found.colour @ np.array([0.2126, 0.7152, 0.0722]))
