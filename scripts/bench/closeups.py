"""What do close-ups bring that the scan has not? Against known truth: relief by moved lamps, cameras by clicks or without any.

Cases: SHAPE/tripod/lamps-1, -4, -8, SHAPE/dark/lamps-4 (with a photo with the lamp off), SHAPE/hand/lamps-1, -4, -8
(hand-held), plate, clicks/whole, clicks/part, itself/whole, itself/part, wrong, and reference/SHAPE/ROOM (a photo of the whole
piece beside the product's render with its camera and light). The first run renders a shape's photos for some
minutes into the cache.
"""

from __future__ import annotations

import statistics
import time

from blender_addon.core.closeups.camera import angle_between
from blender_addon.core.closeups.placing import search as placing_search
from scripts.closeups.cases import Setting, closeup_case
from scripts.closeups.placed import placed_photos
from scripts.closeups.reference import ROOMS, reference_photo
from scripts.closeups.worked_scan import worked_skin

from . import Options, Record
from . import _closeup_measures as measures
from . import _placing_measures as placing
from . import _reference_measures as beside
from ._closeup_pictures import before_and_after

SHAPES = ("owl", "sharp", "smooth")
LIMITS = {1: (">= 20", ">= 40"), 4: (">= 50", ">= 65"), 8: (">= 55", ">= 75")}
BY_HAND = {1: (">= 15", None), 4: (">= 40", None), 8: (">= 45", None)}
OFF_PX = 1.0
"""Pixels that a click is off on the bench's pictures of 640 pixels; 2 on the 12 MP photos of `clicks`."""
BESIDE = ("owl", "sharp")
PLACING = ("clicks/whole", "clicks/part", "itself/whole", "itself/part", "wrong")


