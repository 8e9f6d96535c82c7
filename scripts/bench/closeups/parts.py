"""The parts of the closeups bench, each in a process of its own: what is rendered first, then cases apart from one another.

A part gives rows (metric, value, the rest as `Record.add` has it), or the cameras of one photo.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from blender_addon.core.closeups.camera import angle_between
from blender_addon.core.closeups.placing import search as placing_search
from blender_addon.core.closeups.placing.look import Skin
from scripts.closeups.cases import MACRO, Setting, closeup_case
from scripts.closeups.placed import lens_of, placed_photo
from scripts.closeups.reference import reference_photo
from scripts.closeups.worked_scan import worked_skin
from scripts.truth.scanner import baked_scan

from .._processes import Part
from . import measures, placing
from . import reference as beside
from .pictures import before_and_after

Row = tuple[str, float, dict[str, Any]]
LIMITS = {1: (">= 20", ">= 40"), 4: (">= 50", ">= 65"), 8: (">= 55", ">= 75")}
BY_HAND = {1: (">= 15", ""), 4: (">= 40", ""), 8: (">= 45", "")}
A_SET = 5
"""Photos of a set by one lens."""
OFF_PX = 1.0
"""Pixels that a click is off on the bench's pictures of 640 pixels; 2 on the 12 MP photos of `clicks`."""
KINDS = {
    # way of taking: (setting, photos, with one of the lamp off)
    **{f"tripod/lamps-{count}": (Setting(), count, False) for count in (1, 4, 8)},
    "dark/lamps-4": (Setting(), 4, True),
    **{f"hand/lamps-{count}": (Setting(hand=True), count, False) for count in (1, 4, 8)},
    "macro/lamps-4": (MACRO, 4, False),
}


def rendered(shape: str, work: str, number: int = 0) -> None:
    """Put into the cache what other parts need: a shape's scan, its skin, its photos of a kind or a way of taking."""
    if work == "scan":
        baked_scan(shape)
    elif work == "skin":
        worked_skin(shape)
    elif work in ("whole", "part"):
        placed_photo(shape, work, number)
    elif work.startswith("set/"):
        placed_photo(shape, work.removeprefix("set/"), number, lens=lens_of(shape, 0))
    else:
        closeup_case(shape, KINDS[work][0])


def relief(shape: str, name: str, out: Path) -> list[Row]:
    """What close-ups of a shape bring, taken in a way of KINDS."""
    setting, count, dark = KINDS[name]
    case, place = closeup_case(shape, setting), f"{shape}/{name}"
    rest = {"dark": dark, "off_px": OFF_PX, "by_hand": setting.hand}
    skin, start = worked_skin(shape), time.perf_counter()
    found, camera = measures.of_case(case, skin, range(count), **rest)
    took = time.perf_counter() - start
    cut, bare = (0.0, 0.0) if found is None else found.cut_percent()
    cuts = [cut]
    if count == 1:  # it depends on where the one lamp stood: the median of three
        others = [measures.of_case(case, skin, [row], **rest)[0] for row in (1, 2)]
        cuts += [0.0 if other is None else other.cut_percent()[0] for other in others]
    floor, goal = (BY_HAND if setting.hand else LIMITS)[count]
    limits = {"yardstick": f"scan {bare:.2f} deg", "floor": floor, "goal": goal}
    rows: list[Row] = [("closeup_median_cut", statistics.median(cuts), {"case": place, "unit": "%", **limits})]
    if count == 1:
        rows.append(("worst_cut", min(cuts), {"case": place, "unit": "%", "floor": ">= -0.5"}))
    if found is not None:
        # a pixel is 0.02 mm on the piece as on a phone's photo, and 0.008 as a macro lens has it
        limit = {"floor": "<= 0.06"} if setting == MACRO else {"floor": "<= 0.15", "goal": "<= 0.06"}
        rows.append(("finest_mm", found.finest_mm() or float("inf"), {"case": place, "unit": "mm", **limit}))
        rows.append(("told_finest_mm", found.reading.finest, {"case": place, "unit": "mm"}))
        rows.append(("covered_percent", found.covered_percent, {"case": place, "unit": "%"}))
        before_and_after(found, out / f"closeup_{place.replace('/', '_')}.png")
    turn = angle_between(camera.rotation, case.cameras[0].rotation)
    rows.append(("camera_turn_deg", turn, {"case": place, "unit": "deg"}))
    return [*rows, ("seconds", took, {"case": place, "unit": "s"})]


