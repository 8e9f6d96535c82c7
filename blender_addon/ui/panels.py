"""The sidebar tab: the main settings and one button on top, then five panels in the order of the work.

Panels are generated from the steps' declarations and know no step by name.
"""

from __future__ import annotations

import os
from functools import cache
from typing import Any

import bpy

from ..job.notes import several
from ..job.settings import FIRST, marked, specs
from ..job.step import FOLDERS, Step
from ..steps import catalogue
from .fields import LETTER, Tab, draw_field, draw_fields, paragraph, room_of
from .job_state import JobState, state_of
from .lens import BOZZETTO_PT_lens
from .looks.panel import BOZZETTO_PT_looks
from .pictures import BOZZETTO_PT_pictures
from .properties import asked_rows
from .to_check import BOZZETTO_PT_to_check
from .tools import draw_tools
from .watched_work import WAITS, running

HEADER = 95.0
"""Pixels of a part's header that neither its label nor its state fills: triangle, handle, margins; as `LETTER`, a guess."""

TITLES = {"scan": "Scan", "surface": "Surface", "shots": "Shots", "dressing": "Dressing", "delivery": "Delivery"}


class BOZZETTO_PT_job(Tab, bpy.types.Panel):
    """The whole job"""

    bl_label = "Bozzetto"
    bl_idname = "BOZZETTO_PT_job"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the main settings, the button, and the reason why it is disabled."""
        layout, job = self.layout, context.scene.bozzetto
        layout.use_property_split = True
        layout.use_property_decorate = False
        for _, asked in asked_rows():
            layout.prop(job, asked.name)
        for step in catalogue():
            group, fields = getattr(job, step.name), specs(step.settings)
            for name in marked(step.settings, FIRST):
                draw_field(layout, group, name, fields[name], step.name)
        layout.prop(job, "output")
        draw_button(layout, context)
        draw_failure(layout, context)
        row = layout.row(align=True)
        row.operator("bozzetto.read_sheet", text="Load job")
        row.menu("BOZZETTO_MT_recent", text="", icon="DOWNARROW_HLT")
        row.separator()
        row.operator("bozzetto.write_sheet", text="Save job")


def draw_button(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw the button, with the reason if it is disabled, and, after the first run, the one that updates the job."""
    if draw_running(layout, context):
        return
    state, reason = state_of(context.scene), why_not(context.scene)
    column = layout.column()
    column.scale_y = 1.6
    column.enabled = not reason
    column.operator("bozzetto.run_job", text="Make the pictures", icon="RENDER_STILL")
    paragraph(layout, reason, context, icon="INFO")
    if state.results:
        row = layout.row(align=True)
        part = row.row(align=True)
        part.enabled = bool(state.late) and not reason
        if state.late:
            words, icon = f"Bring {several(len(state.late), 'step')} up to date", "FILE_REFRESH"
        elif all(step.name in state.results for step in catalogue()):
            words, icon = "Everything is up to date", "CHECKMARK"
        else:  # stopped, or run in part
            words, icon = "Not run to the end yet", "INFO"
        part.operator("bozzetto.run_job", text=words, icon=icon).changed = True
        row.operator("bozzetto.open_folder", text="", icon="FILE_FOLDER")


def draw_running(layout: bpy.types.UILayout, context: bpy.types.Context) -> bool:
    """Draw how far the work is that runs in the window, if any, and say that everything else waits for it."""
    now = running()
    if now is None:
        return False
    fraction, words = now
    layout.progress(factor=fraction, text=f"{fraction:.0%}")
    paragraph(layout, words, context)
    paragraph(layout, WAITS, context, icon="INFO")
    return True


def why_not(scene: bpy.types.Scene) -> str:
    """Why the job can't be run, and what to do; '' when it can."""
    for _, asked in asked_rows():
        written = getattr(scene.bozzetto, asked.name)
        if asked.needed and not written:
            return f"Choose the {asked.label.lower()} first, or drop its file into the view"
        if written and not os.path.isfile(bpy.path.abspath(written)):
            return f'{asked.label}: there is no file "{os.path.basename(written)}" there'
    return ""


