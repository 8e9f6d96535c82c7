"""The buttons that run the job: thin operators that read the settings, drain a generator and report."""

from pathlib import Path

import bpy
from bpy.props import BoolProperty, StringProperty

from .. import ADDON_ID
from ..job.errors import JobError
from ..job.runner import chosen, stale
from ..job.sheet import read, written
from ..job.step import FOLDERS
from ..scene.session import run_session, write_text
from ..scene.stage import Stage
from ..steps import catalogue
from .preferences import preferences
from .properties import fill, sheet_of
from .watched_work import WatchedWork


def output_folder(scene, name):
    """Where a job's files go: the job's folder, beside the saved .blend, the preferences' folder, or the add-on's own."""
    if scene.bozzetto.output:
        return Path(bpy.path.abspath(scene.bozzetto.output))
    if bpy.data.filepath:
        return Path(bpy.data.filepath).parent / f"{Path(bpy.data.filepath).stem} pictures"
    chosen_folder = getattr(preferences(), "output", "")
    if chosen_folder:
        return Path(bpy.path.abspath(chosen_folder)) / name
    try:
        return Path(bpy.utils.extension_path_user(ADDON_ID, path=f"jobs/{name}", create=True))
    except ValueError:  # not installed as an extension, as in a script
        return Path(bpy.app.tempdir) / "bozzetto" / name


class BOZZETTO_OT_run_job(WatchedWork, bpy.types.Operator):
    """Go from the scan to finished pictures; nothing you changed or deleted is undone. Esc stops"""

    bl_idname = "bozzetto.run_job"
    bl_label = "Make the pictures"
    bl_options = {"REGISTER", "UNDO"}

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
    def description(cls, context, properties):
        """Say which part of the job the button runs."""
        if properties.first and properties.first == properties.last:
            again = ", replacing also what you changed by hand" if properties.afresh else ""
            return f"Run this step alone{again}"
        if properties.first:
            return "Run from this step to the end"
        if properties.last:
            return "Run from the start until this step"
        return cls.__doc__

    def _begin(self, context):
        steps = catalogue()
        try:
            sheet = sheet_of(context.scene, steps)
            part = self._part(context.scene, steps, sheet)
            if not part:
                self.report({"INFO"}, "Everything is up to date")
                return None
            out = output_folder(context.scene, sheet.name)
            return run_session(part, steps, sheet, context.scene, out=out, afresh=self.afresh)
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return None

    def _part(self, scene, steps, sheet):
        """The steps to run, in order."""
        if not self.changed:
            return chosen(steps, first=self.first or None, last=self.last or None)
        late = stale(steps, sheet, Stage(scene, sheet))
        last = FOLDERS.index(self.folder) if self.folder in FOLDERS else len(FOLDERS)
        return tuple(step for step in steps if step.name in late and FOLDERS.index(step.folder) <= last)

    def _words(self, update):
        return f"{update.step.label} ({update.number} of {update.count}): {update.words}"

    def _finish(self, context, value):
        report, notes = value
        context.scene.bozzetto.last_result = "\n".join(result.words for result in report.results.values())
        for note in notes:
            self.report({"WARNING" if note.level == "warning" else "INFO"}, str(note))

    def _stopped(self, context):
        self.report({"INFO"}, "Stopped; the step in work was taken back, earlier ones stay")


class BOZZETTO_OT_read_sheet(bpy.types.Operator):
    """Fill in all settings from a job sheet"""

    bl_idname = "bozzetto.read_sheet"
    bl_label = "Read job sheet"
    bl_options = {"REGISTER", "UNDO"}

    filepath: StringProperty(subtype="FILE_PATH")
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})

    def invoke(self, context, event):
        """Ask for the file."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context):
        """Read it and show it."""
        try:
            fill(context.scene, read(Path(self.filepath), catalogue()), catalogue())
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return {"FINISHED"}


class BOZZETTO_OT_write_sheet(bpy.types.Operator):
    """Write all settings as a job sheet, for a batch or for the next piece"""

    bl_idname = "bozzetto.write_sheet"
    bl_label = "Write job sheet"

    filepath: StringProperty(subtype="FILE_PATH", default="job.toml")
    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})

    def invoke(self, context, event):
        """Ask for the place."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context):
        """Write it, whole or not at all."""
        try:
            write_text(Path(self.filepath).with_suffix(".toml"), written(sheet_of(context.scene, catalogue()), catalogue()))
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return {"FINISHED"}


CLASSES = (BOZZETTO_OT_run_job, BOZZETTO_OT_read_sheet, BOZZETTO_OT_write_sheet)

_command: list = []


def register_command():
    """Make `blender --command bozzetto` known."""

    def command(argv):
        from ..cli import main

        return main(argv)

    _command.append(bpy.utils.register_cli_command("bozzetto", command))


def unregister_command():
    """Take it back."""
    while _command:
        bpy.utils.unregister_cli_command(_command.pop())
