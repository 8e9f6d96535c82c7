"""Was an object hidden by the job or by the user? A replacement is shown or hidden as the object it replaces was.

An object has three flags (render, viewport, selectable); the eye in the outliner and the selection belong to a view layer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..roles import SHOWN

if TYPE_CHECKING:
    import bpy

MARKS = ("hide_render", "hide_viewport", "hide_select")


def note_shown(item: bpy.types.Object) -> None:
    """Record the present flags of an object, in a custom property, as those that the job set."""
    item[SHOWN] = "".join("1" if getattr(item, mark) else "0" for mark in MARKS)


def users_marks(item: bpy.types.Object) -> dict[str, bool]:
    """The flags that the user has set otherwise than the job, by name; empty where nothing was recorded."""
    noted = str(item.get(SHOWN, ""))
    if len(noted) != len(MARKS):
        return {}
    return {mark: getattr(item, mark) for mark, was in zip(MARKS, noted, strict=True) if getattr(item, mark) != (was == "1")}


def set_marks(item: bpy.types.Object, **wanted: bool) -> None:
    """Set flags for the job; one that the user has set otherwise keeps the user's value."""
    theirs = users_marks(item)
    noted = list(str(item.get(SHOWN, "")) or "".join("1" if getattr(item, mark) else "0" for mark in MARKS))
    for mark, value in wanted.items():
        noted[MARKS.index(mark)] = "1" if value else "0"
        if mark not in theirs:
            setattr(item, mark, value)
    item[SHOWN] = "".join(noted)


def seen_in(item: bpy.types.Object, scene: bpy.types.Scene) -> list[tuple[str, bool, bool, bool]]:
    """For each view layer of the scene with the object: its name, and whether the object is hidden, selected, active."""
    found = []
    for layer in scene.view_layers:
        if item.name in layer.objects:
            active = layer.objects.active == item
            found.append((layer.name, item.hide_get(view_layer=layer), item.select_get(view_layer=layer), active))
    return found


def show_as(item: bpy.types.Object, scene: bpy.types.Scene, seen: list[tuple[str, bool, bool, bool]]) -> None:
    """Apply to an object the eye and the selection that `seen_in` read from another one."""
    for name, hidden, selected, active in seen:
        layer = scene.view_layers.get(name)
        if layer is None or not (hidden or selected or active):
            continue
        layer.update()  # makes newly linked objects known to the layer
        if item.name not in layer.objects:
            continue
        if active:
            layer.objects.active = item
        item.select_set(selected, view_layer=layer)
        item.hide_set(hidden, view_layer=layer)
