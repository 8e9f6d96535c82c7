"""Puts the scene into the state for one picture (the shot's set and light, the subject turned) and restores it afterwards."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator, Sequence

import bpy
from mathutils import Matrix

from ..dressing.set_parts import apply_shot_set, restore_set
from ..dressing.shot_light import apply_shot_light
from ..stage import Stage


@contextlib.contextmanager
def dressed_for(stage: Stage, shot: bpy.types.Object) -> Iterator[None]:
    """Apply the shot's set and light inside the block; the scene's own state is restored afterwards."""
    before = apply_shot_set(stage.scene, shot)
    restore_light = apply_shot_light(stage.scene, shot)
    try:
        yield
    finally:
        restore_light()
        restore_set(stage.scene, before)


@contextlib.contextmanager
def turned(stage: Stage, angle: float) -> Iterator[None]:
    """Turn the subject about the vertical by an angle in degrees, counter-clockwise seen from above, inside the block."""
    if angle == 0.0:
        yield
        return
    items = turning(stage)
    kept = [(item.name, item.matrix_basis.copy()) for item in items]
    turn = Matrix.Rotation(math.radians(angle), 4, "Z")
    try:
        for item in items:
            item.matrix_basis = turn @ item.matrix_basis
        yield
    finally:
        for name, matrix in kept:
            bpy.data.objects[name].matrix_basis = matrix


def turning(stage: Stage) -> list[bpy.types.Object]:
    """The objects that turn: the subject and what lies on it (property `bozzetto_turns`), or the camera that orbits instead."""
    orbiting = [shot for shot in stage.find_all("shot").values() if shot.get("bozzetto_turn") == "camera"]
    if orbiting:
        return orbiting
    items = stage.subject()
    return items + [item for item in stage.scene.objects if item.get("bozzetto_turns") and item not in items]


def make_pivot(name: str, angles: Sequence[float]) -> bpy.types.Object:
    """An empty at the origin with a key per frame: `angles` (n,) in degrees for frames 1 to n; back at 0 in frame n + 1."""
    pivot = bpy.data.objects.new(name, None)
    pivot.empty_display_size = 0.02
    for frame, angle in enumerate(angles, 1):
        pivot.rotation_euler[2] = math.radians(float(angle))
        pivot.keyframe_insert("rotation_euler", index=2, frame=frame)
    pivot.rotation_euler[2] = 0.0
    pivot.keyframe_insert("rotation_euler", index=2, frame=len(angles) + 1)
    pivot.animation_data.action.name = name
    return pivot


def hang_on_pivot(stage: Stage) -> Callable[[bpy.types.Object], None]:
    """An edit for `Stage.edit` that parents an object to the job's pivot without moving it."""

    def hang(item: bpy.types.Object) -> None:
        item.parent = stage.find("pivot")
        item.matrix_parent_inverse.identity()

    return hang
