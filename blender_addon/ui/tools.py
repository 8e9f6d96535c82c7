"""The small buttons beside settings: rows of tables, the folder with the pictures."""

from collections.abc import Generator
from typing import Any

import bpy
from bpy.props import EnumProperty, IntProperty, StringProperty

from ..job.step import Step, maker
from ..scene.stage import Stage
from ..steps import catalogue
from .alignment import tools_of
from .folders import output_folder
from .hands import draw_hands
from .job_state import state_of
from .on_screen import sheet_of
from .overlays import draw_switches
from .watched_work import WatchedWork


class BOZZETTO_OT_row(bpy.types.Operator):
    """Add or remove a row of this list"""

    bl_idname = "bozzetto.row"
    bl_label = "Row"
    bl_options = {"INTERNAL", "UNDO"}

    step: StringProperty(description="The step whose list it is")
    field: StringProperty(description="The list")
    action: EnumProperty(
        description="What to do with the row", items=[("ADD", "Add", "Add a row"), ("REMOVE", "Remove", "Remove this row")]
    )
    index: IntProperty(description="Which row")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Change the table."""
        rows = getattr(getattr(context.scene.bozzetto, self.step), self.field)
        if self.action == "ADD":
            rows.add()
        else:
            rows.remove(self.index)
        return {"FINISHED"}


class BOZZETTO_OT_open_folder(bpy.types.Operator):
    """Open the folder with the pictures"""

    bl_idname = "bozzetto.open_folder"
    bl_label = "Open folder"

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Open the folder in the system's file manager."""
        folder = output_folder(context.scene, sheet_of(context.scene, catalogue()).name)
        if not folder.is_dir():
            self.report({"INFO"}, "There are no pictures yet")
            return {"CANCELLED"}
        return set(bpy.ops.wm.path_open(filepath=str(folder)))


class BOZZETTO_OT_sample_sheet(WatchedWork, bpy.types.Operator):
    """Render the piece in every material, in the hero shot's view and light, onto one sheet. Esc stops"""

    bl_idname = "bozzetto.sample_sheet"
    bl_label = "Make the sample sheet"

    def _begin(self, context: bpy.types.Context) -> Generator[object, None, object] | None:
        sheet = sheet_of(context.scene, catalogue())
        self._folder = output_folder(context.scene, sheet.name)
        stage = Stage(context.scene, sheet, out=self._folder)
        if not (stage.find("surface", "piece") and stage.find_all("shot")):
            self.report({"ERROR"}, "There is no piece with its material and shots yet: run the job until Lighting first")
            return None
        step = maker("pictures", catalogue())
        return step.work().sample_sheet(stage, sheet[step.name])

    def _words(self, update: Any) -> str:
        return update.words

    def _finish(self, context: bpy.types.Context, value: object) -> None:
        self.report({"INFO"}, f"The samples are on {self._folder / 'sample_sheet.png'}")


class BOZZETTO_OT_default_settings(bpy.types.Operator):
    """Reset all settings of this step to those of a new job; nothing is run"""

    bl_idname = "bozzetto.default_settings"
    bl_label = "Reset settings to default"
    bl_options = {"INTERNAL", "UNDO"}

    step: StringProperty(description="The step whose settings they are", options={"SKIP_SAVE"})

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Unset each property."""
        group = getattr(context.scene.bozzetto, self.step, None)
        if group is None:
            return {"CANCELLED"}
        for name in [found.identifier for found in group.bl_rna.properties if found.identifier not in ("rna_type", "name")]:
            rows = getattr(group, name) if group.bl_rna.properties[name].type == "COLLECTION" else None
            if rows is None:
                group.property_unset(name)
            else:
                rows.clear()
        return {"FINISHED"}


def draw_tools(layout: bpy.types.UILayout, context: bpy.types.Context, step: Step) -> None:
    """Draw the buttons for decisions by hand in a step's panel, by the roles that the step makes."""
    painting, ran = context.mode == "PAINT_VERTEX", step.name in state_of(context.scene).results
    for role in step.makes:
        if ran:
            draw_switches(layout, context, makes=role)
        row = layout.row(align=True)
        for identifier, words in tools_of(role, context.scene):
            row.operator(identifier, text=words, depress=painting and role == "piece")
        if role == "surface":
            layout.operator("bozzetto.sample_sheet", icon="MATERIAL")
    draw_hands(layout, context, step)


CLASSES = (
    BOZZETTO_OT_row, BOZZETTO_OT_open_folder, BOZZETTO_OT_sample_sheet,
    BOZZETTO_OT_default_settings,
)  # fmt: skip
