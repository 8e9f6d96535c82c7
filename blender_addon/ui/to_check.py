"""The list *To check* at the top of the tab: choices that are not sure, with small pictures; a click answers."""

from functools import partial

import bpy
from bpy.props import IntProperty, StringProperty

from ..job.decisions import Question
from ..job.errors import JobError
from ..job.sheet import answer
from ..scene.running.kept_decisions import icon_pixels, picture_bytes
from ..steps import catalogue
from .fields import LETTER, Tab, paragraph
from .job_state import refreshed, stage_of, state_of
from .on_screen import sheet_of
from .previews import Previews
from .properties import show_settings
from .watched_work import run_changed, running

previews = Previews()
"""The pictures of the open questions."""

SCALE, COLUMN = 5.5, 118.0
"""Size of a picture in units of the interface, and the width of a column of pictures in px."""
ROOM = 34.0
"""Width in px that a button and a column need besides their text."""


class BOZZETTO_PT_to_check(Tab, bpy.types.Panel):
    """Choices that Bozzetto is not sure of"""

    bl_label = "To check"
    bl_idname = "BOZZETTO_PT_to_check"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Available while a question is open. This is the first poll of a redraw, and reads the state for all panels."""
        return bool(refreshed(context.scene).open)

    def draw(self, context: bpy.types.Context) -> None:
        """Draw a box for each question."""
        for question in state_of(context.scene).open:
            draw_question(self.layout.box(), context, question)


def draw_question(layout: bpy.types.UILayout, context: bpy.types.Context, question: Question) -> None:
    """Draw the question, the evidence, and a button with a picture for each alternative; those without one come last."""
    decision, scene = question.decision, context.scene
    paragraph(layout, decision.question, context, icon="QUESTION")
    reasons = "; ".join(decision.evidence)
    paragraph(layout, reasons[:1].upper() + reasons[1:], context)
    width = context.region.width / context.preferences.system.ui_scale if context.region else 300.0
    columns = max(1, min(3, int(width // COLUMN)))
    if running():
        paragraph(layout, "You can answer when the run has ended, or after Esc", context, icon="INFO")
    grid = layout.grid_flow(columns=columns, even_columns=True, row_major=True)
    plain = layout.column(align=True)
    plain.enabled = running() is None
    for number, (way, name) in enumerate(question.ways()):
        icon = icon_of(scene, name) if name else 0
        place = grid.column(align=True) if icon else plain
        if icon:
            place.template_icon(icon_value=icon, scale=SCALE)
        words = way.words[:1].upper() + way.words[1:]
        room = int((width / (columns if icon else 1) - ROOM) / LETTER)
        if len(words) > room:  # too long for a button: over lines above it
            paragraph(place, words, context, room=max(10, room))
            words = "Keep this" if number == 0 else "Use this"
        mark = "CHECKMARK" if number == 0 else "NONE"
        line = place.row()
        line.enabled = running() is None
        button = line.operator("bozzetto.answer", text=words, icon=mark)
        button.step, button.key, button.way = question.step, decision.key, number


def icon_of(scene: bpy.types.Scene, name: str) -> int:
    """The icon number of a stored picture; 0 without one."""
    return previews.of_pixels(f"{scene.session_uid} {name}", picture_bytes(scene, name), partial(icon_pixels, scene, name))


class BOZZETTO_OT_answer(bpy.types.Operator):
    """Choose this alternative"""

    bl_idname = "bozzetto.answer"
    bl_label = "Decide"
    bl_options = {"INTERNAL"}

    step: StringProperty(description="The step that asks", options={"SKIP_SAVE"})
    key: StringProperty(description="What it asks", options={"SKIP_SAVE"})
    way: IntProperty(description="Number of the answer; 0: what was chosen", min=0, options={"SKIP_SAVE"})

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        """The tooltip: what the click means and which setting it writes."""
        question = _found(context.scene, properties.step, properties.key)
        if question is None:
            return str(cls.__doc__)
        way, _ = question.ways()[min(properties.way, len(question.pictures) - 1)]
        lines = ", ".join(way.lines())
        if properties.way == 0:
            return f"Keep what was chosen: {way.words}. {f'Sets {lines}; nothing' if lines else 'Nothing'} is run again"
        return f"Choose this instead: {way.words}. " + (f"Sets {lines}; what depends on it runs again" if lines else "")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write the settings and run what depends on them; without a setting, only store that the choice is right."""
        scene = context.scene
        question = _found(scene, self.step, self.key)
        if question is None or self.way >= len(question.pictures):
            self.report({"INFO"}, "This question is no longer open")
            return {"CANCELLED"}
        way, _ = question.ways()[self.way]
        if not way.sets:
            if self.way:
                self.report({"INFO"}, f"{way.words}: no single setting chooses this; see the step's settings")
                return {"CANCELLED"}
            stage_of(context).accept(question.place, way.words)
            bpy.ops.ed.undo_push(message="Checked")
            return {"FINISHED"}
        late = refreshed(scene).late
        try:
            sheet = sheet_of(scene, catalogue())
            answer(sheet, way.sets)
            show_settings(scene, sheet, way.sets)
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        if self.way == 0:  # what is there was made so
            stage_of(context).confirm(catalogue(), late)
            if not refreshed(scene).late or refreshed(scene).open:
                bpy.ops.ed.undo_push(message="Checked")
                return {"FINISHED"}
        more = bool(refreshed(scene).open)  # the pictures wait for the last answer
        return run_changed(self, until="dressing" if more else "")


def _found(scene: bpy.types.Scene, step: str, key: str) -> Question | None:
    return next((open_ for open_ in refreshed(scene).open if (open_.step, open_.decision.key) == (step, key)), None)


CLASSES = (BOZZETTO_OT_answer,)
