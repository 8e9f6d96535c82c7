"""What does Blender's start import of the package? The settings on screen and what draws them, and no step's work."""

from __future__ import annotations

import json
import subprocess
import sys

from scripts.tasks import ROOT

START = """
import json, sys
import bpy
import blender_addon
blender_addon.register()
started = [name for name in sys.modules if name.startswith("blender_addon.")]
from blender_addon.job.sheet import blank
from blender_addon.steps import catalogue
for step in catalogue():
    step.able(blank(catalogue()), None)
worked = [name for name in sys.modules if name.startswith("blender_addon.steps.")]
print("RESULT" + json.dumps([started, worked, [[step.folder, step.name] for step in catalogue()]]))
"""
MOST = 240
"""Modules that a start may import, of over 400: each costs a third of a millisecond, two where none is compiled yet."""
WORK = (
    "core.closeups",
    "core.surface.relief",
    "core.surface.albedo",
    "core.scan.standing",
    "core.files.meshes.mesh_files",
    "cli",
)
"""Rooms that only a step's work, or the command line, has use for."""


def test_a_start_imports_no_steps_work() -> None:
    done = subprocess.run([sys.executable, "-c", START], cwd=ROOT, capture_output=True, text=True, check=True)
    started, worked, steps = json.loads(done.stdout.split("RESULT")[1].splitlines()[0])
    works = {f"blender_addon.steps.{folder}.{name}" for folder, name in steps}
    assert len(works) >= 17 and not works & set(started), f"imported by a start: {sorted(works & set(started))}"
    assert works <= set(worked)  # and each is there when it is needed
    rooms = [name for name in started if name.removeprefix("blender_addon.").startswith(WORK)]
    assert not rooms, f"imported by a start: {rooms}"
    assert len(started) <= MOST
