"""Renders the planned moving pictures as frames and films; a run after a crash continues where it stopped."""

from __future__ import annotations

import contextlib
import hashlib
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

from ...core.shots.moves.paths import KINDS
from ...core.shots.moves.paths import Path as MovePath
from ...job.errors import OutputError
from ...job.files.whole_files import check_free
from ...job.notes import several
from ...job.sheet import JobSheet
from ...job.step import Progress, Result, Run
from ...scene import roles
from ...scene.delivery.copies.marked import MARKED, marked
from ...scene.delivery.device import find_device
from ...scene.delivery.kept_meshes import KeptMeshes
from ...scene.delivery.kept_pictures import KeptPictures, scene_digests
from ...scene.delivery.output import Quality, cycles, render_picture
from ...scene.delivery.shot_state import dressed_for
from ...scene.delivery.video import NO_WRITER, has_writer, write_video
from ...scene.dressing.set_parts import apply_shot_set, restore_set
from ...scene.shots.cameras import make_camera
from ...scene.shots.moves import FPS, OF, SHAPE, lens_of, path_of, pose_at_frame
from ...scene.stage import Stage
from ...scene.surface.rendered_form import rendered_form
from .declared.films import Settings

PRESETS = {"proof": (360, Quality(6, 0.0, careful=False)), "final": (1080, Quality(32, 0.0, careful=False))}
"""Lines per frame and quality. There is no noise threshold, which would stop sampling at other pixels in each frame and so
cause flicker."""


def able(sheet: JobSheet, out: Path | None) -> None:
    """Raise JobError, before the first step is run, where moving pictures are planned and no film can be written."""
    planned = [kind for kind in KINDS if getattr(sheet["moves"], kind)]
    if out is not None and planned and not has_writer():
        raise OutputError(f"{NO_WRITER}: plan no moving pictures (set moves.{planned[0]} to false)")


def run(stage: Stage, settings: Settings) -> Run:
    """Render the frames that are missing or out of date, then the films."""
    moves = stage.find_all("move")
    if not moves:
        yield Progress(1.0, "No moving pictures planned")
        return Result("No films: none are planned under Moving pictures", {"films": []})
    if stage.out is None:
        raise OutputError("Rendering films needs a folder to write to: choose one")
    stage.note(f"Films are rendered on {find_device(settings.device).words}")
    rendered, films = 0, []
    mark = _mark(stage, settings)
    for place, (name, item) in enumerate(moves.items()):
        share = (place / len(moves), 1.0 / len(moves))
        tasks, size, quality = _tasks(stage, settings, name, item)
        target = stage.out / f"{name}.mp4"
        check_free([target, *(path for path, _, _ in tasks)])
        kept = KeptPictures(tasks[0][0].parent)
        todo = [task for task in tasks if not kept.current(task[0], task[2])]
        shot = stage.require("shot", str(item[OF]))
        with (
            rendered_form(stage.subject(), shot, size), contextlib.closing(KeptMeshes(stage.scene)) as meshes,
            cycles(stage.scene, quality, device=settings.device, seed=stage.seed, persistent=True), _seen(stage, shot, item),
        ):  # fmt: skip
            started = time.perf_counter()
            for number, (path, frame, digest) in enumerate(todo):
                left = (time.perf_counter() - started) / number * (len(todo) - number) if number else None
                words = f"{name.replace('_', ' ')}, frame {frame + 1} of {len(path_of(item).focus_mm)}"
                yield Progress(share[0] + share[1] * 0.97 * number / len(todo), words, blocking=True, left=left)
                with marked(path, mark) as file:
                    _frame(stage, meshes, (shot, path_of(item), frame), file, size)
                kept.add(path, digest)
        rendered += len(todo)
        yield Progress(share[0] + 0.98 * share[1], f"film of the {name.replace('_', ' ')}", blocking=True)
        write_video([path for path, _, _ in tasks], target, size=size, fps=max(1, round(int(item[FPS]) / settings.every)))
        films.append(target.name)
    return Result(
        f"{several(len(films), 'film')} ({several(rendered, 'frame')} rendered)", {"films": films, "rendered": rendered}
    )


def _mark(stage: Stage, settings: Settings) -> str:
    """The watermark of the frames: that of the pictures, only on proofs."""
    return str(stage.sheet["render"].watermark).strip() if settings.quality == "proof" else ""


def _tasks(
    stage: Stage, settings: Settings, name: str, item: bpy.types.Object
) -> tuple[list[tuple[Path, int, str]], tuple[int, int], Quality]:
    """(file, number, digest) of each frame of a move, the frames' size in pixels, and their quality."""
    assert stage.out is not None
    lines, quality = PRESETS[settings.quality]
    lines = settings.lines or lines
    size = (2 * round(lines * SHAPE[0] / SHAPE[1] / 2), 2 * round(lines / 2))
    mark = _mark(stage, settings)
    quality = Quality(settings.samples or quality.samples, quality.noise, quality.denoise, quality.careful)
    base, found = scene_digests(stage.scene, stage.job).of(stage.require("shot", str(item[OF]))), path_of(item)
    tasks = []
    for frame in range(0, len(found.focus_mm), settings.every):
        shown = (found.positions[frame].tolist(), found.rotations[frame].tolist(), float(found.focus_mm[frame]), found.optics)
        parts = ("formed", base, str(item[OF]), shown, size, quality, *([mark] if mark else []))
        digest = hashlib.sha256(repr(parts).encode()).hexdigest()[:20] + (MARKED if mark else "")
        tasks.append((stage.out / "moves" / name / f"{frame + 1:04}.png", frame, digest))
    return tasks, size, quality


@contextlib.contextmanager
def _seen(stage: Stage, shot: bpy.types.Object, item: bpy.types.Object) -> Iterator[None]:
    """Put the scene into its shot's light inside the block, without parts in the move's way and with the subject at rest."""
    with dressed_for(stage, shot):
        stage.scene.frame_set(1)
        before = apply_shot_set(stage.scene, item)
        try:
            yield
        finally:
            restore_set(stage.scene, before)


def _frame(
    stage: Stage, meshes: KeptMeshes, of: tuple[bpy.types.Object, MovePath, int], path: Path, size: tuple[int, int]
) -> None:
    """Render one frame by a temporary camera, since the planned camera's keys depend on the scene's frame.

    of: the shot, the camera's path, and the number of the frame in it.
    """
    shot, found, frame = of
    pose = pose_at_frame(found, frame)
    lens = lens_of(
        shot, type(found.optics)(found.optics.focal_mm, found.optics.fnumber, pose.focus_mm, found.optics.pupil_ratio)
    )
    camera = make_camera("Frame of a move", pose, lens)
    data: Any = camera.data
    stage.scene.collection.objects.link(camera)
    try:
        camera[roles.JOB] = stage.job
        with meshes.in_place():
            render_picture(stage.scene, path, camera=camera, size=size)
    finally:
        bpy.data.objects.remove(camera)
        bpy.data.cameras.remove(data)
