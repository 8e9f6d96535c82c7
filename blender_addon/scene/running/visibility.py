"""Was an object hidden by the job or by the user? A new object is shown or hidden as the one that it replaces was.

Three marks lie on the object (render, viewport, selectable); the eye in the outliner and the selection belong to a view layer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..roles import SHOWN

if TYPE_CHECKING:
    import bpy

MARKS = ("hide_render", "hide_viewport", "hide_select")


def note_shown(item: bpy.types.Object) -> None:
    """Keep on an object, as a custom property, the visibility that the job gave it."""
    item[SHOWN] = "".join("1" if getattr(item, mark) else "0" for mark in MARKS)


def users_marks(item: bpy.types.Object) -> dict[str, bool]:
    """The marks that differ from what the job set: the user's, by name. None where nothing was noted."""
    noted = str(item.get(SHOWN, ""))
    if len(noted) != len(MARKS):
        return {}
    return {mark: getattr(item, mark) for mark, was in zip(MARKS, noted, strict=True) if getattr(item, mark) != (was == "1")}


def set_marks(item: bpy.types.Object, **wanted: bool) -> None:
    """Set marks for the job; one that the user has set otherwise stays theirs."""
    theirs = users_marks(item)
    noted = list(str(item.get(SHOWN, "")) or "".join("1" if getattr(item, mark) else "0" for mark in MARKS))
    for mark, value in wanted.items():
        noted[MARKS.index(mark)] = "1" if value else "0"
        if mark not in theirs:
            setattr(item, mark, value)
    item[SHOWN] = "".join(noted)


def seen_in(item: bpy.types.Object, scene: bpy.types.Scene) -> list[tuple[str, bool, bool, bool]]:
    """For each view layer of the scene: the layer, and whether the object is hidden by the eye, selected, active."""
    found = []
    for layer in scene.view_layers:
        if item.name in layer.objects:
            active = layer.objects.active == item
            found.append((layer.name, item.hide_get(view_layer=layer), item.select_get(view_layer=layer), active))
    return found


def show_as(item: bpy.types.Object, scene: bpy.types.Scene, seen: list[tuple[str, bool, bool, bool]]) -> None:
    """Give an object the eye and the selection that `seen_in` found of another one."""
    for name, hidden, selected, active in seen:
        layer = scene.view_layers.get(name)
        if layer is None or not (hidden or selected or active):
            continue
        layer.update()  # what was linked a moment ago is known to the layer only then
        if item.name not in layer.objects:
            continue
        if active:
            layer.objects.active = item
        item.select_set(selected, view_layer=layer)
        item.hide_set(hidden, view_layer=layer)
