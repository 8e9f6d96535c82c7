"""Finds the Python interpreters that really run here; a name on the PATH may be a shim that only prints an error."""

from __future__ import annotations

import functools
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Optional


def find(wanted: str) -> Optional[Path]:
    """The first Python of version `wanted` ('3.13') that runs and says so, or None."""
    for candidate in _candidates(wanted):
        if version(str(candidate)) == wanted:
            return candidate
    return None


@functools.lru_cache(maxsize=None)
def version(python: str) -> str:
    """'3.13' when that program runs and prints it, else ''."""
    code = "import sys; print('%d.%d' % sys.version_info[:2] if sys.implementation.name == 'cpython' else '')"
    try:
        done = subprocess.run([python, "-I", "-c", code], capture_output=True, text=True, timeout=60, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout.strip() if done.returncode == 0 else ""


def _candidates(wanted: str) -> Iterator[Path]:
    """Where a Python may lie: $BOZZETTO_PYTHON, this one, the PATH, pyenv's versions folder, uv's pythons."""
    for own in os.environ.get("BOZZETTO_PYTHON", "").split(os.pathsep):
        if own:
            yield Path(own)
    if "%d.%d" % sys.version_info[:2] == wanted:
        yield Path(getattr(sys, "_base_executable", None) or sys.executable)
    for name in (f"python{wanted}", "python3", "python"):
        found = shutil.which(name)
        if found:
            yield Path(found)
    home = Path.home()
    roots = [Path(os.environ.get("PYENV_ROOT") or home / ".pyenv") / "versions"]
    data = Path(os.environ.get("XDG_DATA_HOME") or home / ".local" / "share")
    roots.append(Path(os.environ.get("UV_PYTHON_INSTALL_DIR") or data / "uv" / "python"))
    for root in roots:
        for folder in sorted(root.glob(f"*{wanted}*"), reverse=True):
            yield folder / "bin" / f"python{wanted}"
            yield folder / "python.exe"
    yield Path("/usr/bin") / f"python{wanted}"  # hidden by a shim of the same name, where there is one
    yield Path("/usr/local/bin") / f"python{wanted}"
