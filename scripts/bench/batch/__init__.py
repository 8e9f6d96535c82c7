"""Can a batch be left alone, and what does our way cost over Cycles' own?

Cases: `frames` (what is around a frame, what keeping the scene saves), `cluster` (two workers of this machine, two of them
killed), `estimate`, `relief`, `flicker`, `series` (six pieces of one look), `bits`, `farm` (a hundred workers, simulated),
`card` (a turn on an NVIDIA card, where there is one, beside Cycles alone).
The first frame of each row builds the scene and does not count. What keeping the scene saves is measured on the demo's scan,
and, without a limit, on a turned form in its whole set-up, where little is to build: of its frame of 96 pixels four fifths are
rays. What a frame costs besides is measured twice: by the clock round Cycles' own call in our frames, which other work of the
machine does not blur, and beside the same frames by Cycles alone, in turns with ours. The relief is that of the demo's scan.
"""

from __future__ import annotations

import math
import os
import random
import shutil
import signal
import statistics
import time
from collections.abc import Callable
from pathlib import Path

from .. import Options, Record
from .._bits_used import bits_used
from .farm_simulation import Farm, simulate
from .pictures import flicker_percent, piece_light, relief_kept_percent
from .scene import Frames, by_cycles, by_us, child, command, forms, opened, prepared, seconds_of_cycles

HEAVY = Frames((320, 214), 8, 4)
"""Frames that take Cycles two seconds or more on two cores."""
LIGHT = Frames((96, 64), 1, 9)
"""Frames that cost little to render, at which the building of the scene shows."""
ROUNDS = 2
"""How often our frames and those of Cycles alone take turns: other work of the machine then burdens both."""
WARM = 2
"""Pictures before the clock starts, so that each worker has the scene open."""


def run(record: Record, options: Options) -> None:
    """All cases that were asked for."""
    cases: dict[str, Callable[[Record, Path, bool], None]] = {
        "frames": _frames, "cluster": _cluster, "estimate": _estimate, "relief": _relief, "flicker": _flicker,
        "series": _series, "bits": _bits, "farm": _farm, "card": _card,
    }  # fmt: skip
    for name, case in cases.items():
        if options.wants(name):
            try:
                case(record, options.out.resolve(), options.fast)
            except (RuntimeError, ImportError) as error:
                record.fail(f"{name}: {error}")


def _frames(record: Record, out: Path, fast: bool) -> None:
    stage = opened(prepared(out))
    heavy = Frames((120, 80), 1, 3) if fast else HEAVY
    bare: list[float] = []
    ours: list[float] = []
    around: list[float] = []
    for _ in range(1 if fast else ROUNDS):
        shutil.rmtree(out / "frames", ignore_errors=True)
        bare += by_cycles(stage, heavy)[1:]
        with seconds_of_cycles() as within:
            whole = by_us(stage, heavy, out / "frames")[1:]
        ours += whole
        around += [100.0 * (all_of_it - inner) / inner for all_of_it, inner in zip(whole, within[1:], strict=True)]
    cycles, us = statistics.median(bare), statistics.median(ours)
    record.add(
        "overhead_percent", statistics.median(around), case="around Cycles", unit="%", yardstick=cycles, floor="<= 3",
    )  # fmt: skip
    record.add("overhead_percent", 100.0 * (us - cycles) / cycles, unit="%", yardstick=cycles, floor="<= 3")
    for name, case in (("owl", ""), ("form", "turned form")):
        _building(record, out, name, case)


def _building(record: Record, out: Path, name: str, case: str) -> None:
    """What keeping the scene saves where a frame costs little: on the demo's scan, and on a form of 3840 faces."""
    blend = prepared(out, name)
    stage = opened(blend)
    kept = statistics.median(by_us(stage, LIGHT, out / "frames")[1:])
    again = statistics.median(by_cycles(stage, LIGHT, persistent=False)[1:])
    stays = statistics.median(by_cycles(stage, LIGHT)[1:])
    alone = child(ONE_FRAME, blend, out / "frames" / "alone.png")["seconds"]
    floors = {} if case else {"floor": ">= 3"}
    record.add("persistent_speedup", again / kept, case=case, yardstick=kept, **floors)
    record.add("persistent_speedup", again / stays, case=f"{case or 'demo'}, Cycles alone", yardstick=stays)
    floors = {} if case else {"floor": ">= 15"}
    record.add("process_speedup", alone / kept, case=case, yardstick=alone, **floors)


