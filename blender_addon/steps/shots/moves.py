"""Plans camera moves from a shot: push-in, slide, arc and rack focus, with its lens and a target that stays sharp."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.shots import optics
from ...core.shots.moves.paths import KINDS, From, Path
from ...core.shots.moves.planning import first_of_rack, out_of_focus, planned, rack_lens
from ...core.shots.visible import visible
from ...job.errors import SubjectError
from ...job.files.aside import aside
from ...job.step import Progress, Result, Run
from ...scene.shots import lens_drivers as key
from ...scene.shots.cameras import subject_points
from ...scene.shots.moves import make_move_camera, start_of, subject_surface
from ...scene.shots.subject_points import read_subject
from ...scene.spatial import SurfaceQueries
from ...scene.stage import Stage
from .declared.moves import Settings

if TYPE_CHECKING:
    import bpy

    from ...core.shots.subject import Subject

WORDS = {"push_in": "push-in", "slide": "slide", "arc": "arc", "rack_focus": "rack focus"}


def run(stage: Stage, settings: Settings) -> Run:
    asked = [kind for kind in KINDS if getattr(settings, kind)]
    if not asked:
        yield Progress(1.0, "No moving pictures asked for")
        return Result("No moving pictures", {"moves": []})
    shot = _shot(stage, settings.of)
    yield Progress(0.05, "Looking at the subject")
    surface, points = subject_surface(stage), subject_points(stage).astype(float)
    start, coc = start_of(shot, surface), float(shot[key.COC])
    thin = points[:: max(1, len(points) // 4000)]
    fps = int(settings.fps)
    frames = round(settings.seconds * fps)
    figures: dict[str, object] = {"moves": [], "frames": frames, "fps": fps}
    subject = read_subject(stage)() if "rack_focus" in asked else None
    for place, kind in enumerate(asked):
        words = f"Planning the {WORDS[kind]}"
        making = Progress(0.1 + 0.9 * place / len(asked), words)
        yield making
        try:
            begun = start if subject is None or kind != "rack_focus" else _racked(start, subject, coc)
            found = yield from aside(partial(_planned, kind, begun, frames, coc, thin, surface), making)
        except ValueError as error:
            stage.warn(f"{settings.of}: {error}")
            continue
        extra = {name: shot[name] for name in ("bozzetto_light", "bozzetto_set", "bozzetto_hide") if name in shot.keys()}
        item = make_move_camera(f"Move {WORDS[kind]}", found, shot, fps=fps, extra=extra)
        stage.offer("move", item, key=kind, name=f"Move {WORDS[kind]}")
        figures["moves"].append(kind)
        figures[f"{kind}_out_of_focus"] = int(out_of_focus(found, coc).sum())
    planned = ", ".join(WORDS[kind] for kind in figures["moves"]) or "none that would look well"
    return Result(f"Moving pictures of {settings.of}: {planned}; {settings.seconds:g} s each at {fps} frames a second", figures)


def _shot(stage: Stage, name: str) -> bpy.types.Object:
    shots = stage.find_all("shot")
    if name not in shots or shots[name].get(key.KIND) == "turntable":
        there = ", ".join(shot_name for shot_name, item in shots.items() if item.get(key.KIND) != "turntable")
        raise SubjectError(f'moves.of names the shot "{name}", which does not exist; there are {there}')
    return shots[name]


def _planned(kind: str, start: From, frames: int, coc: float, points: Floats, surface: SurfaceQueries) -> Path:
    return planned(kind, start, frames, coc_mm=coc, outline=points, clearance=lambda places: surface.nearest(places)[2])


def _racked(start: From, subject: Subject, coc: float) -> From:
    """The start of a rack focus: its first point on the piece, and the smallest aperture at which the change is visible."""
    seen = visible(subject.points, subject.normals, position=start.pose.position, rotation=start.pose.rotation)
    first = first_of_rack(subject.points[seen], start.target, start)
    near, far = (-float((point - start.pose.position) @ start.pose.rotation[:, 2]) for point in (first, start.target))
    wide = tuple(stop for stop in optics.THIRD_STOPS if 2.8 <= stop <= start.optics.fnumber)
    lens = rack_lens(start.optics, near, far, coc, wide)
    if lens is None:
        raise ValueError("no rack focus: even at f/2.8 the piece is too shallow for a focus that can be seen to move")
    return replace(start, optics=lens, first=np.asarray(first, float))
