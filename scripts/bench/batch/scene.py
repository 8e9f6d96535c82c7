"""The scene that `bench batch` renders, made once and opened for each case, and the same pictures by Cycles alone."""

from __future__ import annotations

import contextlib
import json
import math
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from blender_addon.cli.itself import own_environment

from .. import ROOT

SHEET = """bozzetto = 1
[intake]
scan = "{scan}"
[orientation]
height = 80.0
"""


def prepared(folder: Path, name: str = "form") -> Path:
    """A scan worked up to its lights, as a .blend: a turned form, or the demo's 'owl'; made when it is not there.

    Raises RuntimeError.
    """
    blend = folder / name / f"{name}.blend"
    if not blend.is_file():
        scan = ROOT / "assets_demo" / "owl_dusted.obj" if name == "owl" else folder / "scan" / "form1.obj"
        if name != "owl":
            forms(scan.parent, 1)
        sheet = folder / f"{name}.toml"
        sheet.write_text(SHEET.format(scan=scan.as_posix()), encoding="utf-8")
        command(["run", str(sheet), "--out", str(blend.parent), "--until", "lighting", "--quiet"])
    return blend


def command(arguments: Sequence[str]) -> float:
    """Run our own command line in a process of its own; the seconds it took. Raises RuntimeError with its last words."""
    started = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "blender_addon.cli", *arguments], cwd=ROOT, capture_output=True, text=True, check=False,
        env=own_environment(),
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


def forms(folder: Path, count: int) -> None:
    """Turned forms of one height and different outlines, as OBJ files with a table of their heights."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    rows = ["piece,height"]
    for number in range(count):
        rng = np.random.default_rng(number + 1)
        turns = np.linspace(0, 2 * math.pi, 48, endpoint=False)
        heights = np.linspace(0, 1, 40)
        radius = 14 + 6 * np.sin(heights * rng.uniform(2, 6) + rng.uniform(0, 3)) + rng.uniform(-3, 3)
        rings = list(zip(heights, radius, strict=True))
        lines = [f"v {r * math.cos(t):.4f} {r * math.sin(t):.4f} {60 * h:.4f}" for h, r in rings for t in turns]
        lines += ["v 0 0 0", "v 0 0 60"]
        for ring in range(39):
            for side in range(48):
                a, b = ring * 48 + side + 1, ring * 48 + (side + 1) % 48 + 1
                lines += [f"f {a} {b} {b + 48}", f"f {a} {b + 48} {a + 48}"]
        for side in range(48):
            low, high = side + 1, 39 * 48 + side + 1
            lines += [f"f {(side + 1) % 48 + 1} {low} 1921", f"f {high} {39 * 48 + (side + 1) % 48 + 1} 1922"]
        (folder / f"form{number + 1}.obj").write_text("\n".join(lines) + "\n", encoding="utf-8")
        rows.append(f"form{number + 1},60")
    (folder / "pieces.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


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
        """The stills' quality, from which the samples of a frame follow."""
        from blender_addon.scene.delivery.output import Quality

        return Quality(8 * self.samples, 0.0)


def by_us(stage: Any, frames: Frames, folder: Path, *, device: str = "cpu") -> list[float]:
    """Seconds a frame as the render step makes them: dressed, turned, rendered, written whole, listed."""
    from blender_addon.job.files.whole_files import begin_folder
    from blender_addon.scene.delivery.kept_pictures import KeptPictures
    from blender_addon.steps.delivery._pictures import set_up_for

    begin_folder(folder)
    tasks, took = frames.tasks(folder / "turntable"), []
    kept = KeptPictures(tasks[0].path.parent)
    with set_up_for(stage, tasks[0], frames.quality(), device) as renderer:
        for task in tasks:
            started = time.perf_counter()
            renderer.render(task)
            kept.add(task.path, task.digest)
            took.append(time.perf_counter() - started)
    return took


def by_cycles(stage: Any, frames: Frames, *, persistent: bool = True, device: str = "cpu") -> list[float]:
    """Seconds a frame by Cycles alone: the same scene and settings, the subject turned, nothing written."""
    import bpy

    from blender_addon.scene.delivery.output import cycles
    from blender_addon.scene.delivery.shot_state import dressed_for, turned
    from blender_addon.scene.surface.rendered_form import rendered_form
    from blender_addon.steps.delivery._pictures import FRAME, quality_of

    scene, shot = stage.scene, stage.require("shot", "turntable")
    items = stage.subject()
    took = []
    with (
        rendered_form(items, shot, frames.size),
        cycles(scene, quality_of(FRAME, frames.quality()), device=device, seed=1, persistent=persistent),
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


@contextlib.contextmanager
def seconds_of_cycles() -> Iterator[list[float]]:
    """A list to which each render inside the block adds the seconds that Blender's own call for it took."""
    import bpy

    from blender_addon.scene.delivery import output

    def render(**how: Any) -> Any:
        started = time.perf_counter()
        try:
            return bpy.ops.render.render(**how)
        finally:
            took.append(time.perf_counter() - started)

    timed = SimpleNamespace(data=bpy.data, ops=SimpleNamespace(render=SimpleNamespace(render=render)))
    took: list[float] = []
    kept, output.bpy = output.bpy, timed  # type: ignore[assignment]
    try:
        yield took
    finally:
        output.bpy = kept


def child(words: str, *arguments: Any) -> Any:
    """Run a piece of Python that ends by printing JSON, in a process of its own; what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", words, *map(str, arguments)], cwd=ROOT, capture_output=True, text=True, check=False,
        env=own_environment(),
    )  # fmt: skip
    lines = [line for line in done.stdout.splitlines() if line.startswith("JSON ")]
    if not lines:
        raise RuntimeError(done.stderr.strip()[-600:] or f"ended with {done.returncode}")
    return json.loads(lines[-1][5:])
