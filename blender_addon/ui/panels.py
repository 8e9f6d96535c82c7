"""The tab in the sidebar: one button on top, then five panels in the order of the work, a closed part for each step."""

from __future__ import annotations

from functools import cache, partial
from typing import Any

import bpy

from ..job.settings import Spec, label_of, matters, specs
from ..job.step import FOLDERS, Step
from ..scene.stage import STATE
from ..steps import catalogue
from .alignment import draw_by_hand
from .job_state import state_of
from .lens import BOZZETTO_PT_lens
from .properties import has_switch
from .tab import Tab
from .to_check import BOZZETTO_PT_to_check

TITLES = {"scan": "Scan", "surface": "Surface", "shots": "Shots", "dressing": "Dressing", "delivery": "Delivery"}


class BOZZETTO_PT_job(Tab, bpy.types.Panel):
    """The whole job"""

    bl_label = "Bozzetto"
    bl_idname = "BOZZETTO_PT_job"

    def draw(self, context: Any) -> None:
        """The scan, its size, the button."""
        layout, job = self.layout, context.scene.bozzetto
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(job, "scan")
        draw_field(layout, job.orientation, "height", specs(job_settings("orientation"))["height"], "orientation")
        layout.prop(job, "output")
        row = layout.row()
        row.scale_y = 1.6
        row.enabled = bool(job.scan)
        row.operator("bozzetto.run_job", icon="RENDER_STILL")
        if STATE in context.scene:
            row = layout.row(align=True)
            row.operator("bozzetto.run_job", text="Bring up to date", icon="FILE_REFRESH").changed = True
            row.operator("bozzetto.open_folder", text="", icon="FILE_FOLDER")
        row = layout.row(align=True)
        row.operator("bozzetto.read_sheet", text="Read sheet")
        row.operator("bozzetto.write_sheet", text="Write sheet")


def job_settings(step: str) -> type:
    """The settings class of a step."""
    return next(one.settings for one in catalogue() if one.name == step)


def _folder_panel(folder: str) -> type:
    def draw(self: Any, context: Any) -> None:
        pass

    return type(
        f"BOZZETTO_PT_{folder}", (Tab, bpy.types.Panel),
        {"bl_label": TITLES[folder], "bl_idname": f"BOZZETTO_PT_{folder}", "bl_options": {"DEFAULT_CLOSED"}, "draw": draw},
    )  # fmt: skip


def _step_panel(step: Step) -> type:
    def draw(self: Any, context: Any) -> None:
        _draw_step(self.layout, context, step)

    def draw_header_preset(self: Any, context: Any) -> None:
        if step.name in state_of(context.scene).late:
            self.layout.label(text="changed")

    return type(
        f"BOZZETTO_PT_{step.name}", (Tab, bpy.types.Panel),
        {
            "bl_label": step.label, "bl_idname": f"BOZZETTO_PT_{step.name}", "bl_parent_id": f"BOZZETTO_PT_{step.folder}",
            "bl_options": {"DEFAULT_CLOSED"}, "draw": draw, "draw_header_preset": draw_header_preset, "__doc__": step.help,
        },
    )  # fmt: skip


def _draw_step(layout: Any, context: Any, step: Step) -> None:
    group = getattr(context.scene.bozzetto, step.name)
    layout.use_property_split = True
    layout.use_property_decorate = False
    fields = specs(step.settings)
    for name, spec in fields.items():
        if not spec.more and matters(spec, lambda other: getattr(group, other)):
            draw_field(layout, group, name, spec, step.name)
    if any(spec.more for spec in fields.values()):
        header, body = layout.panel(f"bozzetto_more_{step.name}", default_closed=True)
        header.label(text="More")
        if body:
            for name, spec in fields.items():
                if spec.more and matters(spec, lambda other: getattr(group, other)):
                    draw_field(body, group, name, spec, step.name)
    if step.name == "orientation":
        layout.operator("bozzetto.choose_front", text="Choose the front ...")
    if step.name == "material":
        layout.operator("bozzetto.sample_sheet", icon="MATERIAL")
    draw_by_hand(layout, context, step.name)
    grid = layout.grid_flow(columns=2, even_columns=True, row_major=True, align=True)
    for words, first, last, afresh in (
        ("Run this", step.name, step.name, False), ("Make ours again", step.name, step.name, True),
        ("Until here", "", step.name, False), ("From here", step.name, "", False),
    ):  # fmt: skip
        button = grid.operator("bozzetto.run_job", text=words)
        button.first, button.last, button.afresh = first, last, afresh


def draw_field(layout: Any, group: Any, name: str, spec: Spec, step: str) -> None:
    """Draw one setting: with its switch when it may be left to itself, a table as boxes of rows."""
    if spec.kind == "table":
        _draw_table(layout, group, name, spec, step)
        return
    if not has_switch(spec):
        row = layout.row(align=True)
        row.prop(group, name)
        if spec.kind == "point":
            _cursor_button(row, group, name, spec)
        return
    row = layout.row(align=True, heading=label_of(name, spec))
    row.prop(group, f"use_{name}", text="")
    if not getattr(group, f"use_{name}"):
        row.label(text="Auto")
        return
    row.prop(group, name, text="")
    if spec.kind == "point":
        _cursor_button(row, group, name, spec)


def _cursor_button(row: Any, group: Any, name: str, spec: Spec) -> None:
    if spec.size != 3 or spec.unit == "px":  # a place in a picture, not in the scene
        return
    button = row.operator("bozzetto.point_from_cursor", text="", icon="PIVOT_CURSOR")
    button.group, button.field = group.path_from_id(), name


def _draw_table(layout: Any, group: Any, name: str, spec: Spec, step: str) -> None:
    assert spec.row is not None
    row = layout.row()
    row.label(text=label_of(name, spec))
    _row_button(row, step, name, "ADD", 0, "ADD")
    for place, entry in enumerate(getattr(group, name)):
        box = layout.box()
        box.use_property_split = True
        fields = specs(spec.row)
        shown = {key: one for key, one in fields.items() if matters(one, partial(getattr, entry))}
        for place_in_row, (field, field_spec) in enumerate(shown.items()):
            line = box.row(align=True)
            draw_field(line.column(), entry, field, field_spec, step)
            if place_in_row == 0:
                _row_button(line, step, name, "REMOVE", place, "X")


def _row_button(layout: Any, step: str, field: str, action: str, index: int, icon: str) -> None:
    button = layout.operator("bozzetto.row", text="", icon=icon)
    button.step, button.field, button.action, button.index = step, field, action, index


@cache
def classes() -> tuple[type, ...]:
    """All panels, parents first."""
    found: list[type] = [BOZZETTO_PT_to_check, BOZZETTO_PT_job]
    for folder in FOLDERS:
        found.append(_folder_panel(folder))
        found += [_step_panel(step) for step in catalogue() if step.folder == folder]
        found += [BOZZETTO_PT_lens] if folder == "shots" else []
    return tuple(found)
