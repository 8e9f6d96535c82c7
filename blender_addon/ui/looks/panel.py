"""The panel of the looks."""

from __future__ import annotations

import bpy

from ...job.step import maker
from ...scene.reference.files import compared_in
from ...scene.surface.surfaces import samples
from ...steps import catalogue
from ..fields import Tab
from ..folders import output_folder
from ..job_state import state_of
from .kept import looks_of, previews
from .samples import pictures_of_samples

SCALE = 5.5
"""Size of a small picture, in units of the interface."""


class BOZZETTO_PT_looks(Tab, bpy.types.Panel):
    """Compare the relief and reference photos, choose a material by its picture, keep and compare looks"""

    bl_label = "Looks"
    bl_idname = "BOZZETTO_PT_looks"
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Available once the job has light."""
        return maker("light", catalogue()).name in state_of(context.scene).results

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the buttons, then the stored looks with a picture each."""
        layout = self.layout
        column = layout.column(align=True)
        column.operator("bozzetto.relief_wipe", icon="ARROW_LEFTRIGHT")
        there = len(pictures_of_samples(context.scene))
        if there:
            column.operator("bozzetto.choose_material", text="Choose the material by picture", icon="MATERIAL")
        if there < len(samples()):  # none, or the sheet was stopped
            column.operator("bozzetto.sample_sheet", text="Render it in every material", icon="MATERIAL")
        column.operator("bozzetto.keep_look", icon="ADD")
        for name, files in compared_in(context.scene, output_folder(context.scene, state_of(context.scene).sheet.name)):
            button = layout.operator("bozzetto.wipe", text=f"{name.capitalize()}: photo and render", icon="ARROW_LEFTRIGHT")
            button.left, button.right = str(files.photo), str(files.render)
            button.left_words, button.right_words = "The photo", "The render, in its light"
        width = context.region.width / context.preferences.system.ui_scale if context.region else 300.0
        grid = layout.grid_flow(columns=max(1, int(width // 140)), even_columns=True, row_major=True)
        for sheet, picture in looks_of(context.scene):
            column = grid.column(align=True)
            column.template_icon(icon_value=previews.of_file(picture), scale=SCALE)
            row = column.row(align=True)
            row.operator("bozzetto.take_look", text=sheet.stem.capitalize()).filepath = str(sheet)
            row.operator("bozzetto.compare_look", text="", icon="ARROW_LEFTRIGHT").filepath = str(sheet)
