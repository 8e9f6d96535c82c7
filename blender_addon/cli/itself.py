"""The command and the environment for starting another process of this program."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import bpy


def own_command() -> list[str]:
    """The command as a list: Blender with the add-on, or the Python beside a `bpy` wheel."""
    if bpy.app.binary_path:
        return [bpy.app.binary_path, "--command", "bozzetto"]
    return [sys.executable, "-m", __package__]


def own_environment() -> dict[str, str]:
    """The environment variables with which that process finds the package and prints without buffering."""
    home = Path(__file__).resolve().parents[len(__package__.split("."))]
    paths = [str(home), os.environ.get("PYTHONPATH", "")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, paths)), "PYTHONUNBUFFERED": "1"}
