"""`bozzetto photos FOLDER`: evaluates the photos for a scan and prints which to keep, to take again, to leave out."""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

from ..core.generators import finish, passed_on
from ..job.errors import OutputError
from ..job.step import Progress
from ..scene.photos.look_over import look_over


def add_photos(commands: Any) -> None:
    """Add the command to the parser's commands."""
    photos: argparse.ArgumentParser = commands.add_parser(
        "photos", help="look over the photos for a scan: which to keep, to take again, to leave out"
    )
    photos.add_argument("folder", type=Path, metavar="FOLDER", help="the folder with the photos, which is not changed")
    photos.add_argument("--most", type=int, default=0, metavar="N", help="how many photos may be kept (default: any number)")
    photos.add_argument(
        "--out", type=Path, metavar="DIR", help="where page and list go (default: FOLDER_looked_over beside it)"
    )
    photos.add_argument("--quiet", action="store_true", help="no progress")
    photos.set_defaults(command=_photos)


def _photos(options: argparse.Namespace) -> int:
    if options.most < 0:
        raise OutputError(f"--most {options.most} keeps no photo: give a number above 0, or leave it out")
    printed = 0.0

    def show(progress: Progress) -> None:
        nonlocal printed
        options.stopping.check()
        if not options.quiet and time.perf_counter() - printed > 2.0:
            printed = time.perf_counter()
            print(f"{progress.fraction:4.0%}  {progress.words}", flush=True)

    options.stopping.check()
    found = finish(passed_on(look_over(options.folder, options.out, limit=options.most), show))
    print(found.words.read_text(encoding="utf-8"), end="")
    print(f"\nPage: {found.page}\nList: {found.words}")
    return 0
