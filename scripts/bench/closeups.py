"""What do close-ups bring that the scan has not? Against known truth: relief by moved lamps, and cameras by clicks.

Cases: SHAPE/tripod/lamps-1, -4, -8 and SHAPE/dark/lamps-4 (with a photo with the lamp off), plate, clicks/whole, clicks/part,
wrong. The first run renders a shape's photos for some minutes into the cache.
"""

from __future__ import annotations

import statistics
import time

from scripts.closeups.cases import Setting, closeup_case
from scripts.truth.scanner import baked_scan

from . import Options, Record
from . import _closeup_measures as measures
from ._closeup_pictures import before_and_after

SHAPES = ("owl", "sharp", "smooth")
LIMITS = {1: (">= 20", ">= 40"), 4: (">= 50", ">= 65"), 8: (">= 55", ">= 75")}
OFF_PX = 1.0
"""Pixels that a click is off on the bench's pictures of 640 pixels; 2 on the 12 MP photos of `clicks`."""


def run(record: Record, options: Options) -> None:
    """All metrics of closeups.json."""
    for shape in SHAPES[: 1 if options.fast else None]:
        wanted = [
            (name, count, dark)
            for name, count, dark in (
                ("tripod/lamps-1", 1, False), ("tripod/lamps-4", 4, False), ("tripod/lamps-8", 8, False),
                ("dark/lamps-4", 4, True),
            )
            if options.wants(f"{shape}/{name}")
        ]  # fmt: skip
        for name, count, dark in wanted:
            _relief(record, options, shape, name, count, dark=dark)
    if options.wants("plate"):
        flat = measures.plate()
        wrong = flat.errors_deg(flat.reading.slope)
        record.add("false_detail_deg", float(sorted(wrong)[len(wrong) // 2]), case="plate", unit="deg", goal="<= 0.5")
    scan = baked_scan("owl")
    for case in ("whole", "part"):
        if options.wants(f"clicks/{case}"):
            found = measures.clicked(scan.scan, scan.mm_a_texel, whole=case == "whole", count=12 if options.fast else 40)
            name = f"clicks/{case}"
            record.add("camera_success_percent", found.success, case=name, unit="%", floor=">= 100")
            record.add("camera_placed_percent", found.placed, case=name, unit="%")
            record.add("reprojection_texels", found.texels, case=name, floor="<= 1")
            record.add("false_sure", found.false_sure, case=name, unit="%", goal="<= 0")
    if options.wants("wrong"):
        record.add("false_sure", measures.wrong_ones(scan.scan), case="wrong", unit="%", goal="<= 0")


def _relief(record: Record, options: Options, shape: str, name: str, count: int, *, dark: bool) -> None:
    case = closeup_case(shape, Setting())
    start = time.perf_counter()
    found, pose = measures.of_case(case, range(count), dark=dark, off_px=OFF_PX)
    took = time.perf_counter() - start
    cut, bare = found.cut_percent()
    if count == 1:  # it hangs on where the one lamp stood: the median of three
        others = [measures.of_case(case, [row], dark=dark, off_px=OFF_PX)[0].cut_percent()[0] for row in (1, 2)]
        cut = statistics.median([cut, *others])
    floor, goal = LIMITS[count]
    place = f"{shape}/{name}"
    record.add("closeup_median_cut", cut, case=place, unit="%", yardstick=f"scan {bare:.2f} deg", floor=floor, goal=goal)
    record.add("finest_mm", found.finest_mm() or float("inf"), case=place, unit="mm", floor="<= 0.2", goal="<= 0.06")
    record.add("told_finest_mm", found.reading.finest, case=place, unit="mm")
    record.add("covered_percent", 100.0 * float(found.counted.mean()), case=place, unit="%")
    turn = measures.angle_between(pose.camera.rotation, case.cameras[0].rotation)
    record.add("camera_turn_deg", turn, case=place, unit="deg")
    record.add("seconds", took, case=place, unit="s")
    before_and_after(found, options.out / f"closeup_{place.replace('/', '_')}.png")
