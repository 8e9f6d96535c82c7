"""Renders the stills, the turntable, the sample sheet and the contact sheet; a run after a crash continues where it stopped."""

from __future__ import annotations

import hashlib
import math
import time
from collections.abc import Generator, Sequence
from dataclasses import replace
from pathlib import Path

import bpy

from ...core.delivery.cost import Pace
from ...core.files.whole import damage
from ...core.generators import passed_on
from ...core.shots.turntable import angles
from ...job.errors import OutputError, SubjectError
from ...job.files.names import check_name
from ...job.files.whole_files import check_free, write_bytes
from ...job.notes import several
from ...job.settings import nearest
from ...job.sheet import JobSheet
from ...job.step import Progress, Result, Run
from ...scene.delivery.contact_sheet import write_contact_sheet
from ...scene.delivery.copies.marked import MARKED
from ...scene.delivery.cutouts import cutout_of
from ...scene.delivery.deep_pictures import forget_longer
from ...scene.delivery.device import find_device
from ...scene.delivery.kept_pictures import KeptPictures, SceneDigests, digesting, put_aside
from ...scene.delivery.output import SCENE_PATHS, Quality, set_up
from ...scene.delivery.shot_state import hang_on_pivot, make_pivot, turning
from ...scene.delivery.video import NO_WRITER, has_writer, write_video
from ...scene.running.session import writes
from ...scene.stage import Stage
from . import _estimate
from ._pictures import CUTOUT, FRAME, Task, missing, order_of, quality_of, set_up_for, still_of
from .declared.render import PRESETS, Settings

TURNTABLE = "turntable"
READING = 5.0
"""Seconds for finding out what must be rendered, and for making the sheet and the film."""
SHOTS = 3
"""The number of stills assumed before the shots are known."""


def able(sheet: JobSheet, out: Path | None) -> None:
    """Raise JobError, before the first step is run, where rendering can't succeed.

    For no device, no room, no writer for the film, and the name of a shot that is none.
    """
    if out is None:
        return
    settings: Settings = sheet["render"]
    known = [name for name in sheet["camera"].possible_names() if name != TURNTABLE]
    _check_shots(settings, [*known, *(path.stem for path in (out / "pictures").glob("*.png"))], known)
    find_device(settings.device)
    if settings.turntable and settings.video and not has_writer():
        raise OutputError(f"{NO_WRITER}: set render.video to false")
    tasks = _planned(settings, out)
    if not (out / "pictures").is_dir():  # existing pictures already occupy their space
        _estimate.check_room(out, *_estimate.costs_of(tasks))


def cost(settings: Settings) -> float:
    """Rough seconds for the pictures on two cores, before the shots are known."""
    tasks = _planned(settings, Path())
    each = _estimate.guessed(tasks, _quality(settings)[0], settings.device)
    return READING + sum(each[task.kind] for task in tasks)


