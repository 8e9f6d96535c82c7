"""A picture of the job as a task: which files it makes, and how it is rendered, here or on another machine."""

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
from ...scene.delivery.kept_meshes import KeptMeshes
from ...scene.delivery.kept_pictures import KeptPictures, put_aside
from ...scene.delivery.originals import linear_of, original_of
from ...scene.delivery.output import Quality, cycles, render_picture
from ...scene.delivery.shot_state import dressed_for, turned
from ...scene.stage import Stage
from ...scene.surface.rendered_form import rendered_form

if TYPE_CHECKING:
    import bpy

STILL, CUTOUT, FRAME = "still", "cutout", "frame"


@record
class Task:
    """One picture to render.

    path: its file. shot: the shot's name. size: in pixels. angle: turn of the subject in degrees. digest: of everything that it
    shows. kind: `STILL`, `CUTOUT` or `FRAME`. mark: watermark, '' for none. slices: files of a bracket that are kept beside it.
    """

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
        """The number of pixels."""
        return self.size[0] * self.size[1]

    @property
    def persistent(self) -> bool:
        """Whether it belongs to a series that differs only in the turn, for which Cycles keeps its scene."""
        return self.kind == FRAME

    def files(self) -> list[Path]:
        """Its file and those made with it."""
        return [self.path, *beside(self)]


def beside(task: Task) -> list[Path]:
    """The files made together with a picture: originals and slices; none for a watermarked one, since they would lack it."""
    return [original_of(task.path), linear_of(task.path), *task.slices] if task.kind == STILL and not task.mark else []


def still_of(shot: bpy.types.Object, task: Task) -> Task:
    """The task of a still, with the slices that its shot keeps."""
    return replace(task, slices=tuple(frames_of(shot, task.path)))


def missing(tasks: list[Task]) -> list[Task]:
    """The tasks whose files are missing, damaged or out of date."""
    if not tasks:
        return []
    kept = KeptPictures(tasks[0].path.parent)
    return [task for task in tasks if not kept.current(task.path, task.digest, beside=beside(task))]


def quality_of(kind: str, quality: Quality) -> Quality:
    """The quality for a kind of picture, where stills are rendered with `quality`."""
    if kind == FRAME:
        # A frame is visible only briefly, so more noise is acceptable; a fixed number of samples avoids flicker.
        return replace(quality, samples=max(4, quality.samples // 8), noise=0.0, careful=False)
    return quality_of_cutout(quality) if kind == CUTOUT else quality


def order_of(stage: Stage, task: Task, quality: Quality, device: str) -> Order:
    """The order by which another machine renders a task.

    device: as `output.cycles` takes it.
    """
    return Order(
        name=f"{task.path.parent.name}/{task.path.stem}", digest=task.digest, kind=task.kind, shot=task.shot, size=task.size,
        angle=task.angle, quality=asdict(quality_of(task.kind, quality)), device=device, seed=stage.seed,
        mark=task.mark,
    )  # fmt: skip


class Renderer:
    """Renders tasks of one kind to their files, in the scene that `set_up_for` has set up for them."""

    def __init__(self, stage: Stage, meshes: KeptMeshes | None):
        self._stage, self._meshes = stage, meshes

    def render(self, task: Task, *, versions: bool = False, original: bool = True) -> None:
        """Render one task.

        versions: keep an existing picture under another name. original: whether to keep a still's originals.
        """
        if versions and not task.persistent:
            put_aside(task.path)
        if task.mark:
            with marked(task.path, task.mark) as bare:
                self.render(replace(task, path=bare, mark=""), original=original)
            return
        stage = self._stage
        shot = stage.require("shot", task.shot)
        with (
            contextlib.nullcontext() if self._meshes else _formed(stage, task),
            _ready(stage, shot, task),
            self._meshes.in_place() if self._meshes else contextlib.nullcontext(),
        ):
            if task.kind == CUTOUT:
                render_cutout(stage, task.path, camera=shot, size=task.size)
            elif is_deep(shot) and task.kind == STILL and original:
                render_deep(stage, task.path, camera=shot, size=task.size)
            else:
                render_picture(stage.scene, task.path, camera=shot, size=task.size, original=original and task.kind == STILL)


@contextlib.contextmanager
def set_up_for(stage: Stage, first: Task, quality: Quality, device: str) -> Iterator[Renderer]:
    """Set up the scene for tasks of one kind inside the block.

    It is set up once for all, since Cycles keeps its scene between frames only while `use_persistent_data` stays on. The frames
    of a turn share one subdivision of the outline and the meshes that come of it.

    device: as `output.cycles` takes it.
    """
    used = quality_of(first.kind, quality)
    with contextlib.ExitStack() as block:
        meshes = None
        if first.persistent:
            block.enter_context(_formed(stage, first))
            meshes = KeptMeshes(stage.scene)
            block.callback(meshes.close)
        block.enter_context(cycles(stage.scene, used, device=device, seed=stage.seed, persistent=first.persistent))
        yield Renderer(stage, meshes)


def _formed(stage: Stage, task: Task) -> contextlib.AbstractContextManager[None]:
    """Inside the block, subdivide piece and stand and raise the relief as finely as the picture requires."""
    return rendered_form(stage.subject(), stage.require("shot", task.shot), task.size)


@contextlib.contextmanager
def _ready(stage: Stage, shot: bpy.types.Object, task: Task) -> Iterator[None]:
    """Put the scene into the state for this picture inside the block; it is restored also when the render fails."""
    with dressed_for(stage, shot):
        stage.scene.frame_set(1)  # the pivot is at rest in frame 1; the turn is applied below
        with turned(stage, task.angle):
            yield
