"""Draws settings in panels: with a switch if they can be automatic, tables with a box per row, long texts wrapped."""

from __future__ import annotations

import textwrap
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any

from ..job.settings import Spec, label_of, matters, specs
from .on_screen import has_switch

if TYPE_CHECKING:
    import bpy

CATEGORY = "Bozzetto"
"""The sidebar tab of all panels."""


class Tab:
    """Common attributes of all panels."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = CATEGORY


PLAIN = ("switch", "choice", "integer", "text", "number", "file", "folder")
"""Kinds of settings that are one control, unless they may be automatic."""
LETTER = 6.3
"""Mean letter width in px at an interface scale of 1; a guess that keeps lines inside the sidebar."""


LABELS, MARGINS = 0.4, 40.0
"""The share of a row that Blender gives the label before a control; pixels of a sidebar beside its rows, a guess."""


def room_of(context: bpy.types.Context) -> int:
    """Letters of a label that fit before its control in the region that is drawn."""
    width = context.region.width if context.region else 300.0
    return int(LABELS * (width / context.preferences.system.ui_scale - MARGINS) / LETTER)


def draw_field(layout: bpy.types.UILayout, group: Any, name: str, spec: Spec, step: str, *, room: int = 99) -> None:
    """Draw one setting of a step's property group. room: letters of a label that fit; a longer one gets more of the row."""
    if spec.kind == "table":
        _draw_table(layout, group, name, spec, step)
        return
    pickable = spec.kind == "point" and spec.place and spec.size == 3 and spec.unit != "px"  # in the scene, not in a picture
    label, switched = label_of(name, spec), has_switch(spec)
    long = len(label) > room and (switched or spec.kind != "switch")
    if long:
        row = _behind(layout, label, room)
    elif switched:
        row = layout.row(align=True, heading=label)
    else:
        row = layout.row(align=True) if pickable else layout  # an extra row per setting would slow down redraws
    if switched:
        row.prop(group, f"use_{name}", text="")
    if switched and not getattr(group, f"use_{name}"):
        row.label(text="Auto" if spec.automatic else "Not given")
    elif switched or long:
        row.prop(group, name, text="")
    else:
        row.prop(group, name)
    if pickable:
        for operator, icon in (("bozzetto.pick_point", "EYEDROPPER"), ("bozzetto.point_from_cursor", "PIVOT_CURSOR")):
            button = row.operator(operator, text="", icon=icon)
            button.group, button.field = group.path_from_id(), name


def _behind(layout: bpy.types.UILayout, label: str, room: int) -> bpy.types.UILayout:
    """The row behind a label that is too long for its usual share of the width: the control gets the rest, at least a third."""
    parts = layout.split(factor=min(LABELS * len(label) / max(room, 1), 2.0 / 3.0))
    parts.use_property_split = False
    words = parts.row()
    words.alignment = "RIGHT"
    words.label(text=label)
    return parts.row(align=True)


def draw_fields(layout: bpy.types.UILayout, group: Any, step: Any, *, more: bool, room: int) -> None:
    """Draw a step's applicable settings: those that most jobs need, or the others. room: letters of a label that fit."""
    values = partial(getattr, group)
    for name, spec in specs(step.settings).items():
        if spec.more != more or (spec.when and not matters(spec, values)):
            continue
        if spec.kind in PLAIN and not spec.optional and len(label_of(name, spec)) <= room:  # most are, and are drawn often
            layout.prop(group, name)
        else:
            draw_field(layout, group, name, spec, step.name, room=room)


def _draw_table(layout: bpy.types.UILayout, group: Any, name: str, spec: Spec, step: str) -> None:
    assert spec.row is not None
    row = layout.row()
    row.label(text=label_of(name, spec))
    _row_button(row, step, name, "ADD", 0, "ADD")
    for place, entry in enumerate(getattr(group, name)):
        box = layout.box()
        box.use_property_split = True
        fields = specs(spec.row)
        shown = {key: each for key, each in fields.items() if matters(each, partial(getattr, entry))}
        for place_in_row, (field, field_spec) in enumerate(shown.items()):
            line = box.row(align=True)
            draw_field(line.column(), entry, field, field_spec, step)
            if place_in_row == 0:
                _row_button(line, step, name, "REMOVE", place, "X")


def _row_button(layout: bpy.types.UILayout, step: str, field: str, action: str, index: int, icon: str) -> None:
    button = layout.operator("bozzetto.row", text="", icon=icon)
    button.step, button.field, button.action, button.index = step, field, action, index


def paragraph(
    layout: bpy.types.UILayout, words: str, context: bpy.types.Context, *, icon: str = "NONE", room: int | None = None
) -> None:
    """Draw a text on several lines, since labels do not wrap; the icon is drawn before the first line.

    room: letters in a line; None: as many as fit the region.
    """
    if not words:
        return
    scale = context.preferences.system.ui_scale
    width = context.region.width if context.region else 300.0
    room = room or max(24, int((width / scale - (38.0 if icon == "NONE" else 60.0)) / LETTER))
    column = layout.column(align=True)
    column.scale_y = 0.8
    for place, line in enumerate(_lines(words, room)):
        column.label(text=line, icon=icon if place == 0 else ("NONE" if icon == "NONE" else "BLANK1"))


@lru_cache(maxsize=512)
def _lines(words: str, room: int) -> tuple[str, ...]:
    """A text wrapped to lines; cached, since panels are drawn many times per second."""
    return tuple(textwrap.wrap(words, room))
