"""The output folder of a job, and the list of recent jobs."""

import contextlib
import json
import tempfile
from pathlib import Path

import bpy

from .. import ADDON_ID
from .preferences import preferences

MOST_RECENT = 10


def output_folder(scene: bpy.types.Scene, name: str) -> Path:
    """The folder for a job's files: the job's own, beside the saved .blend, the preferences' folder, or the add-on's own.

    The folder is not created here.
    """
    if scene.bozzetto.output:
        return Path(bpy.path.abspath(scene.bozzetto.output))
    if bpy.data.filepath:
        return Path(bpy.data.filepath).parent / f"{Path(bpy.data.filepath).stem} pictures"
    chosen_folder = getattr(preferences(), "output", "")
    if chosen_folder:
        return Path(bpy.path.abspath(chosen_folder)) / name
    return own_folder() / "jobs" / name


def own_folder() -> Path:
    """The add-on's own folder in the user's profile."""
    try:
        return Path(bpy.utils.extension_path_user(ADDON_ID, create=False))
    except ValueError:  # not installed as an extension, as in a script
        return Path(bpy.app.tempdir or tempfile.gettempdir()) / "bozzetto"


def recent() -> list[Path]:
    """The recently loaded or saved job sheets that still exist, the latest first."""
    with contextlib.suppress(OSError, ValueError):
        kept = json.loads((own_folder() / "recent.json").read_text(encoding="utf-8"))
        return [path for path in map(Path, kept if isinstance(kept, list) else ()) if path.is_file()]
    return []


def remember(path: Path) -> None:
    """Put a job sheet first among the recent ones; errors in writing the user's profile are ignored."""
    paths = [path.resolve(), *(other for other in recent() if other != path.resolve())][:MOST_RECENT]
    with contextlib.suppress(OSError):
        own_folder().mkdir(parents=True, exist_ok=True)
        (own_folder() / "recent.json").write_text(json.dumps([str(path) for path in paths]), encoding="utf-8")
