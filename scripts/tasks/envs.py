"""Python environments for the tasks, one per Blender version, in the user's cache and stamped with what was installed.

An environment is built beside its place and renamed when whole. Each requirement set in it carries a stamp, the digest of
its pins; a set without its stamp is installed (again), a base without its stamp is made again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Optional

from . import TaskError, debian, pythons

VERSIONS = {"5.2.3": "3.13", "5.0.1": "3.11", "4.5.15": "3.11"}
"""Supported Blender releases, the Python that each wheel is made for."""
DEFAULTS = ("5.2.3", "4.5.15")
REQUIREMENTS = Path(__file__).parent / "requirements"
STAMP = "bozzetto-env.json"
OPTIONAL = ("unpack", "farm")
"""Requirement sets that the work goes on without, where they can't be had; what then lacks is said."""


class EnvironmentMissing(TaskError):
    """An environment can't be made here: no Python for it, or its packages can't be had."""


def cache_folder() -> Path:
    """Bozzetto's folder in the user's cache."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "bozzetto"


def folder_of_environments() -> Path:
    """Where environments lie: $BOZZETTO_ENVS, or `envs` in the cache."""
    own = os.environ.get("BOZZETTO_ENVS")
    return Path(own) if own else cache_folder() / "envs"


def default_version() -> str:
    """The first of the default releases that an installed Python can run."""
    for version in DEFAULTS:
        if pythons.find(VERSIONS[version]):
            return version
    wanted = " or ".join(VERSIONS[version] for version in DEFAULTS)
    raise EnvironmentMissing(f"Blender's wheels need Python {wanted}: install one, or name it in BOZZETTO_PYTHON")


def blender(version: str, *sets: str) -> Path:
    """The Python of the environment with that Blender and the requirement sets; made when missing."""
    if version not in VERSIONS:
        raise TaskError(f"Blender {version} is not supported; supported are {', '.join(VERSIONS)}")
    if "oracle" in sets:
        debian.add_peers_libraries()
    return _ensure(f"bpy-{version}", VERSIONS[version], ("run", *sets), bpy=version)


def plain(name: str, *sets: str, wanted: Sequence[str] = ("3.11", "3.13", "3.12")) -> Path:
    """The Python of an environment without Blender ('lint', 'core'), on the first installed of the `wanted` versions."""
    for version in wanted:
        if pythons.find(version):
            return _ensure(f"{name}-{version}", version, sets)
    raise EnvironmentMissing(f"Python {' or '.join(wanted)} is needed: install one, or name it in BOZZETTO_PYTHON")


def python_in(folder: Path) -> Path:
    """The Python inside an environment's folder."""
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


# --- making one ---------------------------------------------------------------------------------------------------------


def _ensure(name: str, version: str, sets: Sequence[str], bpy: str = "") -> Path:
    folder = folder_of_environments() / name
    base, *more = sets
    wanted = {key: digest(key, bpy) for key in sets}
    if not _lacking(folder, wanted):
        return python_in(folder)
    with _locked(folder.parent, name):
        stamps = _stamps(folder)
        if stamps.get(base) != wanted[base] or not _runs(folder):
            _make(folder, version, base, bpy)
        for key in more:
            if _stamps(folder).get(key) != wanted[key]:
                print(f"Adding the {key} packages to {name} ...", flush=True)
                _restamp(folder, key, "")
                try:
                    _pip(python_in(folder), key)
                except EnvironmentMissing as error:
                    if key not in OPTIONAL:
                        raise
                    print(f"Going on without the {key} packages: {error}", flush=True)
                else:
                    _restamp(folder, key, wanted[key])
    return python_in(folder)


def digest(key: str, bpy: str = "") -> str:
    """The stamp of a requirement set: a digest of its pins, and of the Blender version for the base."""
    text = (REQUIREMENTS / f"{key}.txt").read_text(encoding="utf-8") + (bpy if key == "run" else "")
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _make(folder: Path, version: str, base: str, bpy: str) -> None:
    """Build beside, try it, rename."""
    python = pythons.find(version)
    if python is None:
        raise EnvironmentMissing(f"Python {version} is not installed here (or does not run)")
    print(f"Making the environment {folder.name} on Python {version}{' (about 1 GB)' if bpy else ''} ...", flush=True)
    start = time.monotonic()
    making = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        _venv(python, making)
        _pip(python_in(making), base, [f"bpy=={bpy}"] if bpy else [])
        if bpy:
            try_bpy(python_in(making), bpy)
        _restamp(making, base, digest(base, bpy))
        making.chmod(0o755)
        if folder.exists():
            old = Path(tempfile.mkdtemp(prefix=".old-", dir=folder.parent))
            folder.rename(old / folder.name)
            making.rename(folder)
            shutil.rmtree(old, ignore_errors=True)
        else:
            making.rename(folder)
    finally:
        shutil.rmtree(making, ignore_errors=True)
    print(f"Made it in {time.monotonic() - start:.0f} s", flush=True)


