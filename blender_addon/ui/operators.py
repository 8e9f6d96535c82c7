"""The operators that run the job: they read the settings, run a generator and report."""

import contextlib
from collections.abc import Generator, Sequence
from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, StringProperty

from ..job.errors import JobError
from ..job.notes import Notes
from ..job.runner import Report, Update, chosen, stale
from ..job.sheet import JobSheet
from ..job.step import FOLDERS, Step
from ..scene.running.session import Means, run_session
from ..scene.stage import Stage
from ..steps import catalogue
from .folders import output_folder
from .on_screen import sheet_of
from .overlays.picture_in_view import PictureInView
from .pictures import first_look_at, largest_view, picture_of_first_shot, show_first_shot, show_subject
from .watched_work import WatchedWork

Work = Generator[Update, None, tuple[Report, Notes]]
"""A job at work, which returns what was done."""


class BOZZETTO_OT_run_job(WatchedWork, bpy.types.Operator):
    """Go from the scan to finished pictures; nothing you changed or deleted is undone. Esc stops"""

    bl_idname = "bozzetto.run_job"
    bl_label = "Make the pictures"
    bl_options = {"UNDO"}

    first: StringProperty(name="From", description="The step to start at; empty: the first", options={"HIDDEN", "SKIP_SAVE"})
    last: StringProperty(name="Until", description="The step to stop after; empty: the last", options={"HIDDEN", "SKIP_SAVE"})
    changed: BoolProperty(name="Changed", description="Only steps that are out of date", options={"HIDDEN", "SKIP_SAVE"})
    folder: StringProperty(
        name="Until part", description="The part of the work to stop after; empty: the last", options={"HIDDEN", "SKIP_SAVE"}
    )
    afresh: BoolProperty(
        name="Reset to automatic",
        description="Replace also what you changed or deleted by hand",
        default=False,
        options={"HIDDEN", "SKIP_SAVE"},
    )

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        """Say which part of the job the button runs."""
        if properties.changed:
            return "Run the steps whose settings, or whose earlier steps, have changed since they ran; the others stay"
        if properties.first and properties.first == properties.last:
            if properties.afresh:
                return "Run the step from scratch, replacing also what you changed or deleted by hand"
            return "Run this step alone; what you changed by hand stays as it is"
        if properties.first:
            return "Run from this step to the end"
        if properties.last:
            return "Run from the start until this step"
        return str(cls.__doc__)

    def _begin(self, context: bpy.types.Context) -> Work | None:
        steps, scene = catalogue(), context.scene
        self._at, self._bare = "", False
        self._picture: PictureInView | None = None
        self._shown_in_view: Path | None = None
        scene.bozzetto.failed_step = scene.bozzetto.failed_words = ""
        try:
            sheet = sheet_of(scene, steps)
            part = self._part(scene, steps, sheet)
            if not part:
                self.report({"INFO"}, "Everything is up to date")
                return None
            look = first_look_at(scene) if self._watched and self._is_first(scene, sheet) else None
            out = output_folder(scene, sheet.name)
            self._bare = not any(Stage(scene, sheet).has(role) for role in ("scan", "shot"))
            run = run_session(part, steps, sheet, scene, out=out, afresh=self.afresh, means=Means(first_look=look))
            return self._made_ready(part, run) if self._watched else run
        except JobError as error:
            self._failed(context, error)
            return None

    def _made_ready(self, part: Sequence[Step], run: Work) -> Work:
        """The run, after reading the steps' work one by one: all at once the window could not answer for half a second."""
        for place, step in enumerate(part, 1):
            yield Update(step, place, len(part), 0.0, "Getting ready")
            step.work()
        self._at = ""
        return (yield from run)

    def _part(self, scene: bpy.types.Scene, steps: Sequence[Step], sheet: JobSheet) -> tuple[Step, ...]:
        """The steps to run, in order."""
        if not self.changed:
            return chosen(steps, first=self.first or None, last=self.last or None)
        late = stale(steps, sheet, Stage(scene, sheet))
        last = FOLDERS.index(self.folder) if self.folder in FOLDERS else len(FOLDERS)
        return tuple(step for step in steps if step.name in late and FOLDERS.index(step.folder) <= last)

    def _is_first(self, scene: bpy.types.Scene, sheet: JobSheet) -> bool:
        """Whether it is the one click, on a scene in which nothing can be seen yet."""
        return not (self.first or self.last or self.changed or self.afresh) and not Stage(scene, sheet).has("surface")

    def _words(self, update: Update) -> str:
        return f"{update.step.label} ({update.number} of {update.count}): {update.words}"

    def _seen(self, context: bpy.types.Context, update: Update) -> None:
        """Keep the step for a failure's words; after the one click show the first shot once there is one, then its pictures."""
        self._at = update.step.name
        if self._timer is None or self.first or self.changed:
            return  # the user runs a part again while working in the view, so it is not changed
        if update.ended and self._picture is None and "shot" in update.step.makes:
            show_first_shot(context.window, lit=False)
            area = largest_view(context.window)
            self._picture = None if area is None else PictureInView(area)
        self._show_picture(context)

    def _show_picture(self, context: bpy.types.Context) -> None:
        """Show in the view the best picture of the first shot that is there."""
        newest = None if self._picture is None else picture_of_first_shot(context.scene)
        if newest is None or newest.picture == self._shown_in_view:
            return
        self._shown_in_view = newest.picture
        with contextlib.suppress(ValueError, RuntimeError):  # it may be gone by now
            self._picture.show(newest.picture, newest.title)

    def _end(self, context: bpy.types.Context, state: set[str]) -> set[str]:
        """Leave the view as the scene is: through the first shot, lit where its light is there."""
        if self._picture is not None:
            self._picture.close()
            self._picture = None
            light = Stage(context.scene, sheet_of(context.scene, catalogue())).has("light")
            show_first_shot(context.window, lit=light)
        elif self._bare:  # the first steps were run alone
            show_subject(context.window)
        return super()._end(context, state)

    def cancel(self, context: bpy.types.Context) -> None:
        """Another file is opened while the work goes on."""
        if self._picture is not None:
            self._picture.close()
        super().cancel(context)

    def _finish(self, context: bpy.types.Context, value: Any) -> None:
        _, notes = value
        labels = {step.name: step.label for step in catalogue()}
        for note in notes:
            level = "WARNING" if note.level == "warning" else "INFO"
            self.report({level}, f"{labels.get(note.step, note.step)}: {note.words}")

    def _failed(self, context: bpy.types.Context, error: JobError) -> None:
        """Store the error for the tab, and report it."""
        job = context.scene.bozzetto
        job.failed_step, job.failed_words = getattr(self, "_at", ""), str(error)
        self.report({"ERROR"}, str(error))

    def _stopped(self, context: bpy.types.Context) -> None:
        self.report({"INFO"}, "Stopped: the step in progress was undone, and finished steps are kept")


CLASSES = (BOZZETTO_OT_run_job,)

_command: list[object] = []


def register_command() -> None:
    """Register `blender --command bozzetto`."""

    def command(argv: list[str]) -> int:
        from ..cli import main

        return main(argv)

    _command.append(bpy.utils.register_cli_command("bozzetto", command))


def unregister_command() -> None:
    """Unregister the command."""
    while _command:
        bpy.utils.unregister_cli_command(_command.pop())
