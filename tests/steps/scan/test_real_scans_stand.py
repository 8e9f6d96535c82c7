"""Do real scans stand as they should with nothing set? Up by eye, from looking at each; fetched by package name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.job import runner, sheet  # noqa: E402
from blender_addon.job.step import from_module, ordered  # noqa: E402
from blender_addon.scene.stage import Stage  # noqa: E402
from blender_addon.steps.scan import cleanup, intake, orientation  # noqa: E402

pytestmark = [pytest.mark.data, pytest.mark.usefixtures("empty_scene")]
STEPS = ordered([from_module(module) for module in (intake, cleanup, orientation)])


@pytest.mark.parametrize(
    ("name", "up"),
    [
        ("bowl", (0, -1, 0)), ("basket", (0, -1, 0)), ("ramekin", (0, -1, 0)), ("red_bowl", (0, -1, 0)),
        ("frypan", (0, -1, 0)), ("armadillo", (0, 0, 1)), ("bunny", (0, 0, 1)), ("elephant", (-0.09, -0.51, 0.86)),
        ("dragon", (0, -0.3, 0.95)),
    ],
)  # fmt: skip
def test_it_stands_up(real_scan: Callable[[str], Path], name: str, up: tuple[float, float, float]) -> None:
    """Within 5 degrees of what the eye says: files z up come in with -y up, some lie crooked in their own axes."""
    file = real_scan(name)
    job = sheet.parse(f'bozzetto = 1\n[intake]\nscan = "{file.name}"', STEPS, name="test", folder=file.parent)
    report = runner.finish(runner.run_job(STEPS, STEPS, job, Stage(bpy.context.scene, job)))
    found = np.array(report.results["orientation"].figures["up"])
    wanted = np.array(up) / np.linalg.norm(up)
    assert np.degrees(np.arccos(np.clip(found @ wanted, -1.0, 1.0))) < 5.0
    assert report.results["cleanup"].figures["table_percent"] == 0.0
