"""One picture of the job: what it is, which files it leaves, and how it is rendered, here or on another machine."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from ...core.records import record
from ...job.farm import Order
from ...scene.delivery.copies.marked import marked
from ...scene.delivery.cutouts import quality_of_cutout, render_cutout
from ...scene.delivery.deep_pictures import frames_of, is_deep, render_deep
from ...scene.delivery.kept_pictures import KeptPictures, put_aside
from ...scene.delivery.originals import linear_of, original_of
from ...scene.delivery.output import Quality, cycles, render_picture
from ...scene.delivery.shot_state import dressed_for, turned, turning
from ...scene.delivery.standing_still import standing_still
from ...scene.stage import Stage
from ...scene.surface.rounding import rounded

if TYPE_CHECKING:
    import bpy

STILL, CUTOUT, FRAME = "still", "cutout", "frame"


@record
class Task:
    """One picture to render: its file, its shot's name, its size in pixels, the subject's turn in degrees, a digest of all that
    it shows, what kind of picture it is, the words that are laid over it, '' for none, and the slices of a bracket that stay
    beside it."""

    path: Path
    shot: str
    size: tuple[int, int]
    angle: float
    digest: str
    kind: str = STILL
    mark: str = ""
    slices: tuple[Path, ...] = ()

    @property
    def pixels(self) -> int:
        """How many pixels it has."""
        return self.size[0] * self.size[1]

    @property
    def persistent(self) -> bool:
        """Whether it is one of many that share all but a turn, so that Cycles keeps its scene from one to the next."""
        return self.kind == FRAME

    def files(self) -> list[Path]:
        """Its file and those that are made with it."""
        return [self.path, *beside(self)]


def beside(task: Task) -> list[Path]:
    """The files that belong to a picture and are made with it; none of a picture with words over it would be without them."""
    return [original_of(task.path), linear_of(task.path), *task.slices] if task.kind == STILL and not task.mark else []


def still_of(shot: bpy.types.Object, task: Task) -> Task:
    """The task of a still, with the slices that its shot leaves."""
    return replace(task, slices=tuple(frames_of(shot, task.path)))


def missing(tasks: list[Task]) -> list[Task]:
    """The tasks whose files are not there, not whole, or show something else."""
    if not tasks:
        return []
    made = KeptPictures(tasks[0].path.parent)
    return [task for task in tasks if not made.current(task.path, task.digest, beside=beside(task))]


def quality_of(kind: str, quality: Quality) -> Quality:
    """The quality for a kind of picture, where stills are rendered with `quality`."""
    if kind == FRAME:
        # A frame shows for a moment and bears more noise than a still; a count that no threshold cuts does not flicker.
        return replace(quality, samples=max(4, quality.samples // 8), noise=0.0, careful=False)
    return quality_of_cutout(quality) if kind == CUTOUT else quality


def order_of(stage: Stage, task: Task, quality: Quality, device: str) -> Order:
    """A task as another machine is asked for it."""
    return Order(
        name=f"{task.path.parent.name}/{task.path.stem}", digest=task.digest, kind=task.kind, shot=task.shot, size=task.size,
        angle=task.angle, quality=asdict(quality_of(task.kind, quality)), device=device, seed=stage.seed,
        mark=task.mark,
    )  # fmt: skip


@contextlib.contextmanager
def set_up_for(stage: Stage, first: Task, quality: Quality, device: str) -> Iterator[None]:
    """Set the scene up for tasks of one kind inside the block.

    One setting-up for all: Cycles keeps its scene between frames only as long as nothing turns that off. The frames of a turn
    share their outline's triangles, or Cycles would build its scene anew for each.
    """
    used = quality_of(first.kind, quality)
    with contextlib.ExitStack() as block:
        if first.persistent:
            block.enter_context(_rounded(stage, first))
            block.enter_context(standing_still(stage.scene, turning(stage)))
        block.enter_context(cycles(stage.scene, used, device=device, seed=stage.seed, persistent=first.persistent))
        yield


def render_one(stage: Stage, task: Task, *, versions: bool = False, original: bool = True) -> None:
    """Render one task to its file. Call inside `set_up_for`.

    versions: keep the picture that is there under another name. original: whether a still leaves its originals, too.
    """
    if versions and not task.persistent:
        put_aside(task.path)
    if task.mark:
        with marked(task.path, task.mark) as bare:
            render_one(stage, replace(task, path=bare, mark=""), original=original)
        return
    shot = stage.require("shot", task.shot)
    with contextlib.nullcontext() if task.persistent else _rounded(stage, task), _ready(stage, shot, task):
        if task.kind == CUTOUT:
            render_cutout(stage, task.path, camera=shot, size=task.size)
        elif is_deep(shot) and task.kind == STILL and original:
            render_deep(stage, task.path, camera=shot, size=task.size)
        else:
            render_picture(stage.scene, task.path, camera=shot, size=task.size, original=original and task.kind == STILL)


def _rounded(stage: Stage, task: Task) -> contextlib.AbstractContextManager[None]:
    """Piece and stand with an outline as fine as the picture needs it."""
    items = [item for role in ("piece", "stand") for item in stage.find_all(role).values()]
    return rounded(items, stage.require("shot", task.shot), task.size)


@contextlib.contextmanager
def _ready(stage: Stage, shot: bpy.types.Object, task: Task) -> Iterator[None]:
    """The scene as this picture needs it; as it was afterwards, also when the render fails."""
    with dressed_for(stage, shot):
        stage.scene.frame_set(1)  # the pivot rests there; the turn below is our own
        with turned(stage, task.angle):
            yield
