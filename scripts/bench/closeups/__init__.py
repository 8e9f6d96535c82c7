"""What do close-ups bring that the scan has not? Against known truth: relief by moved lamps, cameras by clicks or without any.

Cases: SHAPE/tripod/lamps-1, -4, -8, SHAPE/dark/lamps-4 (with a photo with the lamp off), SHAPE/hand/lamps-1, -4, -8
(hand-held), SHAPE/macro/lamps-4, plate, clicks/whole, clicks/part, itself/whole, itself/part (the owl), itself/SHAPE/whole,
itself/SHAPE/part (the others), set/SHAPE/whole, set/SHAPE/part (five photos by one lens together; their yardstick is
each of them by itself), reachable/SHAPE/whole, reachable/SHAPE/part (how near cameras would come that find each part of
the scan where it truly lies), wrong/clicks, wrong/mirrored, wrong/another, and reference/SHAPE/ROOM (a photo of the whole piece
beside the product's render with its camera and light). The first run renders a shape's photos for some minutes into the cache.
Parts run in as many processes as there are processors
(`--processes N`: as many as that).
"""

from __future__ import annotations

import statistics
import time
from collections import defaultdict
from typing import Any

from scripts.closeups.reference import ROOMS

from .. import Options, Record
from .._processes import Part, processes, results
from . import parts, placing, reachable

SHAPES = ("owl", "sharp", "smooth")
BESIDE = ("owl", "sharp")
WRONG = {"wrong/mirrored": ("owl", True), "wrong/another": ("sharp", False)}
FLOORS = {"clicks/whole": ">= 100", "clicks/part": ">= 100", "itself/whole": ">= 90", "itself/part": ">= 60"}


def run(record: Record, options: Options) -> None:
    """All metrics of closeups.json."""
    cases = _cases(options)
    start, count = time.perf_counter(), processes(options)
    for batch in parts.preparing(cases):
        for part, _, wrong in results(batch, min(count, max(1, len(batch)))):
            if wrong:
                record.fail(f"{part.kind}: {wrong}")
            print(f"  {part.kind} after {time.perf_counter() - start:.0f} s", flush=True)
    found: dict[str, list[Any]] = defaultdict(list)
    for part, result, wrong in results(cases, count):
        if wrong:
            record.fail(f"{part.kind} {part.given}: {wrong}")
        elif isinstance(result, list):
            for metric, value, rest in result:
                record.add(metric, value, **rest)
        else:
            found[part.kind].append(result)
            print(f"  {part.kind} {part.given} after {time.perf_counter() - start:.0f} s: {result}", flush=True)
    for case, answers in found.items():
        if case in WRONG:
            record.add("false_sure", placing.percent(answers), case=case, unit="%", goal="<= 0")
        elif case.startswith(("clicks", "set")):
            alone, refined = (placing.together(list(of)) for of in zip(*answers, strict=True))
            _cameras(record, refined, case, alone)
        else:
            _cameras(record, placing.together(answers), case, None)


def _cases(options: Options) -> list[Part]:
    """The parts that were asked for, the longest first."""
    count = 4 if options.fast else 12
    every = [Part(case, parts.wrong_photo, (shape, number, mirrored))
             for case, (shape, mirrored) in WRONG.items() for number in range(count // 2)]  # fmt: skip
    for kind in ("whole", "part"):
        every += [Part(f"itself/{kind}", parts.by_itself, (kind, number)) for number in range(count)]
        for shape in SHAPES[1:]:
            every += [Part(f"itself/{shape}/{kind}", parts.by_itself, (kind, number, shape)) for number in range(count // 2)]
        every += [Part(f"set/{shape}/{kind}", parts.of_one_lens, (shape, kind)) for shape in SHAPES]
        every += [Part(f"reachable/{shape}/{kind}", reachable.rows, (shape, kind)) for shape in SHAPES]
    for shape in BESIDE[: 1 if options.fast else None]:
        rooms = [room for room in ROOMS if options.wants(f"reference/{shape}/{room}")]
        every += [Part(f"reference/{shape}/{rooms[0]}", parts.reference, (shape, rooms, options.out))] if rooms else []
    for shape in SHAPES[: 1 if options.fast else None]:
        every += [Part(f"{shape}/{name}", parts.relief, (shape, name, options.out)) for name in parts.KINDS]
    for kind in ("whole", "part"):
        every += [Part(f"clicks/{kind}", parts.by_clicks, (kind, number)) for number in range(count)]
    every += [Part("wrong/clicks", parts.wrong_clicks), Part("plate", parts.plate)]
    return [part for part in every if options.wants(part.kind)]


def _cameras(record: Record, found: placing.Found, case: str, alone: placing.Found | None) -> None:
    """All figures of cameras, those by the clicks alone, or of a set's photos each by itself, as their yardstick."""
    beside = {name: getattr(alone, name) if alone else None for name in ("success", "turned", "placed", "false_sure")}
    way, *_, view = case.split("/")
    limit = {"floor": FLOORS[f"{way}/{view}"]} if way != "set" else {"goal": FLOORS[f"itself/{view}"]}
    record.add("camera_success_percent", found.success, case=case, unit="%", yardstick=beside["success"], **limit)
    record.add("camera_turned_percent", found.turned, case=case, unit="%", yardstick=beside["turned"])
    record.add("camera_placed_percent", found.placed, case=case, unit="%", yardstick=beside["placed"])
    for metric, values, unit in (("turn_deg", found.turn_deg, "deg"), ("place_percent", found.place_percent, "%")):
        record.add(metric, statistics.median(values), case=case, unit=unit)
    texels = statistics.median(alone.texels) if alone else None
    record.add("reprojection_texels", statistics.median(found.texels), case=case, yardstick=texels, floor="<= 1")
    record.add("sure_percent", placing.percent(found.sure), case=case, unit="%")
    record.add("false_sure", found.false_sure, case=case, unit="%", yardstick=beside["false_sure"], goal="<= 0")
    record.add("far_sure_percent", found.far_sure, case=case, unit="%", goal="<= 0")
    if alone is None:
        record.add("right_asked_percent", found.right_asked, case=case, unit="%", goal="<= 50")
        record.add("off_over_predicted", found.off_over_predicted, case=case, goal="<= 1.2")
    record.add("seconds", statistics.median(found.seconds), case=case, unit="s")