def draw_failure(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw the last error in a box, with its remedy."""
    job = context.scene.bozzetto
    if not job.failed_words:
        return
    box = layout.box()
    label = next((step.label for step in catalogue() if step.name == job.failed_step), "")
    paragraph(box, f"{label}: {job.failed_words}" if label else job.failed_words, context, icon="ERROR")


# --- a panel per folder, a section per step -----------------------------------------------------------------------------


def _folder_panel(folder: str) -> type:
    def draw(self: bpy.types.Panel, context: bpy.types.Context) -> None:
        pass

    return type(
        f"BOZZETTO_PT_{folder}", (Tab, bpy.types.Panel),
        {"bl_label": TITLES[folder], "bl_idname": f"BOZZETTO_PT_{folder}", "bl_options": {"DEFAULT_CLOSED"}, "draw": draw},
    )  # fmt: skip


def _step_panel(step: Step) -> type:
    def draw(self: bpy.types.Panel, context: bpy.types.Context) -> None:
        _draw_step(self.layout, context, step)

    def draw_header_preset(self: bpy.types.Panel, context: bpy.types.Context) -> None:
        words = short_line(step, state_of(context.scene), context.scene.bozzetto)
        free = context.region.width / context.preferences.system.ui_scale - HEADER - LETTER * len(step.label)
        room = max(6, int(free / LETTER))
        self.layout.label(text=words if len(words) <= room else f"{words[: room - 1].rstrip(' ,;:')}…")

    return type(
        f"BOZZETTO_PT_{step.name}", (Tab, bpy.types.Panel),
        {
            "bl_label": step.label, "bl_idname": f"BOZZETTO_PT_{step.name}", "bl_parent_id": f"BOZZETTO_PT_{step.folder}",
            "bl_options": {"DEFAULT_CLOSED"}, "draw": draw, "draw_header_preset": draw_header_preset, "__doc__": step.help,
        },
    )  # fmt: skip


def short_line(step: Step, state: JobState, job: Any) -> str:
    """A step's state for its header: failed, out of date, edited, or the beginning of its result."""
    result = state.results.get(step.name)
    if job.failed_step == step.name:
        return "failed"
    if result is None:
        return ""
    if step.name in state.late:
        return "out of date"
    found = str(result["words"]).split(";")[0]
    return f"{found} (edited)" if state.kept(step.name) else found


def _draw_step(layout: bpy.types.UILayout, context: bpy.types.Context, step: Step) -> None:
    group, state = getattr(context.scene.bozzetto, step.name), state_of(context.scene)
    _draw_line(layout, context, step, state)
    layout.use_property_split = True
    layout.use_property_decorate = False
    room = room_of(context)
    draw_fields(layout, group, step, more=False, room=room)
    if any(spec.more for spec in specs(step.settings).values()):
        header, body = layout.panel(f"bozzetto_more_{step.name}", default_closed=True)
        header.label(text="More")
        if body:
            draw_fields(body, group, step, more=True, room=room)
    missing = WAITS if running() else state.missing(step)
    column = layout.column(align=True)
    column.enabled = not missing
    draw_tools(column, context, step)
    row = layout.row(align=True)
    ready = row.row(align=True)
    ready.enabled = not missing
    button = ready.operator("bozzetto.run_job", text="Run again" if step.name in state.results else "Run", icon="PLAY")
    button.first = button.last = step.name
    row.menu(f"BOZZETTO_MT_{step.name}", text="", icon="DOWNARROW_HLT")
    paragraph(layout, missing, context, icon="INFO")


def _draw_line(layout: bpy.types.UILayout, context: bpy.types.Context, step: Step, state: JobState) -> None:
    """Draw a step's result, why it is out of date, which edits it kept, what to check, why it failed."""
    job, result = context.scene.bozzetto, state.results.get(step.name)
    if job.failed_step == step.name:
        paragraph(layout.box(), f"Failed: {job.failed_words}", context, icon="ERROR")
    if result is None:
        return
    paragraph(layout, str(result["words"]), context)
    if step.name in state.late:
        paragraph(layout, f"Out of date: {state.late[step.name]}", context, icon="FILE_REFRESH")
    for words in state.kept(step.name):
        paragraph(layout, words, context, icon="GREASEPENCIL")
    for words in result.get("warnings", ()):
        paragraph(layout, str(words), context, icon="INFO")


def _step_menu(step: Step) -> type:
    def draw(self: bpy.types.Panel, context: bpy.types.Context) -> None:
        layout = self.layout
        ready = layout.column()
        ready.enabled = not (running() or state_of(context.scene).missing(step))
        for words, icon, first, last, afresh in (
            ("Run from here to the end", "TRIA_RIGHT", step.name, "", False),
            ("Reset to automatic", "LOOP_BACK", step.name, step.name, True),
        ):
            button = ready.operator("bozzetto.run_job", text=words, icon=icon)
            button.first, button.last, button.afresh = first, last, afresh
        start = layout.column()
        start.enabled = not (running() or why_not(context.scene))
        start.operator("bozzetto.run_job", text="Run all until here", icon="TRIA_LEFT").last = step.name
        layout.operator("bozzetto.default_settings", icon="FILE_REFRESH").step = step.name

    name = f"BOZZETTO_MT_{step.name}"
    body = {"bl_label": f"More for {step.label}", "bl_idname": name, "draw": draw, "__doc__": step.help}
    return type(name, (bpy.types.Menu,), body)


@cache
def classes() -> tuple[type, ...]:
    """All panels and menus, parents first."""
    found: list[type] = [BOZZETTO_PT_to_check, BOZZETTO_PT_job, BOZZETTO_PT_pictures, BOZZETTO_PT_looks]
    for folder in FOLDERS:
        found.append(_folder_panel(folder))
        found += [_step_panel(step) for step in catalogue() if step.folder == folder]
        found += [BOZZETTO_PT_lens] if folder == "shots" else []
    return (*found, *(_step_menu(step) for step in catalogue()))
