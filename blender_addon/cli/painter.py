"""A process that holds a job's scene and renders one order after another (`bozzetto paint`).

Orders are lines of JSON on standard input, answers lines of JSON on standard output. The process ends with its input, or when
the process that started it has ended. It is started by `job/farm.py`, not by users.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import bpy

from ..job.errors import JobError
from ..job.farm import Order
from ..job.sheet import blank
from ..scene.delivery.output import Quality
from ..scene.stage import Stage
from ..steps import catalogue
from ..steps.delivery._pictures import STILL, Renderer, Task, set_up_for, still_of
from .running import register
from .terminal import quiet_blender

WATCH = 0.5
"""Seconds between two checks whether the parent process still exists."""


def paint() -> int:
    """Render orders until the input ends."""
    threading.Thread(target=_watch, args=(os.getppid(),), daemon=True, name="parent").start()
    with quiet_blender(Path(os.devnull)) as terminal:
        studio: Studio | None = None
        for line in sys.stdin:
            question = json.loads(line)
            try:
                if "blend" in question:
                    studio = Studio(question["blend"], question["scene"], int(question["threads"]))
                    answer: dict[str, Any] = {"ready": True}
                else:
                    assert studio is not None
                    answer = {"files": studio.render(Order.from_plain(question["order"]), Path(question["folder"]))}
            except (JobError, RuntimeError, KeyError, MemoryError) as error:
                answer = {"error": str(error) or repr(error)}
            terminal.say(json.dumps(answer))
        if studio is not None:
            studio.close()
    return 0


def _watch(parent: int) -> None:
    """End this process at once when its parent has ended, since nobody needs the picture any more."""
    while os.getppid() == parent:
        time.sleep(WATCH)
    os._exit(1)


class Studio:
    """The open scene, with the render settings that are kept between orders of the same kind."""

    def __init__(self, blend: str, scene: str, threads: int):
        bpy.ops.wm.open_mainfile(filepath=blend)
        register()
        self._stage = Stage(bpy.data.scenes[scene], blank(catalogue()))
        bpy.context.window.scene = self._stage.scene
        if threads:
            self._stage.scene.render.threads_mode, self._stage.scene.render.threads = "FIXED", threads
        self._set_up = ExitStack()
        self._for: tuple[Any, ...] = ()
        self._renderer: Renderer | None = None

    def render(self, order: Order, folder: Path) -> list[str]:
        """Render an order into a folder; returns the names of the files there, the picture first."""
        task = Task(
            folder / f"{order.name}.png", order.shot, order.size, order.angle, order.digest, order.kind, order.mark
        )  # fmt: skip
        if order.kind == STILL:
            task = still_of(self._stage.require("shot", order.shot), task)
        task.path.parent.mkdir(parents=True, exist_ok=True)
        self._stage.seed = order.seed
        wanted = (order.kind, order.size, sorted(order.quality.items()), order.device, order.seed)
        if wanted != self._for:
            self.close()
            self._renderer = self._set_up.enter_context(set_up_for(self._stage, task, Quality(**order.quality), order.device))
            self._for = wanted
        assert self._renderer is not None
        self._renderer.render(task)
        return [path.relative_to(folder).as_posix() for path in task.files()]

    def close(self) -> None:
        """Restore the scene's own settings."""
        self._set_up.close()
        self._set_up, self._for = ExitStack(), ()