def plate() -> list[Row]:
    """What relief is read on a flat plate."""
    flat = measures.plate()
    wrong = sorted(flat.errors_deg(flat.reading.slope))
    return [("false_detail_deg", float(wrong[len(wrong) // 2]), {"case": "plate", "unit": "deg", "goal": "<= 0.5"})]


def by_clicks(kind: str, number: int) -> tuple[placing.Found, placing.Found]:
    """The camera of one photo of the owl by six clicks: (by these alone, refined on the picture)."""
    return placing.by_clicks(placed_photo("owl", kind, number), number, worked_skin("owl"))


def by_itself(kind: str, number: int, shape: str = "owl") -> placing.Found:
    """The camera of one photo of a piece of which nothing is known."""
    return placing.by_itself(placed_photo(shape, kind, number), number, *_looked_at(shape))


def of_one_lens(shape: str, kind: str) -> tuple[placing.Found, placing.Found]:
    """The cameras of a set of photos by one lens: (each by itself, together)."""
    lens = lens_of(shape, 0)
    photos = [placed_photo(shape, kind, number, lens=lens) for number in range(A_SET)]
    return placing.of_one_lens(photos, lens, *_looked_at(shape))


def wrong_photo(shape: str, number: int, mirrored: bool) -> bool:
    """Whether a photo of another piece, or a mirrored one, is called sure of the owl."""
    return placing.wrongly_sure(placed_photo(shape, "whole", number), *_looked_at("owl"), mirrored=mirrored)


def wrong_clicks() -> list[Row]:
    """Photos that can't be right by their clicks."""
    sure = measures.wrong_ones(worked_skin("owl").form)
    return [("false_sure", sure, {"case": "wrong/clicks", "unit": "%", "goal": "<= 0"})]


def reference(shape: str, rooms: Sequence[str], out: Path) -> list[Row]:
    """Reference shots of a shape's scan beside photos of it, each in a room that the scan was not made in."""
    scanned, rows = beside.Scanned(shape, out / f"reference_{shape}"), []
    for room in rooms:
        photo = reference_photo(shape, room)
        start = time.perf_counter()
        found = scanned.beside(photo)
        case, lost = f"reference/{shape}/{room}", float("inf")
        limits = {"yardstick": found.get("flat_delta_e"), "floor": "<= 5"}
        rows += [
            ("reference_delta_e", found.get("reference_delta_e2000", lost), {"case": case, **limits}),
            ("reference_delta_e_95", found.get("reference_delta_e2000_95", lost), {"case": case}),
            ("reference_form_alike", found.get("reference_form_alike", 0.0), {"case": case}),
            ("reference_light_left", found.get("reference_light_left", lost), {"case": case}),
            ("reference_turn_deg", found.get("turn_deg", lost), {"case": case, "unit": "deg"}),
            ("seconds", time.perf_counter() - start, {"case": case, "unit": "s"}),
        ]
        for path in (out / f"reference_{shape}" / "comparison").glob("reference*.png"):
            path.replace(out / f"{shape}_{room}_{path.name}")
    return rows


@lru_cache(maxsize=3)
def _looked_at(shape: str) -> tuple[Skin, list[placing_search.View]]:
    """A piece's skin and the looks at it; once a process."""
    skin = worked_skin(shape)
    return skin, placing_search.views(skin)


def preparing(cases: Sequence[Part]) -> list[list[Part]]:
    """Parts that must have run before, in two rounds."""
    photos: dict[tuple[Any, ...], None] = {}
    for part in cases:
        if part.work is relief:
            setting = KINDS[part.given[1]][0]
            name = next(name for name, (other, _, _) in KINDS.items() if other == setting)
            photos |= {(part.given[0], "skin"): None, (part.given[0], name): None}
        elif part.work in (by_clicks, by_itself):
            kind, number, shape = (*part.given, "owl")[:3]
            photos |= {(shape, "skin"): None, (shape, kind, number): None}
        elif part.work is of_one_lens:
            shape, kind = part.given
            photos |= {(shape, "skin"): None, **{(shape, f"set/{kind}", number): None for number in range(A_SET)}}
        elif part.work is wrong_photo:
            photos |= {("owl", "skin"): None, (part.given[0], "whole", part.given[1]): None}
        elif part.work is wrong_clicks:
            photos[("owl", "skin")] = None
        elif part.work is reference:
            photos[(part.given[0], "scan")] = None
    shapes = dict.fromkeys(given[0] for given in photos)
    return [
        [Part(f"scan of {shape}", rendered, (shape, "scan")) for shape in shapes],
        [Part(f"photos {given}", rendered, given) for given in photos if given[1] != "scan"],
    ]
