"""Stores looks: the settings as a job sheet with a small picture beside it, to apply, compare, or drop on another file."""

from __future__ import annotations

import tempfile
from collections.abc import Generator
from pathlib import Path

import bpy
from bpy.props import StringProperty

from ...job.errors import JobError
from ...job.sheet import JobSheet, read, written
from ...job.step import Progress, Step, maker
from ...scene.delivery.copies.marked import marked
from ...scene.delivery.trial import try_shot
from ...scene.reference.files import REFERENCE
from ...scene.running.session import write_text
from ...scene.stage import Stage
from ...steps import catalogue
from ..folders import output_folder
from ..job_state import stage_of, state_of
from ..previews import Previews
from ..properties import fill
from ..watched_work import WatchedWork, run_changed
from .relief import SIDE, device_of, shot_to_try

previews = Previews()
"""The pictures of the stored looks."""
SHOT = "# Its picture shows the shot "
"""How the sheet of a stored look begins, before the key of the shot that is in its picture."""


def of_a_look(step: Step) -> bool:
    """Whether a step's settings belong to a look: all but those of the scan and of photos of the piece."""
    return step.folder != "scan" and not {"closeup_colour", REFERENCE} & set(step.makes)


def take_look(scene: bpy.types.Scene, look: JobSheet) -> None:
    """Write a sheet's look onto the screen; the scan, its size and its stand stay as they are."""
    fill(scene, look, [step for step in catalogue() if of_a_look(step)])


def looks_of(scene: bpy.types.Scene) -> list[tuple[Path, Path]]:
    """(job sheet, picture) of the looks stored beside the job's pictures."""
    folder = output_folder(scene, state_of(scene).sheet.name) / "looks"
    found = [(sheet, sheet.with_suffix(".png")) for sheet in sorted(folder.glob("*.toml"))]
    return [(sheet, picture) for sheet, picture in found if picture.is_file()]


def shot_of(sheet: Path) -> str:
    """The key of the shot that is in a stored look's picture; '' where the sheet does not say."""
    first = sheet.read_text(encoding="utf-8").partition("\n")[0]
    return first.removeprefix(SHOT).strip() if first.startswith(SHOT) else ""


def _trial(stage: Stage, key: str, path: Path) -> None:
    try_shot(stage, stage.require("shot", key), path, side=SIDE, device=device_of(stage))


class _Trial(WatchedWork):
    """Common base for storing and comparing: renders a preview of the present shot."""

    def _words(self, update: Progress) -> str:
        return update.words

    def _key(self, context: bpy.types.Context, stage: Stage) -> str:
        shot = shot_to_try(context, stage)
        if shot is None:
            self.report({"INFO"}, "Run the job until Lighting first: there is no look to try yet")
            return ""
        return str(shot["bozzetto_key"])


class BOZZETTO_OT_keep_look(_Trial, bpy.types.Operator):
    """Keep the look as it is now: its settings as a job sheet and a small picture, in the folder "looks" beside the pictures"""

    bl_idname = "bozzetto.keep_look"
    bl_label = "Keep this look"
    bl_options = {"INTERNAL"}

    def _begin(self, context: bpy.types.Context) -> Generator[Progress, None, Path] | None:
        stage = stage_of(context)
        key = self._key(context, stage)
        if not key:
            return None
        folder = output_folder(context.scene, stage.sheet.name) / "looks"
        number = next(place for place in range(1, 10_000) if not (folder / f"look {place}.toml").exists())
        return self._kept(stage, key, folder / f"look {number}.toml")

    def _kept(self, stage: Stage, key: str, path: Path) -> Generator[Progress, None, Path]:
        words = written(stage.sheet, catalogue())
        for fraction in (0.1, 0.2):  # the words are on screen before the render begins
            yield Progress(fraction, "Rendering a small picture of the look", blocking=True)
        with marked(path.with_suffix(".png"), stage.sheet[maker("pictures", catalogue()).name].mark) as place:
            _trial(stage, key, place)
        write_text(path, f"{SHOT}{key}\n{words}")
        return path

    def _finish(self, context: bpy.types.Context, value: Path) -> None:
        self.report({"INFO"}, f"Kept as {value.stem}")


class BOZZETTO_OT_take_look(bpy.types.Operator):
    """Apply this look: its material, shots, table, light and delivery; scan and size stay. Pictures are not rendered yet"""

    bl_idname = "bozzetto.take_look"
    bl_label = "Apply this look"
    bl_options = {"INTERNAL"}  # the run that follows is the one undo step

    filepath: StringProperty(description="The look's job sheet", subtype="FILE_PATH", options={"SKIP_SAVE"})

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Read the look and run the steps that depend on it."""
        try:
            take_look(context.scene, read(Path(self.filepath), catalogue()))
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        return run_changed(self, until="dressing")


class BOZZETTO_OT_compare_look(_Trial, bpy.types.Operator):
    """Compare this look with the present one, under a dividing line that follows the mouse or side by side. Esc stops"""

    bl_idname = "bozzetto.compare_look"
    bl_label = "Compare with now"
    bl_options = {"INTERNAL"}

    filepath: StringProperty(description="The look's job sheet", subtype="FILE_PATH", options={"SKIP_SAVE"})

    def _begin(self, context: bpy.types.Context) -> Generator[Progress, None, Path] | None:
        stage = stage_of(context)
        key, sheet = self._key(context, stage), Path(self.filepath)
        if not sheet.is_file():
            self.report({"INFO"}, f'The look "{sheet.stem}" is no longer there')
        if not key or not sheet.is_file():
            return None
        shown = shot_of(sheet)  # another shot is no comparison; one that is gone can't be had
        return self._tried(stage, shown if shown in stage.find_all("shot") else key)

    def _tried(self, stage: Stage, key: str) -> Generator[Progress, None, Path]:
        path = Path(tempfile.mkdtemp(prefix="look-", dir=bpy.app.tempdir or None)) / "now.png"
        for fraction in (0.1, 0.2):
            yield Progress(fraction, "Rendering the shot as it is now", blocking=True)
        _trial(stage, key, path)
        return path

    def _finish(self, context: bpy.types.Context, value: Path) -> None:
        self._now = value

    def _after(self, context: bpy.types.Context) -> None:
        sheet = Path(self.filepath)
        bpy.ops.bozzetto.wipe(
            "INVOKE_DEFAULT", left=str(sheet.with_suffix(".png")), right=str(self._now), left_words=sheet.stem.capitalize(),
            right_words="As it is now",
        )  # fmt: skip


CLASSES = (BOZZETTO_OT_keep_look, BOZZETTO_OT_take_look, BOZZETTO_OT_compare_look)
