#!/usr/bin/env python3
"""One command for everything: python3 build.py demo | run | new | photos | test | bench | ...

    demo [--out DIR]              our own scan, from the file to finished pictures, in out/demo
    run JOB.toml --out DIR        the same for a job sheet of yours (--set step.field=value, --until STEP, --from STEP)
    series LOOK.toml FOLDER       a folder of scans with one sheet as the look, and one page for them all
    new SCAN [--height MM]        write a commented job sheet for a scan
    photos FOLDER [--most N]      look over the photos for a scan: which to keep, to take again, to leave out
    steps [--settings]            list the steps and their settings
    test [PATH ...] [--all]       lint, the full suite, the host tests on each Blender that an installed Python can run
    lint [--fix]                  ruff, types, the import law
    package                       the extension's zip in dist/, validated by Blender's own tool
    bench [NAME ...]              measure; a table, and out/bench/NAME.json
    gallery [NAME ...]            make the pictures of the README, in out/gallery; `gallery sheets` its contact sheets
    screens                       photograph the panels in a real Blender window
    env [X.Y.Z]                   make the environment alone and say where it is

Environments are made by themselves, once, in the user's cache. Python 3.9 or newer runs this file.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

if sys.version_info < (3, 9):
    sys.exit("build.py needs Python 3.9 or newer")

ROOT = Path(__file__).resolve().parent
sys.path.insert(0, str(ROOT))

from scripts.tasks import TaskError, envs, linting, packaging, testing  # noqa: E402  the folder must be known first


def job(command: str, arguments: Sequence[str]) -> int:
    """A command of the package's own command line, in the default environment."""
    farm = ["farm"] if any(word.split("=")[0] in ("--workers", "--cluster") for word in arguments) else []
    python = envs.blender(envs.default_version(), "unpack", *farm)
    return _call([str(python), "-m", "blender_addon.cli", command, *arguments])


def demo(arguments: Sequence[str]) -> int:
    """Run the demo sheet and say where the pictures are."""
    sheets = sorted((ROOT / "assets_demo").glob("*.toml"))
    if not sheets:
        raise TaskError("assets_demo holds no job sheet")
    more = list(arguments)
    if not any(word == "--out" or word.startswith("--out=") for word in more):
        more += ["--out", str(ROOT / "out" / "demo")]
    return job("run", [str(sheets[0]), *more])


def package(arguments: Sequence[str]) -> int:
    """Build the zip; with a folder named, there."""
    path = packaging.package(Path(arguments[0]).resolve() if arguments else ROOT / "dist")
    print(f"{path}\n{path}.sha256")
    return 0


def bench(arguments: Sequence[str]) -> int:
    """Run benches in the default environment, with the peers they measure against; a bench whose peer is missing fails."""
    sets = ["host", "test", "unpack", "farm"]
    named = [word for word in arguments if word.isidentifier()]
    try:
        heavy = not named or "--oracle" in arguments or not HEAVY_PEERS.isdisjoint(named)
        python = envs.blender(envs.default_version(), *sets, *(["oracle"] if heavy else []))
    except TaskError as error:
        print(f"build.py: {error}\nbuild.py: the bench runs without these peers, and fails at its end", file=sys.stderr)
        python = envs.blender(envs.default_version(), *sets)
    return _call([str(python), "-m", "scripts.bench", *arguments], folder=ROOT)


def gallery(arguments: Sequence[str]) -> int:
    """Make the gallery's pictures in the default environment, with what writes a JPEG."""
    python = envs.blender(envs.default_version(), "host")
    sheets = list(arguments[:1]) == ["sheets"]
    module, rest = ("scripts.gallery_sheets", arguments[1:]) if sheets else ("scripts.gallery", arguments)
    return _call([str(python), "-m", module, *rest], folder=ROOT)


def screens(arguments: Sequence[str]) -> int:
    """Photograph the panels of the built zip in a real window."""
    from scripts.screens import shots

    return shots.main(arguments, packaging.package())


def environment(arguments: Sequence[str]) -> int:
    """Make the environment of a release (the default when none is named)."""
    envs.report(*arguments[:1])
    return 0


def _call(command: Sequence[str], folder: Path | None = None) -> int:
    """Run a program with the project importable; the folder stays the user's unless one is given."""
    variables = dict(os.environ)
    variables["PYTHONPATH"] = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")]))
    work = subprocess.Popen(command, env=variables, cwd=folder)
    signal.signal(signal.SIGTERM, lambda number, frame: work.terminate())  # the program tidies up and ends, and so do we
    while True:
        try:
            return work.wait()
        except KeyboardInterrupt:
            continue  # the program got the same signal and tidies up


HEAVY_PEERS = {"debris", "registration", "speed"}
"""Benches that measure against programs too heavy for every environment (tasks/requirements/oracle.txt)."""
COMMANDS = {
    "demo": demo,
    "run": lambda arguments: job("run", arguments),
    "series": lambda arguments: job("series", arguments),
    "new": lambda arguments: job("new", arguments),
    "photos": lambda arguments: job("photos", arguments),
    "steps": lambda arguments: job("steps", arguments),
    "test": testing.main,
    "lint": linting.main,
    "package": package,
    "bench": bench,
    "gallery": gallery,
    "screens": screens,
    "env": environment,
}


def main(arguments: Sequence[str]) -> int:
    """Dispatch; 2 for a wrong call."""
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        print(__doc__)
        return 0
    if arguments[0] not in COMMANDS:
        print(f"build.py: there is no {arguments[0]}; there are {', '.join(COMMANDS)}", file=sys.stderr)
        return 2
    try:
        return COMMANDS[arguments[0]](list(arguments[1:]))
    except TaskError as error:
        print(f"build.py: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
