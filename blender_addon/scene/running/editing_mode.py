"""Leaves Edit Mode, Sculpt Mode and the like while a job works in the scene, and enters them again afterwards.

In Edit Mode a mesh has two states, and steps would read the old one; leaving the mode writes the edits to the mesh.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import bpy


@contextlib.contextmanager
def object_mode(scene: bpy.types.Scene) -> Iterator[None]:
    """Put the scene's objects into Object Mode inside the block; those that still exist return to their modes after it."""
    kept = _leave(scene)
    try:
        yield
    finally:
        _come_back(scene, kept)


def _leave(scene: bpy.types.Scene) -> tuple[str, list[tuple[str, str]]]:
    """Leave all modes; returns the active object's name, and (name, mode) of each object that was in one."""
    inside = [(item.name, str(item.mode)) for item in scene.objects if item.library is None and item.mode != "OBJECT"]
    active = scene.view_layers[0].objects.active if inside else None
    for name, _ in inside:
        _change(scene, bpy.data.objects[name], "OBJECT")
    return (active.name if active else "", inside)


def _come_back(scene: bpy.types.Scene, kept: tuple[str, list[tuple[str, str]]]) -> None:
    active, inside = kept
    for name, mode in sorted(inside, key=lambda pair: pair[0] == active):  # the active one last, so that it is active again
        item = scene.objects.get(name)
        if item is not None:
            _change(scene, item, mode)


def _change(scene: bpy.types.Scene, item: bpy.types.Object, mode: str) -> None:
    """Put one object into a mode, where Blender can (not for a hidden object, for instance); its data is intact either way."""
    for layer in scene.view_layers:
        if item.name in layer.objects:
            with contextlib.suppress(RuntimeError), bpy.context.temp_override(scene=scene, view_layer=layer):
                layer.objects.active = item
                bpy.ops.object.mode_set(mode=mode)
            return
