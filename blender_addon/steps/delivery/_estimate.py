"""Estimates time, memory and disk space of the pictures before they are rendered, and refuses what can't fit."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Generator, Sequence
from dataclasses import field, replace
from pathlib import Path
from typing import Any

from ...core.delivery.cost import Pace, Trial, disk_bytes, in_words, memory_bytes, picture_seconds, size_in_words
from ...core.memory import free_mb
from ...core.records import record
from ...job.errors import OutputError
from ...job.notes import several
from ...job.step import Progress
from ...scene.delivery.deep_pictures import exposures
from ...scene.delivery.device import find_device
from ...scene.delivery.output import Quality
from ...scene.stage import Stage
from ._pictures import CUTOUT, FRAME, STILL, Task, quality_of, set_up_for

SHARES = (0.125, 0.25)
"""Sizes of the test renders, as shares of the first picture's sides."""
FIXED = {STILL: 8.0, CUTOUT: 6.0, FRAME: 1.0}
SECONDS_A_SAMPLE = 1.8e-6
SPEED_OF_A_CARD = 20.0
"""For a rough estimate: seconds per picture whatever its size, seconds per pixel and sample on two cores, and speed of a
graphics card over that."""
WORTH_IT = 1e8
"""Work (pixels times samples) from which test renders are made: less takes two minutes on two cores, and the tests 10 s."""
SPARE = 1.15
"""Factor on the pictures' disk space, for the .blend and the copies."""


@record
class Estimate:
    """The expected cost of the pictures: seconds in all and per picture of each kind, peak memory and disk space in bytes."""

    seconds: float | None = None
    each: dict[str, float] = field(default_factory=dict)
    memory: int = 0
    disk: int = 0

    def left(self, todo: Sequence[Task]) -> float:
        """Remaining seconds to show at the beginning, also without test renders."""
        return sum(self.each[task.kind] for task in todo) if self.seconds is None else self.seconds

    def figures(self) -> dict[str, Any]:
        """The estimate as entries of the step's figures."""
        return {
            "expected_seconds": None if self.seconds is None else round(self.seconds, 1),
            "expected_memory_mb": round(self.memory / 1e6), "expected_disk_mb": round(self.disk / 1e6, 1),
        }  # fmt: skip


def check_room(folder: Path, disk: int, memory: int) -> None:
    """Raise OutputError where the pictures would not fit on the disk or into memory."""
    free = shutil.disk_usage(folder).free
    if disk * SPARE > free:
        have_words = f"{size_in_words(free)} are" if free >= 1_000_000 else "hardly any bytes are"
        raise OutputError(
            f'The pictures take up to {size_in_words(round(disk * SPARE))}, and {have_words} free in "{folder}": '
            "free some room, choose another folder, or a smaller render.size"
        )
    have = free_mb()
    if have is not None and memory / 1e6 > have:
        raise OutputError(
            f"The largest picture takes about {memory / 1e9:.1f} GB of memory, and {have / 1000:.1f} GB are free: choose a "
            "smaller render.size"
        )


def costs_of(tasks: Sequence[Task]) -> tuple[int, int]:
    """(largest disk space, memory for the largest picture) of tasks, bytes."""
    pixels: dict[str, list[int]] = {}
    for task in tasks:
        pixels.setdefault(task.kind, []).append(task.pixels)
    return disk_bytes(pixels), memory_bytes(max((task.pixels for task in tasks), default=0))


