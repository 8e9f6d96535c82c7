"""Shows the sample sheet's pictures of the piece in each material to choose from, with a button under each."""

from __future__ import annotations

import os
from pathlib import Path

import bpy
from bpy.props import IntProperty

from ...scene.surface.surfaces import file_of, samples
from ..alignment import show_choices
from ..folders import output_folder
from ..job_state import settings_for, state_of
from ..previews import Previews
from ..watched_work import run_changed

previews = Previews()
"""The pictures of the open dialog."""


def pictures_of_samples(scene: bpy.types.Scene) -> list[tuple[int, Path]]:
    """(index in the list of samples, picture) of the sample sheet's pictures."""
    folder = output_folder(scene, state_of(scene).sheet.name) / "samples"
    try:  # one look at the folder, since panels are drawn many times per second
        there = {entry.name for entry in os.scandir(folder) if entry.is_file()}
    except OSError:
        return []
    named = [(place, file_of(place, label)) for place, (label, _, _) in enumerate(samples())] if there else []
    return [(place, folder / name) for place, name in named if name in there]


class BOZZETTO_OT_choose_material(bpy.types.Operator):
    """Show the piece in every material, as on the sample sheet, and choose one"""

    bl_idname = "bozzetto.choose_material"
    bl_label = "Choose by picture"
    bl_options = {"INTERNAL"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Show the pictures."""
        found = pictures_of_samples(context.scene)
        if not found:
            self.report({"INFO"}, "Make the sample sheet first: it renders the piece in every material")
            return {"CANCELLED"}
        previews.close()
        shown = [(place, previews.of_file(path)) for place, path in found]
        show_choices(context, lambda layout: _lay_out(layout, shown))
        return {"FINISHED"}


def _lay_out(layout: bpy.types.UILayout, shown: list[tuple[int, int]]) -> None:
    """Draw four pictures per row, with a button under each."""
    grid = layout.grid_flow(columns=4, even_columns=True, row_major=True)
    for place, icon in shown:
        column = grid.column(align=True)
        column.template_icon(icon_value=icon, scale=5.5)
        column.operator("bozzetto.set_material", text=samples()[place][0]).sample = place


class BOZZETTO_OT_set_material(bpy.types.Operator):
    """Show the piece in this material, with the matching table and light; pictures are not rendered yet"""

    bl_idname = "bozzetto.set_material"
    bl_label = "Use this material"
    bl_options = {"INTERNAL"}  # the run that follows is the one undo step

    sample: IntProperty(description="Its place among the samples", min=0, options={"SKIP_SAVE"})

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write the settings and run what depends on them."""
        if self.sample >= len(samples()):
            return {"CANCELLED"}
        _, kind, choice = samples()[self.sample]
        material = settings_for(context.scene, "surface")
        material.piece = kind
        for name, value in choice.items():
            setattr(material, name, value)
        return run_changed(self, until="dressing")


CLASSES = (BOZZETTO_OT_choose_material, BOZZETTO_OT_set_material)
