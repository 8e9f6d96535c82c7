"""The scene that `bench batch` renders, made once and opened again for each case, and the same pictures by Cycles alone."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from . import ROOT

SHEET = """bozzetto = 1
[intake]
scan = "{scan}"
[orientation]
height = 80.0
[camera]
"""


def prepared(folder: Path) -> Path:
    """The demo's scan, worked up to its lights, as a .blend; made when it is not there. Raises RuntimeError."""
    blend = folder / "scene" / "owl.blend"
    if not blend.is_file():
        sheet = folder / "owl.toml"
        sheet.write_text(SHEET.format(scan=(ROOT / "assets_demo" / "owl_dusted.obj").as_posix()), encoding="utf-8")
        command(["run", str(sheet), "--out", str(blend.parent), "--until", "lighting", "--quiet"])
    return blend


def command(arguments: Sequence[str]) -> float:
    """Run our own command line in a process of its own; the seconds it took. Raises RuntimeError with its last words."""
    started = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "blender_addon.cli", *arguments], cwd=ROOT, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError((done.stderr or done.stdout).strip()[-600:] or f"ended with {done.returncode}")
    return time.perf_counter() - started


def opened(blend: Path) -> Any:
    """The stage of the job in a .blend, opened in this process."""
    import bpy

    from blender_addon import register, registered
    from blender_addon.job.sheet import blank
    from blender_addon.scene.running.job_card import scenes_with_jobs
    from blender_addon.scene.stage import Stage
    from blender_addon.steps import catalogue

    bpy.ops.wm.open_mainfile(filepath=str(blend))
    if not registered():
        register()
    scene = scenes_with_jobs()[0]
    bpy.context.window.scene = scene
    return Stage(scene, blank(catalogue()), out=None)


@dataclass(frozen=True)
class Frames:
    """Frames of a turn: how large, how many samples, at which angles."""

    size: tuple[int, int]
    samples: int
    count: int

    def tasks(self, folder: Path) -> list[Any]:
        """As tasks of the render step."""
        from blender_addon.steps.delivery._pictures import FRAME, Task

        return [
            Task(folder / f"{number:04d}.png", "turntable", self.size, 15.0 * number, f"bench{number}", FRAME)
            for number in range(self.count)
        ]

    def quality(self) -> Any:
        """The stills' quality of which a frame gets its samples."""
        from blender_addon.scene.delivery.output import Quality

        return Quality(8 * self.samples, 0.0)


def by_us(stage: Any, frames: Frames, folder: Path) -> list[float]:
    """Seconds a frame as the render step makes them: dressed, turned, rendered, written whole, listed."""
    from blender_addon.job.files.whole_files import begin_folder
    from blender_addon.scene.delivery.kept_pictures import Made
    from blender_addon.steps.delivery._pictures import render_one, set_up_for

    begin_folder(folder)
    tasks, took = frames.tasks(folder / "turntable"), []
    made = Made(tasks[0].path.parent)
    with set_up_for(stage, tasks[0], frames.quality(), "cpu"):
        for task in tasks:
            started = time.perf_counter()
            render_one(stage, task)
            made.add(task.path, task.digest)
            took.append(time.perf_counter() - started)
    return took


def by_cycles(stage: Any, frames: Frames, *, persistent: bool = True) -> list[float]:
    """Seconds a frame by Cycles alone: the same scene and settings, the subject turned, nothing written."""
    import bpy

    from blender_addon.scene.delivery.output import cycles
    from blender_addon.scene.delivery.shot_state import dressed_for, turned
    from blender_addon.scene.surface.rounding import rounded
    from blender_addon.steps.delivery._pictures import FRAME, quality_of

    scene, shot = stage.scene, stage.require("shot", "turntable")
    items = [item for role in ("piece", "stand") for item in stage.find_all(role).values()]
    took = []
    with (
        rounded(items, shot, frames.size),
        cycles(scene, quality_of(FRAME, frames.quality()), device="cpu", seed=1, persistent=persistent),
        dressed_for(stage, shot),
    ):
        scene.camera = shot
        scene.render.resolution_x, scene.render.resolution_y = frames.size
        for number in range(frames.count):
            with turned(stage, 15.0 * number):
                started = time.perf_counter()
                bpy.ops.render.render(write_still=False, scene=scene.name)
                took.append(time.perf_counter() - started)
    return took


def child(words: str, *arguments: Any) -> Any:
    """Run a piece of Python that ends by printing JSON, in a process of its own; what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", words, *map(str, arguments)], cwd=ROOT, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    lines = [line for line in done.stdout.splitlines() if line.startswith("JSON ")]
    if not lines:
        raise RuntimeError(done.stderr.strip()[-600:] or f"ended with {done.returncode}")
    return json.loads(lines[-1][5:])
