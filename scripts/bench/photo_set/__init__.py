"""Does `photos` find what is wrong with a set, and leave alone what is right? Published and rendered photographs, known faults.

`published`: photographs that scikit-image carries, each made a set of twelve through a phone's noise and JPEG: six as they are,
six blurred by known amounts. `turntable`, `walk`: a ring of 24 of the demo's owl, each fault at known places. `time`: a
folder of 300 JPEG files of 12 megapixels. The limits were tried on these cases, so that the figures flatter them.
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.files.pictures.exif import read_exif
from blender_addon.core.photos.photo_set import judged
from blender_addon.core.photos.seen import Photo, seen

from .. import ROOT, Options, Record
from .faults import NONE, Fault, taken

PUBLISHED = ("astronaut.png", "brick.png", "camera.png", "chelsea.png", "coffee.png", "coins.png", "grass.png", "gravel.png",
             "motorcycle_left.png", "rocket.jpg")  # fmt: skip
"""Those of scikit-image's data that a hand camera took of things; left out are drawings, paper, what telescopes and microscopes
see, and the clock, which is blurred by motion already."""
SHARP = (NONE, NONE, NONE, Fault(stops=-0.5), Fault(stops=0.3), Fault(blur=0.3))
BLURRED = (Fault(blur=1.6), Fault(blur=2.0), Fault(blur=3.0), Fault(blur=5.0), Fault(disc=4.0), Fault(disc=7.0))
"""Standard deviations and radii in pixels: from 4.1 pixels between 10 and 90 % on."""
SHAKEN = tuple(Fault(motion=length, degrees=way) for length in (8.0, 14.0) for way in (0.0, 50.0, 90.0))
RING = 24
CACHE = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "bozzetto" / "photo_set"


def run(record: Record, options: Options) -> None:
    """All cases that were asked for."""
    if options.wants("published"):
        published(record)
    for way in ("turntable", "walk"):
        if options.wants(way):
            rendered(record, way)
    if options.wants("time"):
        timed(record, 30 if options.fast else 300)


def published(record: Record) -> None:
    """Blurred and shaken photographs among sharp ones."""
    soft, shaken = Count(), Count()
    for name in PUBLISHED:
        view = _published(name)
        faults = [*SHARP, *BLURRED]
        report = judged([_photo(view, fault, number) for number, fault in enumerate(faults)])
        for photo, fault in zip(report.photos, faults, strict=True):
            soft.add(fault in BLURRED, _said(photo, "soft", "shaken"), f"{name} {short(fault)}")
        faults = [*SHARP, *SHAKEN]
        report = judged([_photo(view, fault, number) for number, fault in enumerate(faults)])
        for photo, fault in zip(report.photos, faults, strict=True):
            shaken.add(fault in SHAKEN, _said(photo, "soft", "shaken"), f"{name} {short(fault)}")
    soft.record(record, "soft", "published", found=95, false=3)
    shaken.record(record, "shaken", "published", found=80, false=3)


PLACES = (3, 8, 13, 18, 21)
"""Numbers of the photos in a ring that get a fault."""
SINGLE = {
    "soft": (("soft", "shaken"), (Fault(blur=2.0), Fault(blur=3.0), Fault(disc=4.0), Fault(disc=7.0), Fault(blur=5.0))),
    "shaken": (("shaken", "soft"), SHAKEN[:5]),
    "blown": (("blown",), (Fault(stops=2.0), Fault(stops=2.5), Fault(stops=3.0), Fault(stops=2.5), Fault(stops=3.0))),
    "exposure": (("exposure",), tuple(Fault(stops=s) for s in (-0.6, 0.6, -1.0, 0.8, -0.7))),
    "white": (("white",), tuple(Fault(red=r, blue=b) for r, b in ((0.3, -0.2), (-0.3, 0.2), (0.4, 0), (0, -0.4), (0.3, -0.3)))),
    "small": (("small",), tuple(Fault(far=f) for f in (3.0, 3.5, 3.0, 4.0, 3.5))),
    "cut": (("cut",), tuple(Fault(crop=c) for c in (0.42, -0.42, 0.46, -0.46, 0.45))),
}  # fmt: skip


def rendered(record: Record, way: str) -> None:
    """Each fault at five places of a ring; what is said elsewhere is false."""
    views = _views(way)
    for kind, (words, faults) in SINGLE.items():
        chosen = dict(zip(PLACES, faults, strict=True))
        report = judged([_photo(view, chosen.get(number, NONE), number) for number, view in enumerate(views)])
        count = Count()
        for number, photo in enumerate(report.photos):
            count.add(number in chosen, _said(photo, *words), f"{way} {number} {short(chosen.get(number, NONE))}")
        limits = {"soft": (95, 3)}.get(kind, (80, 6))
        count.record(record, kind, way, found=limits[0], false=limits[1])
    _gaps(record, way, views)
    _doubles(record, way, views)


def _gaps(record: Record, way: str, views: Sequence[Any]) -> None:
    """Five photos in a row taken out at two places: both gaps must be reported, and no other."""
    left = [number for number in range(RING) if number not in (4, 5, 6, 7, 8, 15, 16, 17, 18, 19)]
    report = judged([_photo(views[number], NONE, number) for number in left])
    count = Count()
    for place, number in enumerate(left):
        count.add(number in (3, 14), _said(report.photos[place], "apart", "alone"), f"{way} after {number}")
    count.record(record, "gap", way, found=100, false=5)


def _doubles(record: Record, way: str, views: Sequence[Any]) -> None:
    """Three photos taken twice, with other noise: one of each two is to be left out."""
    order = sorted([*range(RING), 2, 9, 17])
    report = judged([_photo(views[number], NONE, place) for place, number in enumerate(order)])
    count = Count()
    for place, number in enumerate(order):
        second = order[:place].count(number) > 0
        if second or order.count(number) == 1:
            pair = report.photos[place - 1 : place + 1] if second else report.photos[place : place + 1]
            count.add(second, any(_said(photo, "twice") for photo in pair), f"{way} {number}")
    count.record(record, "twice", way, found=100, false=5)


def timed(record: Record, count: int) -> None:
    """Seconds for a folder of 12-megapixel photos, in a process of its own with two cores; six photos again and again."""
    from PIL import Image

    with tempfile.TemporaryDirectory() as home:
        folder = Path(home) / "photos"
        folder.mkdir()
        for number in range(6):
            view = Image.open(_paths("turntable")[number * 4]).convert("RGB").resize((4032, 3024), Image.Resampling.LANCZOS)
            (folder / f"IMG_{number:04d}.jpg").write_bytes(taken(np.asarray(view), seed=number, number=number))
        for number in range(6, count):
            shutil.copyfile(folder / f"IMG_{number % 6:04d}.jpg", folder / f"IMG_{number:04d}.jpg")
        command = [sys.executable, "-m", "blender_addon.cli", "photos", str(folder), "--quiet"]
        start = time.perf_counter()
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        seconds = time.perf_counter() - start
        if done.returncode:
            record.fail(f"photos ended with {done.returncode}: {done.stderr[-300:]}")
            return
        record.add("seconds_for_300_photos", seconds * 300 / count, case="time", unit="s", goal="<= 180")


class Count:
    """How often a fault was found where it was, and said where it was not."""

    def __init__(self) -> None:
        self.there = self.found = self.fine = self.false = 0
        self.wrong: list[str] = []

    def add(self, faulty: bool, said: bool, words: str) -> None:
        """Count one photo."""
        self.there += faulty
        self.found += faulty and said
        self.fine += not faulty
        self.false += said and not faulty
        if said != faulty:
            self.wrong.append(f"{'not found' if faulty else 'false'}: {words}")

    def record(self, record: Record, name: str, case: str, *, found: int, false: int) -> None:
        """The two figures, and which photos were judged wrong."""
        record.add(f"{name}_found_percent", 100 * self.found / max(self.there, 1), case=case, unit="%", goal=f">= {found}")
        record.add(f"{name}_false_percent", 100 * self.false / max(self.fine, 1), case=case, unit="%", goal=f"<= {false}")
        for words in self.wrong:
            print(f"    {name} {words}")


def short(fault: Fault) -> str:
    """A fault in words: what of it is not as usual."""
    return ", ".join(f"{name} {value:g}" for name, value in vars(fault).items() if value != getattr(NONE, name)) or "as it is"


def _said(photo: Any, *kinds: str) -> bool:
    return any(remark.kind in kinds for remark in photo.remarks)


def _photo(view: Any, fault: Fault, number: int) -> Photo:
    from PIL import Image

    data = taken(view, fault, seed=number, number=number)
    return seen(f"IMG_{number:04d}.jpg", np.asarray(Image.open(io.BytesIO(data)).convert("RGB")), read_exif(data))


def _published(name: str) -> Any:
    from PIL import Image
    from skimage import data

    return np.asarray(Image.open(Path(next(iter(data.__path__))) / name).convert("RGB"))


def _paths(way: str) -> list[Path]:
    """The ring's pictures, rendered where they are missing (two minutes a ring on two cores)."""
    paths = [CACHE / f"{way}_{number + 1:03d}.png" for number in range(RING)]
    if not all(path.exists() for path in paths):
        command = [sys.executable, "-m", "scripts.bench.photo_set.scenes", str(CACHE), way, str(RING)]
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    return paths


def _views(way: str) -> list[Any]:
    from PIL import Image

    return [np.asarray(Image.open(path).convert("RGB")) for path in _paths(way)]
