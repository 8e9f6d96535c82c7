"""The .blend of a job on disk: opened only if it holds this job, saved whole, never over somebody else's file."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import bpy

from ...job.errors import OutputError
from ...job.sheet import JobSheet
from ..compat import written_by_other_release
from .job_card import kept_card, scene_of, scenes_with_jobs
from .session import save_blend


class BlendFile:
    """One .blend that a run opens and saves.

    afresh: the job starts from the beginning; an existing file is kept beside the new one under a free name.
    """

    def __init__(self, path: Path, *, afresh: bool = False):
        self.path = path
        self.words: list[str] = []
        """Messages for the user on what was done with the file."""
        self._keep_beside = afresh and path.is_file()
        self._seen = _signature(path)

    def exists(self) -> bool:
        """Whether there is a file to continue in."""
        return self._seen is not None

    def open(self, sheet: JobSheet) -> bpy.types.Scene:
        """Open the file and return the scene of the sheet's job. Raises OutputError where it does not hold that job."""
        self._seen = _signature(self.path)
        try:
            bpy.ops.wm.open_mainfile(filepath=str(self.path), load_ui=False, use_scripts=False)
        except RuntimeError as error:
            raise OutputError(f'"{self.path}" can\'t be opened ({_first_line(error)}): {_WAYS}') from None
        scene = scene_of(sheet)
        if scene is None:
            raise OutputError(f'"{self.path}" {_holds(sheet)}: {_WAYS}')
        if written_by_other_release():  # once saved by this release, it may not open in the user's own release
            self._keep_beside = True
        if bpy.context.window is not None:
            bpy.context.window.scene = scene  # steps evaluate objects in the scene that is shown
        return scene

    def save(self) -> None:
        """Save the open .blend here, whole or not at all; a file that was changed meanwhile is not overwritten."""
        if _signature(self.path) != self._seen:
            other = free_name(self.path)
            save_blend(other, opened=True)
            self._say(
                f'"{self.path.name}" was changed while this run went on, so this run is saved as "{other.name}" beside it'
            )
            self.path = other
        else:
            if self._keep_beside:
                self._say(f'The earlier "{self.path.name}" is kept as "{_kept_beside(self.path).name}"')
                self._keep_beside = False
            save_blend(self.path, opened=True)
        self._seen = _signature(self.path)

    def _say(self, words: str) -> None:
        self.words.append(words)


_WAYS = "move it away, choose another folder with --out, or run with --afresh, which starts over and keeps it beside"


def free_name(path: Path) -> Path:
    """The first unused name beside a file: `owl.v1.blend`, `owl.v2.blend` and so on."""
    number = 1
    while (target := path.with_name(f"{path.stem}.v{number}{path.suffix}")).exists():
        number += 1
    return target


def _kept_beside(path: Path) -> Path:
    """Keep a file under a second name (a hard link, or a copy where the disk has none), so that its own name can be reused."""
    target = free_name(path)
    try:
        try:
            os.link(path, target)
        except OSError:
            shutil.copy2(path, target)
    except OSError as error:
        raise OutputError(
            f'"{path}" can\'t be kept beside the new one ({error.strerror or error}): free some room or move it away'
        ) from None
    return target


def _signature(path: Path) -> tuple[int, int, int] | None:
    """(inode, size in bytes, modification time) of a file, which change when it is rewritten; None where there is no file."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns


def _holds(sheet: JobSheet) -> str:
    scenes = scenes_with_jobs()
    if not scenes:
        return "is not a job of Bozzetto"
    names = ", ".join(f'"{kept_card(scene).get("name") or scene.name}"' for scene in scenes)
    return f'holds the job {names} of another scan and not "{sheet.name}"'


def _first_line(error: Exception) -> str:
    lines = str(error).strip().splitlines()
    return lines[0] if lines else "no reason given"
