"""The tasks of `build.py`: environments, tests, lint, packaging. Standard library only, Python 3.9 or newer."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "blender_addon"


class TaskError(Exception):
    """Something the person at the keyboard can put right; the words say what."""