def run(record: Record, options: Options) -> None:
    """All metrics of closeups.json."""
    for shape in SHAPES[: 1 if options.fast else None]:
        wanted = [
            (name, count, dark)
            for name, count, dark in (
                ("tripod/lamps-1", 1, False), ("tripod/lamps-4", 4, False), ("tripod/lamps-8", 8, False),
                ("dark/lamps-4", 4, True), ("hand/lamps-1", 1, False), ("hand/lamps-4", 4, False), ("hand/lamps-8", 8, False),
            )
            if options.wants(f"{shape}/{name}")
        ]  # fmt: skip
        for name, count, dark in wanted:
            _relief(record, options, shape, name, count, dark=dark)
    if options.wants("plate"):
        flat = measures.plate()
        wrong = flat.errors_deg(flat.reading.slope)
        record.add("false_detail_deg", float(sorted(wrong)[len(wrong) // 2]), case="plate", unit="deg", goal="<= 0.5")
    if any(options.wants(name) for name in PLACING):
        _placing(record, options)
    for shape in BESIDE[: 1 if options.fast else None]:
        rooms = [room for room in ROOMS if options.wants(f"reference/{shape}/{room}")]
        if rooms:
            _reference(record, options, shape, rooms)


def _reference(record: Record, options: Options, shape: str, rooms: list[str]) -> None:
    """Reference shots of a shape's scan beside photos of it, each in a room that the scan was not made in."""
    scanned = beside.Scanned(shape, options.out / f"reference_{shape}")
    for room in rooms:
        photo = reference_photo(shape, room)
        start = time.perf_counter()
        found = scanned.beside(photo)
        case = f"reference/{shape}/{room}"
        lost = float("inf")
        flat = found.get("flat_delta_e")
        record.add("reference_delta_e", found.get("reference_delta_e2000", lost), case=case, yardstick=flat, floor="<= 5")
        record.add("reference_delta_e_95", found.get("reference_delta_e2000_95", lost), case=case)
        record.add("reference_form_alike", found.get("reference_form_alike", 0.0), case=case)
        record.add("reference_light_left", found.get("reference_light_left", lost), case=case)
        record.add("reference_turn_deg", found.get("turn_deg", lost), case=case, unit="deg")
        record.add("seconds", time.perf_counter() - start, case=case, unit="s")
        for path in (options.out / f"reference_{shape}" / "comparison").glob("reference*.png"):
            path.replace(options.out / f"{shape}_{room}_{path.name}")


def _placing(record: Record, options: Options) -> None:
    """Cameras on rendered photos of the owl, against the scan that the steps before have worked on."""
    count = 4 if options.fast else 12
    skin = worked_skin("owl")
    looks = placing_search.views(skin) if any(options.wants(name) for name in PLACING[2:]) else []
    for kind in ("whole", "part"):
        photos = placed_photos("owl", kind, count) if options.wants(f"clicks/{kind}") or options.wants(f"itself/{kind}") else []
        if options.wants(f"clicks/{kind}"):
            alone, found = placing.by_clicks(photos, skin)
            _cameras(record, found, f"clicks/{kind}", ">= 100", alone)
        if options.wants(f"itself/{kind}"):
            start = time.perf_counter()
            found = placing.by_itself(photos, skin, looks)
            _cameras(record, found, f"itself/{kind}", {"whole": ">= 90", "part": ">= 60"}[kind], None)
            record.add("seconds", (time.perf_counter() - start) / count, case=f"itself/{kind}", unit="s")
    if options.wants("wrong"):
        record.add("false_sure", measures.wrong_ones(skin.form), case="wrong/clicks", unit="%", goal="<= 0")
        photos = placed_photos("owl", "whole", min(count, 6))
        mirrored = placing.wrongly_sure(photos, skin, looks, lambda grey: grey[:, ::-1])
        record.add("false_sure", mirrored, case="wrong/mirrored", unit="%", goal="<= 0")
        others = placed_photos("sharp", "whole", min(count, 6))
        record.add("false_sure", placing.wrongly_sure(others, skin, looks, lambda grey: grey), case="wrong/another piece",
                   unit="%", goal="<= 0")  # fmt: skip


def _cameras(record: Record, found: placing.Found, case: str, floor: str, alone: placing.Found | None) -> None:
    """All figures of cameras, those by the clicks alone as their yardstick."""
    beside = {name: getattr(alone, name) if alone else None for name in ("success", "turned", "placed", "false_sure")}
    record.add("camera_success_percent", found.success, case=case, unit="%", yardstick=beside["success"], floor=floor)
    record.add("camera_turned_percent", found.turned, case=case, unit="%", yardstick=beside["turned"])
    record.add("camera_placed_percent", found.placed, case=case, unit="%", yardstick=beside["placed"])
    for metric, values, unit in (("turn_deg", found.turn_deg, "deg"), ("place_percent", found.place_percent, "%")):
        record.add(metric, statistics.median(values), case=case, unit=unit)
    texels = statistics.median(alone.texels) if alone else None
    record.add("reprojection_texels", statistics.median(found.texels), case=case, yardstick=texels, floor="<= 1")
    record.add("sure_percent", 100.0 * sum(found.sure) / len(found.sure), case=case, unit="%")
    record.add("false_sure", found.false_sure, case=case, unit="%", yardstick=beside["false_sure"], goal="<= 0")


def _relief(record: Record, options: Options, shape: str, name: str, count: int, *, dark: bool) -> None:
    by_hand = name.startswith("hand")
    case = closeup_case(shape, Setting(hand=by_hand))
    start = time.perf_counter()
    found, pose = measures.of_case(case, range(count), dark=dark, off_px=OFF_PX, by_hand=by_hand)
    took = time.perf_counter() - start
    cut, bare = (0.0, 0.0) if found is None else found.cut_percent()
    if count == 1:  # it depends on where the one lamp stood: the median of three
        others = [measures.of_case(case, [row], dark=dark, off_px=OFF_PX, by_hand=by_hand)[0] for row in (1, 2)]
        cut = statistics.median([cut, *(0.0 if other is None else other.cut_percent()[0] for other in others)])
    floor, goal = (BY_HAND if by_hand else LIMITS)[count]
    place = f"{shape}/{name}"
    record.add("closeup_median_cut", cut, case=place, unit="%", yardstick=f"scan {bare:.2f} deg", floor=floor, goal=goal)
    if found is not None:
        # a pixel is 0.02 mm on the piece: the limit is that of a phone, the goal that of a macro lens
        record.add("finest_mm", found.finest_mm() or float("inf"), case=place, unit="mm", floor="<= 0.15", goal="<= 0.06")
        record.add("told_finest_mm", found.reading.finest, case=place, unit="mm")
        record.add("covered_percent", found.covered_percent, case=place, unit="%")
        before_and_after(found, options.out / f"closeup_{place.replace('/', '_')}.png")
    turn = angle_between(pose.camera.rotation, case.cameras[0].rotation)
    record.add("camera_turn_deg", turn, case=place, unit="deg")
    record.add("seconds", took, case=place, unit="s")