ONE_FRAME = """
import json, sys, time
started = time.perf_counter()
import subprocess
words = '''
import sys
from pathlib import Path
from scripts.bench.batch.scene import Frames, by_cycles, opened
from dataclasses import replace
from scripts.bench.batch import LIGHT
by_cycles(opened(Path(sys.argv[1])), replace(LIGHT, count=1))
from blender_addon.cli import leave
leave(0)
'''
subprocess.run([sys.executable, "-c", words, sys.argv[1]], check=True, stdout=subprocess.DEVNULL)
print("JSON", json.dumps({"seconds": time.perf_counter() - started}))
"""


def _cluster(record: Record, out: Path, fast: bool) -> None:
    blend = prepared(out)
    frames = Frames((120, 80), 1, 6) if fast else Frames((320, 213), 16, 12)
    spans = {}
    pictures: dict[str, list[bytes]] = {}
    for name, workers, kills in (("one", 1, 0), ("two", 2, 0), ("killed", 2, 2)):
        spans[name], pictures[name], begun = _on_workers(blend, frames, out / name, workers, kills)
        if name == "killed":
            record.add("cluster_lost", frames.count - len(set(begun)), case="killed", goal="== 0")
    record.add("cluster_speedup", spans["one"] / spans["two"], yardstick=spans["one"], floor=">= 1.6")
    same = all(pictures[name] == pictures["one"] for name in pictures)
    record.add("cluster_identical", float(same), goal="== 1")


def _on_workers(blend: Path, frames: Frames, out: Path, workers: int, kills: int) -> tuple[float, list[bytes], list[str]]:
    """Render frames on local workers, some killed at work; seconds from the first order on, pictures, the orders delivered."""
    from blender_addon.cli.farm import ClusterFarm
    from blender_addon.steps.delivery._pictures import order_of

    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    stage = opened(blend)
    orders = [order_of(stage, task, frames.quality(), "cpu") for task in frames.tasks(out / "turntable")]
    farm = ClusterFarm(out, workers=workers)
    farm._threads = 1
    chance = random.Random(3)
    came: dict[str, bytes] = {}
    delivered = []
    try:
        farm.begin(lambda path: shutil.copy(blend, path), stage.scene.name)
        list(farm.render(orders[:WARM]))  # the painters open the scene
        started = time.perf_counter()
        for picture in farm.render(orders[WARM:]):
            came[picture.order.name] = picture.files[0].read_bytes()
            delivered.append(picture.order.name)
            if kills and len(came) % 3 == 1:
                kills -= 1
                os.kill(chance.choice(list(farm._client.run(os.getpid).values())), signal.SIGKILL)
        seconds = time.perf_counter() - started
    finally:
        farm.close()
    pixels = [came[order.name] for order in orders[WARM:]]
    return seconds, pixels, [*(order.name for order in orders[:WARM]), *delivered]


def _estimate(record: Record, out: Path, fast: bool) -> None:
    prepared(out)
    sets = ("render.quality=final", f"render.size={240 if fast else 900}", "render.frames=8", "render.turntable_size=240")
    words = """
import json, sys
from pathlib import Path
import blender_addon.steps.delivery._estimate as estimate
estimate.WORTH_IT = 0.0
from blender_addon.cli import main
code = main(["run", *sys.argv[2:]])
figures = json.loads((Path(sys.argv[1]) / "figures.json").read_text())["render"]
print("JSON", json.dumps(figures))
"""
    folder = out / "estimate"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(out / "form", folder)
    more = [word for assignment in sets for word in ("--set", assignment)]
    found = child(words, folder, out / "form.toml", "--out", folder, "--from", "render", "--until", "render", "--quiet", *more)
    said, took = found["expected_seconds"], found["pictures_seconds"]
    record.add("estimate_error_percent", 100.0 * abs(said - took) / took, unit="%", yardstick=took, goal="<= 25")
    there = sum(path.stat().st_size for part in ("pictures", "turntable") for path in (folder / part).rglob("*.*"))
    record.add("disk_over_said", there / 1e6 / found["expected_disk_mb"], case="estimate", goal="<= 1")