def _venv(python: Path, folder: Path) -> None:
    command = [str(python), "-m", "venv", "--clear", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode and "ensurepip" in done.stdout + done.stderr:
        debian.install([f"python{pythons.version(str(python))}-venv"], why="Python's venv module")
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise EnvironmentMissing(f"{python} can't make an environment: {_last(done.stderr or done.stdout)}")


def _pip(python: Path, key: str, more: Sequence[str] = ()) -> None:
    """Install a requirement set, with a sign of life every ten seconds."""
    command = [
        str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input", "--only-binary", ":all:",
        "-r", str(REQUIREMENTS / f"{key}.txt"), *more,
    ]  # fmt: skip
    with tempfile.TemporaryFile("w+") as log:
        work = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT)
        start, shown = time.monotonic(), 10.0
        try:
            while work.poll() is None:
                time.sleep(0.2)
                if time.monotonic() - start > shown:
                    print(f"  installing, {shown:.0f} s", flush=True)
                    shown += 10.0
        finally:
            if work.poll() is None:
                work.kill()
        log.seek(0)
        words = log.read()
    if work.returncode:
        raise EnvironmentMissing(f"The {key} packages can't be had for this Python: {_last(words)}")


def try_bpy(python: Path, version: str) -> None:
    """Import bpy; where a system library lacks, install it (Debian, root) or say which packages to install."""
    code = "import bpy, numpy; print(bpy.app.version_string)"
    for attempt in (1, 2):
        done = subprocess.run([str(python), "-c", code], capture_output=True, text=True, check=False)
        if done.returncode == 0 and version in done.stdout:
            return
        words = done.stderr + done.stdout
        if attempt == 1 and "cannot open shared object file" in words:
            debian.install(debian.BLENDER_LIBRARIES, why=f"a system library of Blender ({_last(words)})")
            continue
        raise EnvironmentMissing(f"Blender {version} does not start here: {_last(words)}")


def _last(words: str) -> str:
    lines = [line.strip() for line in words.splitlines() if line.strip() and not line.startswith("WARNING")]
    errors = [line for line in lines if "rror" in line]
    return (errors or lines or ["no reason given"])[-1]


# --- stamps and locks ---------------------------------------------------------------------------------------------------


def _stamps(folder: Path) -> dict[str, str]:
    try:
        return dict(json.loads((folder / STAMP).read_text(encoding="utf-8")))
    except (OSError, ValueError):
        return {}


def _restamp(folder: Path, key: str, stamp: str) -> None:
    stamps = {**_stamps(folder), key: stamp}
    beside = folder / f"{STAMP}.part"
    beside.write_text(json.dumps({k: v for k, v in stamps.items() if v}, indent=1) + "\n", encoding="utf-8")
    beside.replace(folder / STAMP)


def _lacking(folder: Path, wanted: dict[str, str]) -> bool:
    stamps = _stamps(folder)
    return any(stamps.get(key) != stamp for key, stamp in wanted.items()) or not _runs(folder)


def _runs(folder: Path) -> bool:
    return bool(pythons.version(str(python_in(folder))))


@contextlib.contextmanager
def _locked(folder: Path, name: str) -> Iterator[None]:
    """Two launchers at once must not build the same environment; the second waits."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / f".{name}.lock").open("w") as file:
        with contextlib.suppress(ImportError):
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def report(version: Optional[str] = None) -> None:
    """Print which Pythons and environments stand, and make the one that is asked for (the default when none is)."""
    for name, wanted in VERSIONS.items():
        python = pythons.find(wanted)
        print(f"Blender {name:7} Python {wanted}: {python or 'not installed, or does not run'}")
    print(f"Environment: {blender(version or default_version())}", flush=True)


if __name__ == "__main__":
    report(sys.argv[1] if len(sys.argv) > 1 else None)
