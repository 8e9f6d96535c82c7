"""Stores a step's decisions after its run: as tables in the scene's state, their pictures in the scene as PNG bytes.

The pictures are in the .blend, so that the list of questions shows them in the next session too. A run with an output folder
also writes them as files, which the maker's page shows.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.files.pictures.png8 import png8, read_png8
from ...job.decisions import Decision, Picture, Question, picture_names, questions_in
from ...job.errors import JobError
from ..roles import has

if TYPE_CHECKING:
    import bpy

PICTURES = "bozzetto_decision_pictures"
"""Custom property of the scene: file name to PNG bytes."""
FOLDER = "decisions"
"""Folder of a run in which the pictures lie as files."""


def keep_pictures(scene: bpy.types.Scene, step: str, decisions: Sequence[Decision]) -> None:
    """Store the pictures of a step's decisions in the scene, in place of the step's earlier ones."""
    kept = {name: bytes(data) for name, data in scene.get(PICTURES, {}).items() if not name.startswith(f"{step}-")}
    for decision in decisions:
        for name, entry in zip(picture_names(step, decision), (decision.choice, *decision.alternatives), strict=True):
            if name and entry.picture is not None:
                kept[name] = png8(entry.picture)
    if kept or has(scene, PICTURES):
        scene[PICTURES] = kept


def picture(scene: bpy.types.Scene, name: str) -> Picture | None:
    """The kept picture of that name, or None."""
    data = scene.get(PICTURES, {}).get(name)
    if data is None:
        return None
    with contextlib.suppress(ValueError):
        return read_png8(bytes(data))
    return None


def icon_pixels(scene: bpy.types.Scene, name: str) -> Floats | None:
    """(h, w, 4) float32 of the kept picture, row 0 at the bottom, as Blender's previews want it; None when there is none."""
    found = picture(scene, name)
    if found is None:
        return None
    pixels = np.ones((*found.shape[:2], 4), np.float32)
    pixels[..., :3] = found[::-1] / np.float32(255.0)
    return pixels


def picture_bytes(scene: bpy.types.Scene, name: str) -> bytes:
    """The kept picture as the bytes of a PNG file; empty when there is none."""
    return bytes(scene.get(PICTURES, {}).get(name, b""))


def write_pictures(scene: bpy.types.Scene, step: str, out: Path) -> None:
    """Write a step's pictures into the run's folder, and remove the files of its earlier decisions."""
    from .session import whole_file  # it imports the stage, and that imports this module

    held = {name: bytes(data) for name, data in scene.get(PICTURES, {}).items() if name.startswith(f"{step}-")}
    folder = out / FOLDER
    for name, data in held.items():
        with whole_file(folder / name) as draft:
            draft.write_bytes(data)
    for path in folder.glob(f"{step}-*.png"):
        if path.name not in held:
            with contextlib.suppress(OSError):
                path.unlink()


def questions(results: Mapping[str, Mapping[str, object]]) -> list[Question]:
    """All stored decisions, in the order of steps, asked about or not; those that can't be read are left out."""
    found: list[Question] = []
    for step, result in results.items():
        with contextlib.suppress(JobError):
            found += questions_in(step, result.get("decisions", ()))
    return found


__all__ = ["FOLDER", "PICTURES", "icon_pixels", "keep_pictures", "picture", "picture_bytes", "questions", "write_pictures"]
