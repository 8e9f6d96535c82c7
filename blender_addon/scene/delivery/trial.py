"""Renders a small preview of a shot, with or without the recovered relief, for comparison; leaves the scene unchanged."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import bpy

from ..nodes.materials import relief_nodes
from .output import Quality, cycles, render_picture
from .shot_state import dressed_for

if TYPE_CHECKING:
    from ..stage import Stage

QUALITY = Quality(12, 0.1, careful=False)
"""The quality of a short-lived preview."""
FIRST = Quality(2, 0.1, careful=False)
"""The quality of the first look at a job, for which somebody waits: two samples and the denoiser show form, material and set
(by eye), and each more takes half a second."""


def try_shot(
    stage: Stage, shot: bpy.types.Object, path: Path, *, side: int, device: str, relief: bool = True, quality: Quality = QUALITY
) -> None:
    """Render a shot to a PNG with `side` pixels along its longer side.

    relief: whether the recovered relief is shown. device: as `output.cycles` takes it.
    """
    width, height = shot.get("bozzetto_resolution", (3, 2))
    size = (max(1, round(side * width / max(width, height))), max(1, round(side * height / max(width, height))))
    with cycles(stage.scene, quality, device=device, seed=stage.seed), dressed_for(stage, shot):
        with contextlib.nullcontext() if relief else _without_relief(stage.require("piece")):
            render_picture(stage.scene, path, camera=shot, size=size)


def try_hero(stage: Stage, path: Path, *, side: int, device: str) -> None:
    """A first look at the hero, or at the first shot where none is called so; nothing where there is no shot.

    side: pixels along the longer side. device: as `output.cycles` takes it.
    """
    shots = stage.find_all("shot")
    shot = shots.get("hero") or next(iter(shots.values()), None)
    if shot is not None:
        try_shot(stage, shot, path, side=side, device=device, quality=FIRST)


@contextlib.contextmanager
def _without_relief(item: bpy.types.Object) -> Iterator[None]:
    """Set the relief strength of the object's materials to 0 inside the block."""
    materials = [slot.material for slot in item.material_slots if slot.material is not None and slot.material.node_tree]
    sockets = [
        node.inputs["Strength"]
        for material in materials
        for node in relief_nodes(material.node_tree)
        if "Strength" in node.inputs
    ]
    kept = [float(socket.default_value) for socket in sockets]
    try:
        for socket in sockets:
            socket.default_value = 0.0
        yield
    finally:
        for socket, value in zip(sockets, kept, strict=True):
            socket.default_value = value