def estimated(
    stage: Stage, todo: Sequence[Task], quality: Quality, device: str, speed: float
) -> Generator[Progress, None, Estimate]:
    """Render the first picture of each kind at two small sizes and extrapolate the time.

    Raises OutputError where disk or memory is too small. For little work there is no test render, and the seconds are None.

    device: as `output.cycles` takes it. speed: how many times as fast as one process all rendering processes are together.
    """
    assert stage.out is not None
    disk, memory = costs_of(todo)
    check_room(stage.out, disk, memory)
    kinds: dict[str, list[Task]] = {}
    for task in todo:
        kinds.setdefault(task.kind, []).append(task)
    if _work(todo, quality) < WORTH_IT:
        return Estimate(None, guessed(todo, quality, device), memory, disk)
    each: dict[str, float] = {}
    once = 0.0
    for number, (kind, tasks) in enumerate(kinds.items()):
        yield Progress(0.02 * number / len(kinds), f"trying how long a {kind} takes", blocking=True)
        each[kind], first = _tried(stage, tasks, quality, device)
        once += first if tasks[0].persistent else 0.0
        if kind == STILL:  # shots with a focus bracket take several exposures
            shots = [exposures(stage.require("shot", task.shot)) for task in tasks]
            each[kind] *= sum(shots) / len(shots) / exposures(stage.require("shot", tasks[0].shot))
    total = sum(len(tasks) * each[kind] for kind, tasks in kinds.items()) / speed + once
    return Estimate(total, each, memory, disk)


def guessed(tasks: Sequence[Task], quality: Quality, device: str) -> dict[str, float]:
    """Rough seconds per picture of each kind, without a test render; only for showing the remaining time."""
    card = SPEED_OF_A_CARD if find_device(device).setting == "GPU" else 1.0
    each: dict[str, list[float]] = {}
    for task in tasks:
        samples = quality_of(task.kind, quality).samples
        each.setdefault(task.kind, []).append(FIXED[task.kind] + task.pixels * samples * SECONDS_A_SAMPLE / card)
    return {kind: sum(seconds) / len(seconds) for kind, seconds in each.items()}


def said(stage: Stage, estimate: Estimate, todo: Sequence[Task], device: str) -> Generator[Progress, None, None]:
    """Show the estimate to the user and log it.

    device: that renders, in words.
    """
    if not todo:
        return
    largest = max(todo, key=lambda task: task.pixels)
    room = f"{size_in_words(estimate.memory)} of memory beside the scene, at most {size_in_words(estimate.disk)} of disk"
    spent = "" if estimate.seconds is None else f"about {in_words(estimate.seconds)}, "
    more = "" if estimate.seconds is None else '; quality "proof" or a smaller render.size is quicker'
    size = f"{largest.size[0]} x {largest.size[1]}"
    words = f"{several(len(todo), 'picture')} to render, up to {size} pixels, on {device}: {spent}{room}{more}"
    stage.note(words)
    yield Progress(0.02, words, left=estimate.left(todo), stays=True)


def pace_of(estimate: Estimate, todo: Sequence[Task], speed: float) -> Pace:
    """The initial pace, for the remaining time."""
    left: dict[str, int] = {}
    for task in todo:
        left[task.kind] = left.get(task.kind, 0) + 1
    return Pace(left, dict(estimate.each), speed)


def _work(todo: Sequence[Task], quality: Quality) -> float:
    """Pixels times samples of all tasks; a turntable's frame has an eighth of a still's samples."""
    return sum(task.pixels * quality.samples / (8.0 if task.kind == FRAME else 1.0) for task in todo)


def _tried(stage: Stage, tasks: Sequence[Task], quality: Quality, device: str) -> tuple[float, float]:
    """Expected seconds per picture of these tasks, and additional seconds of the first one."""
    trials = []
    with set_up_for(stage, tasks[0], quality, device) as renderer, tempfile.TemporaryDirectory() as folder:
        for number, share in enumerate((SHARES[0], *SHARES)):  # the first one also loads what all pictures need
            task = tasks[min(number, len(tasks) - 1)] if tasks[0].persistent else tasks[0]
            width, height = (max(1, round(side * share)) for side in task.size)
            started = time.perf_counter()
            renderer.render(replace(task, path=Path(folder) / task.path.name, size=(width, height)), original=False)
            trials.append(Trial(width * height, time.perf_counter() - started))
    deep = exposures(stage.require("shot", tasks[0].shot)) if tasks[0].kind == STILL else 1
    return deep * picture_seconds(trials[1], trials[2], tasks[0].pixels), max(trials[0].seconds - trials[1].seconds, 0.0)
