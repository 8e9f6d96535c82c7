"""`build.py lint`: ruff, types against Blender's stubs, and the laws of the code."""

from __future__ import annotations

import argparse
import subprocess
from collections.abc import Sequence

from . import ROOT, envs

PARTS = ("ruff", "format", "types", "laws")


def main(arguments: Sequence[str]) -> int:
    """Run all parts, or those named; 0 when all are clean. `--fix` lets ruff mend what it can."""
    parser = argparse.ArgumentParser(prog="build.py lint")
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help=f"some of {', '.join(PARTS)}; all when none is named")
    parser.add_argument("--fix", action="store_true", help="let ruff mend what it can, layout included")
    options = parser.parse_args(arguments)
    python = envs.plain("lint", "lint")
    fix = ["--fix"] if options.fix else []
    commands = {
        "ruff": [str(python), "-m", "ruff", "check", *fix, "."],
        "format": [str(python), "-m", "ruff", "format", *([] if options.fix else ["--check"]), "."],
        "types": [str(python), "-m", "mypy"],
        "laws": [str(python), "-m", "scripts.tasks.laws"],
    }
    failed = []
    for part in options.parts or PARTS:
        print(f"\nlint: {part}", flush=True)
        if subprocess.run(commands[part], cwd=ROOT, check=False).returncode:
            failed.append(part)
    print(f"\nlint: {'clean' if not failed else 'not clean: ' + ', '.join(failed)}", flush=True)
    return 1 if failed else 0
