"""Which job is in this .blend? A "card" in each job's scene identifies the sheet and the scans that it was made from.

The command line continues in a .blend only if it holds the job of the given sheet: another piece must never be built over
somebody's work because two files happen to have the same name.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from pathlib import Path
from typing import Any

import bpy

from ...job.sheet import JobSheet
from ...job.step import current_name
from .. import roles

STATE = "bozzetto_state"
"""Custom property of a scene: the state of its job, as JSON."""

SHEET_TEXT = "bozzetto job.toml"
"""The text in the .blend that holds the job sheet."""

CARD = "sheet"


def card_of(sheet: JobSheet) -> dict[str, object]:
    """What identifies a job: its name, a digest of its sheet's path, and the name and size in bytes of each scan.

    A missing scan has the size -1.
    """
    scans = []
    for row in getattr(sheet.settings.get("intake"), "scans", ()):
        path = sheet.path(row.file)
        try:
            size = path.stat().st_size
        except OSError:
            size = -1
        scans.append([path.name, size])
    place = hashlib.sha256(str(sheet.folder / sheet.name).encode()).hexdigest()[:16]
    return {"name": sheet.name, "place": place, "scans": scans}


def sheet_text(job: str) -> bpy.types.Text | None:
    """The text that holds a job's sheet, whatever its name. A text of 0.1.0, which names no job, counts for every job."""
    texts = [text for text in bpy.data.texts if text.library is None]
    own = next((text for text in texts if text.get(roles.JOB) == job), None)
    return own or next((text for text in texts if text.name == SHEET_TEXT and not text.get(roles.JOB)), None)


def read_state(scene: bpy.types.Scene) -> dict[str, object]:
    """The state of the job in a scene; empty where there is none or it can't be read."""
    try:
        state = json.loads(scene.get(STATE, "{}"))
    except (TypeError, ValueError):
        return {}
    if not isinstance(state, dict):
        return {}
    for table in ("stamps", "results"):
        if isinstance(state.get(table), dict):
            state[table] = {current_name(step): kept for step, kept in state[table].items()}
    return state


def kept_card(scene: bpy.types.Scene) -> dict[str, object]:
    """The card of the job in a scene; for a job of 0.1.0, which stored none, made from the text of its sheet."""
    card = read_state(scene).get(CARD)
    if isinstance(card, dict):
        return card
    text = sheet_text(str(scene.get(roles.JOB, "")))
    tables: dict[str, object] = {}
    try:
        tables = tomllib.loads(text.as_string()) if text is not None else {}
    except tomllib.TOMLDecodeError:
        tables = {}  # the user is editing it
    rows = tables.get("intake", {}).get("scans", [])
    scans = [[Path(str(row.get("file", ""))).name, -1] for row in rows if isinstance(row, dict)]
    return {"name": str(tables.get("name", "")), "place": "", "scans": scans}


def same_job(kept: dict[str, object], asked: dict[str, object]) -> bool:
    """Whether two cards identify one job: the same sheet, or the same scans."""
    if kept.get("place") and kept["place"] == asked["place"]:
        return True
    return bool(asked["scans"]) and _same_scans(kept.get("scans", []), asked["scans"])


def _same_scans(kept: list[Any], asked: list[Any]) -> bool:
    """Whether the first scans, which show the piece, have the same name and, where both are known, the same file size."""
    if not kept or not asked:
        return False
    (name, size), (other, other_size) = kept[0], asked[0]
    return name == other and (size == other_size or -1 in (size, other_size))


def scenes_with_jobs() -> list[bpy.types.Scene]:
    """The scenes of this file (not linked ones) that hold a job; the active scene first."""
    found = [scene for scene in bpy.data.scenes if scene.library is None and scene.get(STATE)]
    return sorted(found, key=lambda scene: scene != bpy.context.scene)


def scene_of(sheet: JobSheet) -> bpy.types.Scene | None:
    """The scene of the open file that holds this sheet's job, None when none does."""
    asked = card_of(sheet)
    return next((scene for scene in scenes_with_jobs() if same_job(kept_card(scene), asked)), None)
