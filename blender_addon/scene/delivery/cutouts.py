"""The subject alone on nothing, with the shadow it throws, to be laid over any page: PNG with transparency."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy

from .originals import save_as

SUBJECT = ("piece", "stand")
GROUND = ("table",)
FOLDER = "cutouts"


def cutout_of(still: Path) -> Path:
    """Where a still's cut-out lies: `cutouts/NAME.png` beside the folder of the pictures."""
    return still.parent.parent / FOLDER / still.name


def render_cutout(stage: Any, path: Path, *, camera: Any, size: tuple[int, int]) -> None:
    """Render the subject through a shot's camera onto nothing; the ground shows its shadow alone. Call inside `cycles`."""
    scene = stage.scene
    scene.camera = camera
    scene.render.resolution_x, scene.render.resolution_y = size
    with _alone(stage):
        bpy.ops.render.render(write_still=False, scene=scene.name)
        save_as(scene, None, path, "PNG", "8", mode="RGBA")


@contextlib.contextmanager
def _alone(stage: Any) -> Iterator[None]:
    """Everything but the subject out of the camera's sight and without a shadow; the ground catches shadows. Lights stay."""
    scene = stage.scene
    subject = [item for role in SUBJECT for item in stage.find_all(role).values()]
    subject += [item for item in scene.objects if item.get("bozzetto_turns") and item not in subject]
    ground = [item for role in GROUND for item in stage.find_all(role).values()]
    changes: list[tuple[Any, str, Any]] = [(scene.render, "film_transparent", True)]
    for item in scene.objects:
        if item in subject or not hasattr(item, "visible_camera") or item.type in ("LIGHT", "CAMERA"):
            continue
        if item in ground:
            changes.append((item, "is_shadow_catcher", True))
        else:
            changes += [(item, "visible_camera", False), (item, "visible_shadow", False)]
    kept = [(owner, name, getattr(owner, name)) for owner, name, _ in changes]
    try:
        for owner, name, value in changes:
            setattr(owner, name, value)
        yield
    finally:
        for owner, name, value in kept:
            setattr(owner, name, value)