def _cards_device() -> str:
    """The device of an NVIDIA card, '' where there is none."""
    from blender_addon.job.errors import JobError
    from blender_addon.scene.delivery.device import find_device

    try:
        return find_device("cuda") and "cuda"
    except JobError:
        return ""


def _card(record: Record, out: Path, fast: bool) -> None:
    """Twelve frames of the demo's turn as 'print' renders them, the first that builds the scene counted, too."""
    stage, device = opened(prepared(out, "owl")), _cards_device()
    if not device:
        print("no NVIDIA card here: the turn on a card was not measured", flush=True)
        return
    frames = Frames((480, 320) if fast else (1620, 1080), 32, 12)
    by_cycles(stage, Frames((96, 64), 1, 1), device=device)  # the kernels are loaded
    bare, ours = [], []
    for _ in range(1 if fast else ROUNDS):
        shutil.rmtree(out / "card", ignore_errors=True)
        bare.append(sum(by_cycles(stage, frames, device=device)))
        ours.append(sum(by_us(stage, frames, out / "card", device=device)))
    cycles, us = min(bare), min(ours)
    record.add("overhead_percent", 100.0 * (us - cycles) / cycles, case="12 on a card", unit="%", yardstick=cycles, goal="<= 5")


def _relief(record: Record, out: Path, fast: bool) -> None:
    from blender_addon.steps.delivery.render import PRESETS

    stage = opened(prepared(out, "owl"))
    kept = relief_kept_percent(
        stage, out, size=PRESETS["final"].long_side, times=2 if fast else 16, device=_cards_device() or "cpu"
    )
    record.add("relief_kept_percent", kept, unit="%", floor=">= 90")


def _flicker(record: Record, out: Path, fast: bool) -> None:
    stage = opened(prepared(out))
    frames = Frames((240, 160) if fast else (480, 320), 4, 4 if fast else 8)
    shutil.rmtree(out / "flicker", ignore_errors=True)
    by_us(stage, frames, out / "flicker")
    found = flicker_percent([task.path for task in frames.tasks(out / "flicker" / "turntable")])
    for case, value in found.items():
        record.add("flicker_percent", value, case=case, unit="%", goal="<= 0.5")


def _series(record: Record, out: Path, fast: bool) -> None:
    """Six made-up forms in one look: how far the light of the piece differs, in stops."""
    scans, folder = out / "scans", out / "series"
    shutil.rmtree(folder, ignore_errors=True)
    forms(scans, 2 if fast else 6)
    look = out / "look.toml"
    look.write_text(
        'bozzetto = 1\n[render]\nsize = 160\nsamples = 8\nturntable = false\nonly = "hero"\ncutouts = true\n', "utf-8"
    )
    seconds = command(["series", str(look), str(scans), "--out", str(folder), "--quiet"])
    again = command(["series", str(look), str(scans), "--out", str(folder), "--quiet"])
    lights = [piece_light(piece) for piece in sorted(folder.iterdir()) if (piece / "cutouts" / "hero.png").is_file()]
    for case, each in (("", [light.facing for light in lights]), ("with all sides", [light.whole for light in lights])):
        spread = math.log2(max(each) / min(each))
        record.add("series_spread_stops", spread, case=case, yardstick=len(lights), goal="" if case else "<= 0.1")
    record.add("series_again_seconds", again, unit="s", yardstick=seconds, goal="<= 10")


def _bits(record: Record, out: Path, fast: bool) -> None:
    found = bits_used(out)
    for kind in ("tiff16", "png16"):
        record.add("bits_used", found[kind], case=kind, yardstick=found["still"], goal=">= 12")


def _farm(record: Record, out: Path, fast: bool) -> None:
    """A hundred workers, 1120 pictures of a minute; each worker lost every two hours, and every ten minutes."""
    calm = simulate(Farm(between=1e12))
    for case, between in (("every two hours", 7200.0), ("every ten minutes", 600.0)):
        course = simulate(Farm(between=between))
        record.add(
            "farm_slower_percent", 100.0 * (course.seconds / calm.seconds - 1.0), case=case, unit="%", yardstick=calm.seconds
        )
        record.add("farm_wasted_percent", course.wasted_percent, case=case, unit="%", yardstick=course.losses)
        record.add("farm_given_up", course.given_up, case=case, goal="== 0")