def _planned(settings: Settings, out: Path) -> list[Task]:
    """The pictures assumed before the shots are known."""
    still = settings.size or PRESETS[settings.quality].long_side
    frame = settings.turntable_size or PRESETS[settings.quality].turn_lines * 3 // 2
    tasks = [Task(out, "", (still, still * 2 // 3), 0.0, "")] * (SHOTS if settings.stills else 0)
    tasks += [replace(task, kind=CUTOUT) for task in tasks] if settings.cutouts else []
    return tasks + [Task(out, "", (frame, frame * 2 // 3), 0.0, "", FRAME)] * (settings.frame_count * settings.turntable)


def run(stage: Stage, settings: Settings) -> Run:
    """Render the pictures that are missing or out of date; the others stay."""
    if stage.out is None:
        raise OutputError("Rendering needs a folder to write to: choose one")
    started = time.perf_counter()
    device = find_device(settings.device)
    stage.note(f"Cycles renders on {device.words}")
    quality, long_side = _quality(settings)
    shown = yield from passed_on(digesting(stage.scene, stage.job), lambda _: Progress(0.0, "looking what the pictures show"))
    stills = _stills(stage, settings, quality, long_side, shown) if settings.stills else []
    cutouts = [_cutout(task) for task in stills] if settings.cutouts else []
    frames = _frames(stage, settings, quality, shown) if settings.turntable else []
    check_free([path for task in (*stills, *cutouts, *frames) for path in task.files()])
    groups = [missing(group) for group in (stills, cutouts, frames)]
    todo = [task for group in groups for task in group]
    if stage.farm and todo:
        yield Progress(0.0, "giving the scene to the workers", blocking=True)
        stage.farm.begin(_save_copy, stage.scene.name)
    speed = stage.farm.speed if stage.farm else 1.0
    expected = yield from _estimate.estimated(stage, todo, quality, settings.device, speed)
    yield from _estimate.said(stage, expected, todo, device.words)
    pace = _estimate.pace_of(expected, todo, speed)
    began = time.perf_counter()
    waits = []
    for group, share in zip(groups, ((0.02, 0.5), (0.5, 0.6), (0.62, 0.95)), strict=True):
        waits.append((yield from _render_all(stage, group, settings, quality, share, pace)))
    took = time.perf_counter() - began
    rendered, reused = len(todo), len(stills) + len(cutouts) + len(frames) - len(todo)
    video = yield from _video(stage, settings, frames)
    if settings.sample_sheet:
        for update in sample_sheet(stage, settings):
            yield replace(update, fraction=0.96 + 0.02 * update.fraction)
    if settings.contact_sheet and stills:
        yield Progress(0.99, "contact sheet")
        shots = [(task.path, stage.require("shot", task.shot).get("bozzetto_caption", task.shot)) for task in stills]
        write_contact_sheet(shots, stage.out / "contact_sheet.png")
    _leave_set_up(stage, settings, quality, long_side)
    if settings.turntable:
        _offer_pivot(stage, settings)
    words = several(len(stills), "still") + (f" and a turn of {len(frames)} frames" if frames else "")
    return Result(
        f"{words} ({rendered} rendered, {reused} already there)",
        {
            "stills": len(stills), "frames": len(frames), "rendered": rendered, "reused": reused,
            "seconds_a_still": waits[0], "seconds_a_frame": waits[2], "pictures_seconds": round(took, 2), **expected.figures(),
            "cutouts": len(cutouts), "video": video,
            "device": device.words, "samples": quality.samples, "noise": quality.noise,
            "render_seconds": round(time.perf_counter() - started, 2),
        },
    )  # fmt: skip


def _quality(settings: Settings) -> tuple[Quality, int]:
    preset = PRESETS[settings.quality]
    samples = settings.samples or preset.quality.samples
    noise = preset.quality.noise if settings.noise is None else settings.noise
    return Quality(samples, noise, settings.denoise), settings.size or preset.long_side


def _size(shot: bpy.types.Object, long_side: int) -> tuple[int, int]:
    width, height = shot.get("bozzetto_resolution", (3, 2))
    factor = long_side / max(width, height)
    return max(1, round(width * factor)), max(1, round(height * factor))


def _turn_size(shot: bpy.types.Object, settings: Settings) -> tuple[int, int]:
    """Size in px of the turntable's frames: by the setting, or else by the lines along the shorter side for the quality."""
    if settings.turntable_size is not None:
        return _size(shot, settings.turntable_size)
    width, height = shot.get("bozzetto_resolution", (3, 2))
    return _size(shot, round(PRESETS[settings.quality].turn_lines * max(width, height) / min(width, height)))


def _digest(*parts: object, mark: str = "") -> str:
    shown = hashlib.sha256(repr((*parts, mark) if mark else parts).encode()).hexdigest()[:20]
    return shown + MARKED if mark else shown


def _stills(stage: Stage, settings: Settings, quality: Quality, long_side: int, shown: SceneDigests) -> list[Task]:
    assert stage.out is not None
    shots = {name: shot for name, shot in stage.find_all("shot").items() if shot.get("bozzetto_kind") != TURNTABLE}
    for name in shots:  # a .blend from elsewhere may contain any name
        check_name("The shot's name", name)
    order = sorted(shots, key=lambda name: (int(shots[name].get("bozzetto_order", 0)), name))
    _check_shots(settings, order, order)
    wanted, approved = _named(settings.only), _named(settings.approved)
    tasks = []
    for name in order:
        path = stage.out / "pictures" / f"{name}.png"
        if (wanted and name not in wanted) or (name in approved and path.is_file() and not damage(path)):
            continue  # an approved picture whose file is damaged is rendered again
        size = _size(shots[name], long_side)
        digest = _digest(shown.of(shots[name]), name, size, quality, mark=settings.mark)
        tasks.append(still_of(shots[name], Task(path, name, size, 0.0, digest, mark=settings.mark)))
    return tasks


def _named(words: str) -> set[str]:
    return {name.strip() for name in words.split(",")} - {""}


def _check_shots(settings: Settings, known: Sequence[str], listed: Sequence[str]) -> None:
    """Raise SubjectError for a name in `only` or `approved` that is not known; `listed`: the names that the message lists."""
    for field, words in (("only", settings.only), ("approved", settings.approved)):
        for name in sorted(_named(words) - set(known)):
            raise SubjectError(
                f'render.{field}: there is no shot "{name}"{nearest(name, listed)}; the shots are {", ".join(listed)}'
            )


def _frames(stage: Stage, settings: Settings, quality: Quality, shown: SceneDigests) -> list[Task]:
    assert stage.out is not None
    shots = stage.find_all("shot")
    name = next((each for each, shot in shots.items() if shot.get("bozzetto_kind") == TURNTABLE), None)
    if name is None:
        stage.warn("There is no turntable shot, so no turn was rendered")
        return []
    size, base = _turn_size(shots[name], settings), shown.of(shots[name])
    turn = _turn(settings)
    quick = quality_of(FRAME, quality)
    return [
        Task(
            stage.out / "turntable" / f"{number:04d}.png", name, size, float(angle),
            _digest(base, name, size, angle, quick, mark=settings.mark), FRAME, settings.mark,
        )
        for number, angle in enumerate(turn, 1)
    ]  # fmt: skip


def _turn(settings: Settings) -> list[float]:
    """Angles in degrees of the turntable's frames, counter-clockwise seen from above."""
    way = -1.0 if settings.clockwise else 1.0
    return [way * math.degrees(angle) for angle in angles(settings.frame_count, pace="eased" if settings.eased else "steady")]


def _render_all(
    stage: Stage, todo: list[Task], settings: Settings, quality: Quality, share: tuple[float, float], pace: Pace
) -> Generator[Progress, None, float]:
    """Render tasks of one kind, here or on the farm; returns the mean seconds per picture."""
    if not todo:
        return 0.0
    started = time.perf_counter()
    work = _on_the_farm if stage.farm else _here
    for done, (seconds, words) in enumerate(work(stage, todo, settings, quality)):
        if done:
            pace.took(todo[0].kind, seconds, done)
        at = share[0] + (share[1] - share[0]) * done / len(todo)
        if done < len(todo):
            yield Progress(at, f"{words} ({done + 1} of {len(todo)})", blocking=True, left=pace.seconds())
    return round((time.perf_counter() - started) / len(todo), 2)


Steady = Generator[tuple[float, str], None, None]


def _here(stage: Stage, todo: list[Task], settings: Settings, quality: Quality) -> Steady:
    """Render one picture after another. Yields before each and at the end: seconds of the previous one, name of the next."""
    kept = KeptPictures(todo[0].path.parent)
    seconds = 0.0
    with set_up_for(stage, todo[0], quality, settings.device) as renderer:
        for task in todo:
            yield seconds, f"{task.path.parent.name} {task.path.stem}"
            started = time.perf_counter()
            renderer.render(task, versions=settings.versions)
            kept.add(task.path, task.digest)
            seconds = time.perf_counter() - started
    yield seconds, ""


def _on_the_farm(stage: Stage, todo: list[Task], settings: Settings, quality: Quality) -> Steady:
    """Have the pictures rendered by the farm, and store each under its name when it is delivered."""
    assert stage.farm is not None
    kept = KeptPictures(todo[0].path.parent)
    tasks = {order.name: (task, order) for task in todo for order in [order_of(stage, task, quality, settings.device)]}
    seconds = 0.0
    words = f"{todo[0].path.parent.name}, {stage.farm.hands} at once"
    yield seconds, words
    for delivered in stage.farm.render([order for _, order in tasks.values()]):
        task, _ = tasks[delivered.order.name]
        if settings.versions and not task.persistent:
            put_aside(task.path)
        path, *more = task.files()
        for place, data in zip((*more, path), (*delivered.files[1:], delivered.files[0]), strict=True):
            write_bytes(place, data.read_bytes())  # the picture last, so that the others exist whenever it does
        forget_longer(path, task.slices)
        kept.add(task.path, task.digest)
        yield delivered.seconds, words


def _save_copy(path: Path) -> None:
    """Save a copy of the open .blend for other processes to render."""
    with writes(path):
        bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True, compress=False, check_existing=False)


def _cutout(still: Task) -> Task:
    digest = _digest("cutout, tidied", still.digest, mark=still.mark)
    return replace(still, path=cutout_of(still.path), slices=(), digest=digest, kind=CUTOUT)


def _video(stage: Stage, settings: Settings, frames: Sequence[Task]) -> Generator[Progress, None, str]:
    if not (frames and settings.video):
        return ""
    assert stage.out is not None
    pictures, size = [task.path for task in frames], frames[0].size
    yield Progress(0.955, "turntable video", blocking=True)
    target = stage.out / "turntable.mp4"
    write_video(pictures, target, size=size, fps=settings.frame_rate, turns=settings.turns)
    if settings.webm:
        yield Progress(0.96, "turntable video as WebM", blocking=True)
        write_video(pictures, target.with_suffix(".webm"), size=size, fps=settings.frame_rate)
    return target.name


def sample_sheet(stage: Stage, settings: Settings) -> Generator[Progress, None, None]:
    """Render the piece in every material to the folder `samples`, and all of them as one sheet."""
    from ...scene.delivery.sample_sheet import render_samples

    assert stage.out is not None
    pictures = []
    for place, count, name, picture in render_samples(stage, settings.device, *_quality(settings), settings.mark):
        yield Progress(place / count, f"sample {name} ({place} of {count})", blocking=True)
        pictures.append((picture, name))
    write_contact_sheet(pictures, stage.out / "sample_sheet.png")


def _offer_pivot(stage: Stage, settings: Settings) -> None:
    """Offer the turn as ordinary Blender data: an animated empty to which the subject is parented."""
    pivot = make_pivot("Turntable", _turn(settings))
    stage.offer("pivot", pivot, name="Turntable")
    for item in turning(stage):
        stage.edit(item, hang_on_pivot(stage))


def _leave_set_up(stage: Stage, settings: Settings, quality: Quality, long_side: int) -> None:
    """At the swap, set up the scene so that F12 renders the first shot as the job did."""

    def leave() -> None:
        scene = stage.scene
        set_up(scene, quality, device=settings.device, seed=stage.seed)
        shots = stage.find_all("shot")
        first = shots.get("hero") or next(iter(shots.values()))
        scene.camera = first
        scene.render.resolution_x, scene.render.resolution_y = _size(first, long_side)
        scene.render.use_file_extension = True
        scene.render.filepath = "//"
        scene.frame_start, scene.frame_end = 1, settings.frame_count
        scene.frame_set(1)

    stage.at_swap(lambda: stage.set_up_scene(SCENE_PATHS, leave))
