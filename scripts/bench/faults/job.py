"""A small finished job, for the bench of faults."""

from __future__ import annotations

import contextlib
import io
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

import blender_addon
from blender_addon.cli import main
from blender_addon.job.notes import Notes
from blender_addon.job.runner import chosen, finish
from blender_addon.job.sheet import JobSheet, read
from blender_addon.scene.running.job_card import scenes_with_jobs
from blender_addon.scene.running.session import run_session
from blender_addon.scene.stage import Stage
from blender_addon.steps import catalogue
from blender_addon.ui.properties import fill
from tests.host import small_scan

SHEET = """\
bozzetto = 1

[intake]
scan = "knob.obj"

[orientation]
height = 60.0

[tabletop]
kind = "sweep"
backdrop = "none"
things = "rule, rib, pencil, brush, needle tool, boxwood tool"
props = 6
width = 600.0
depth = 450.0

[debris]
count = 6
powder = 6

[lighting]
setup = "soft"

[render]
size = 64
samples = 1
frames = 2
turntable_size = 64
video = false
contact_sheet = false

[export]
glb = false
"""
"""A job of every kind of part, whose pictures are as small as they can be."""


class SmallJob:
    """The job's files in a folder: `sheet`, and `blend`, the finished .blend, which is never written to after."""

    def __init__(self, folder: Path, *, until: str = "export"):
        self.folder = folder
        self.until = until
        self.sheet = folder / "job.toml"
        self.blend = folder / "finished" / "job.blend"
        if not blender_addon.registered():
            blender_addon.register()
        if not self.blend.is_file():
            folder.mkdir(parents=True, exist_ok=True)
            small_scan.write_knob(folder)
            self.sheet.write_text(SHEET, encoding="utf-8")
            if self.command(self.blend.parent) != 0:
                raise RuntimeError("the small job did not run")

    def command(self, out: Path, *more: str) -> int:
        """The command line on this job into a folder; its exit code."""
        with quiet():
            return main(["run", str(self.sheet), "--out", str(out), "--until", self.until, "--quiet", *more])

    def read_sheet(self) -> JobSheet:
        """The job's sheet."""
        return read(self.sheet, catalogue())

    def opened(self) -> Stage:
        """The finished .blend, opened as in a window, and the stage of its job."""
        bpy.ops.wm.open_mainfile(filepath=str(self.blend))
        return self.stage()

    def stage(self) -> Stage:
        """The stage of the job in the open file."""
        scene = scenes_with_jobs()[0]
        return Stage(scene, self.read_sheet(), out=self.folder / "window")

    def run_in_window(self, scene: Any = None) -> Notes:
        """What the button does: all steps in the scene of the open file."""
        steps, sheet = catalogue(), self.read_sheet()
        scene = scenes_with_jobs()[0] if scene is None else scene
        fill(scene, sheet, steps)
        with quiet():
            run = run_session(chosen(steps, last=self.until), steps, sheet, scene, out=self.folder / "window")
            _, notes = finish(run)
        return notes

    def run_as_command(self) -> Path:
        """Save the open file in a copy of the job's folder and run the command over it; the .blend that it left."""
        out = self.folder / "command"
        shutil.rmtree(out, ignore_errors=True)
        shutil.copytree(self.blend.parent, out)
        with quiet():
            bpy.ops.wm.save_as_mainfile(filepath=str(out / "job.blend"), copy=True)
        if self.command(out) != 0:
            raise RuntimeError("the command did not go on in the .blend")
        return out / "job.blend"


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Without what the command prints; what Blender itself says comes from below and stays."""
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        yield
