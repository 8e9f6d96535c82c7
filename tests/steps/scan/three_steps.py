"""Runs the three steps from a file to an upright scan, on scans that a test writes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.core.mesh.triangles import TriangleMesh  # noqa: E402
from blender_addon.job import runner, sheet  # noqa: E402
from blender_addon.job.step import from_module, ordered  # noqa: E402
from blender_addon.scene.images import make_image  # noqa: E402
from blender_addon.scene.stage import Stage  # noqa: E402
from blender_addon.steps.scan import cleanup, intake, orientation  # noqa: E402
from tests.scan_shapes import write_obj  # noqa: E402

STEPS = ordered([from_module(module) for module in (intake, cleanup, orientation)])
TURNED_ON_IMPORT = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""OBJ's y-up to Blender's z-up, as its importer does by default."""


def run(folder: Path, text: str, *, last: str | None = None) -> tuple[Stage, runner.Report]:
    """Run the steps up to the last one on a job sheet, given without its first line."""
    job = sheet.parse("bozzetto = 1\n" + text, STEPS, name="test", folder=folder)
    stage = Stage(bpy.context.scene, job)
    return stage, runner.finish(runner.run_job(runner.chosen(STEPS, last=last), STEPS, job, stage))


def picture(path: Path, *, size: int = 64, format: str = "PNG", values: Any | None = None) -> Path:
    """A picture of those values (h, w, 3), else of a blue noise that can be a normal map, too."""
    if values is None:
        values = np.random.default_rng(1).uniform((0.4, 0.4, 0.9), (0.6, 0.6, 1.0), (size, size, 3))
    image = make_image("picture", values)
    image.file_format = format
    image.save(filepath=str(path))
    bpy.data.images.remove(image)
    return path


def names_of_all() -> dict[str, list[str]]:
    """The names of all data-blocks, by their kind."""
    kinds = ("objects", "meshes", "materials", "images", "collections", "cameras", "lights", "armatures", "worlds")
    return {kind: sorted(block.name for block in getattr(bpy.data, kind)) for kind in kinds}


def write_scan(folder: Path, mesh: TriangleMesh, name: str = "scan.obj") -> str:
    """Write a mesh as an OBJ file; the lines of a job sheet that name it."""
    write_obj(folder / name, mesh)
    return f'[intake]\nscan = "{name}"\n'
