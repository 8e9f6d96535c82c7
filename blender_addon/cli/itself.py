"""How is this program started once more, in a process of its own?"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import bpy


def own_command() -> list[str]:
    """How this program is started once more: Blender with the add-on, or the Python beside a `bpy` wheel."""
    if bpy.app.binary_path:
        return [bpy.app.binary_path, "--command", "bozzetto"]
    return [sys.executable, "-m", __package__]


def own_environment() -> dict[str, str]:
    """The variables under which it is found again, without a buffer that would hold back what it says."""
    home = Path(__file__).resolve().parents[len(__package__.split("."))]
    paths = [str(home), os.environ.get("PYTHONPATH", "")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths)), "PYTHONUNBUFFERED": "1"}
