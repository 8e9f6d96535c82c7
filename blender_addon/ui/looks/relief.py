"""Compares the relief before and after: previews of the active shot without and with it, under a dividing line."""

from __future__ import annotations

import tempfile
from collections.abc import Generator
from pathlib import Path

import bpy

from ...job.step import Progress, maker
from ...scene.delivery.trial import try_shot
from ...scene.stage import Stage
from ...steps import catalogue
from ..job_state import stage_of
from ..lens import shot_in_work
from ..watched_work import WatchedWork

SIDE = 512
"""Longer side of a preview, px."""
RELIEFS = ("relief_normal", "closeup_normal")
"""Roles of the recovered relief, one of which a piece has whose relief can be compared."""


def shot_to_try(context: bpy.types.Context, stage: Stage) -> bpy.types.Object | None:
    """The viewed shot, or else the first; None without shots, or without a piece with its material."""
    if stage.find("surface", "piece") is None or stage.find("world") is None:
        return None
    shots = stage.find_all("shot")
    viewed = shot_in_work(context)
    return viewed if viewed in shots.values() else shots.get("hero") or next(iter(shots.values()), None)


def device_of(stage: Stage) -> str:
    """The setting for the render device."""
    return str(stage.sheet[maker("pictures", catalogue()).name].device)


class BOZZETTO_OT_relief_wipe(WatchedWork, bpy.types.Operator):
    """Render previews of the viewed shot without and with the recovered relief, and compare them. Esc stops"""

    bl_idname = "bozzetto.relief_wipe"
    bl_label = "Relief before and after"
    bl_options = {"INTERNAL"}

    def _begin(self, context: bpy.types.Context) -> Generator[Progress, None, list[Path]] | None:
        stage = stage_of(context)
        shot = shot_to_try(context, stage)
        if shot is None:
            self.report({"INFO"}, "Run the job until Lighting first: there is no piece in its material and light yet")
            return None
        if not any(stage.has(role) for role in RELIEFS):
            self.report({"INFO"}, "The piece has no recovered relief, so both pictures would be the same: see Surface > Relief")
            return None
        return self._tried(stage, str(shot["bozzetto_key"]))

    def _tried(self, stage: Stage, key: str) -> Generator[Progress, None, list[Path]]:
        folder = Path(tempfile.mkdtemp(prefix="relief-", dir=bpy.app.tempdir or None))
        paths = [folder / name for name in ("without.png", "with.png")]
        for place, (path, relief) in enumerate(zip(paths, (False, True), strict=True)):
            words = f"Rendering the shot {'with' if relief else 'without'} the relief"
            yield Progress(0.05 + 0.45 * place, words, blocking=True)
            yield Progress(0.1 + 0.45 * place, words, blocking=True)  # the words above are on screen before the render begins
            try_shot(stage, stage.require("shot", key), path, side=SIDE, device=device_of(stage), relief=relief)
        return paths

    def _words(self, update: Progress) -> str:
        return update.words

    def _finish(self, context: bpy.types.Context, value: list[Path]) -> None:
        self._pictures = value

    def _after(self, context: bpy.types.Context) -> None:
        left, right = map(str, self._pictures)
        bpy.ops.bozzetto.wipe("INVOKE_DEFAULT", left=left, right=right, left_words="Bare scan", right_words="With its relief")


CLASSES = (BOZZETTO_OT_relief_wipe,)
