"""Times that need Blender, each in a process of its own: `python -m scripts.bench.speed.blender PART ...` prints JSON last."""

from __future__ import annotations

import json
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy


def enable() -> dict[str, Any]:
    """Milliseconds from importing the add-on (numpy too, where Blender has not yet) to all of it registered, in this fresh
    process."""
    if "blender_addon" in sys.modules:
        raise ImportError("the add-on was imported before the clock started")
    start = time.perf_counter()
    import blender_addon

    blender_addon.register()
    return {"ms": 1000.0 * (time.perf_counter() - start)}


def intake(folder: str, triangles: str) -> dict[str, Any]:
    """Our intake of an OBJ and a GLB over Blender's importer alone, in turns on the same file.

    ratio: by the clock; spent: by the processors' time, which says the same whatever else the machine does.
    """
    from blender_addon.job.runner import chosen, finish
    from blender_addon.job.sheet import parse
    from blender_addon.scene.running.captured import captured
    from blender_addon.scene.running.session import run_session
    from blender_addon.steps import catalogue

    from .big_scan import write_glb, write_obj

    home = Path(folder)
    files = {"obj": write_obj(home / "timed.obj", int(triangles)), "glb": write_glb(home / "timed.glb", int(triangles), 1024)}
    imports: dict[str, Callable[[Path], Any]] = {
        "obj": lambda path: bpy.ops.wm.obj_import(filepath=str(path)),
        "glb": lambda path: bpy.ops.import_scene.gltf(filepath=str(path)),
    }
    found = {}
    for name, path in files.items():
        times = []
        for _ in range(6):
            bpy.ops.wm.read_factory_settings(use_empty=True)
            start = _clocks()
            with captured():
                imports[name](path)
            theirs = [now - then for now, then in zip(_clocks(), start, strict=True)]
            bpy.ops.wm.read_factory_settings(use_empty=True)
            sheet = parse(f'bozzetto = 1\n[intake]\nscan = "{path.name}"\n', catalogue(), name="timed", folder=home)
            start = _clocks()
            finish(run_session(chosen(catalogue(), last="intake"), catalogue(), sheet, bpy.context.scene, out=None))
            ours = [now - then for now, then in zip(_clocks(), start, strict=True)]
            times.append((*ours, *theirs))
        wall, spent, their_wall, their_spent = zip(*times[1:], strict=True)  # the first filled the system's file cache
        found[name] = {
            "ratio": statistics.median(a / b for a, b in zip(wall, their_wall, strict=True)),
            "spent": statistics.median(a / b for a, b in zip(spent, their_spent, strict=True)),
            "ours": statistics.median(wall), "theirs": statistics.median(their_wall),
        }  # fmt: skip
    return found


def _clocks() -> tuple[float, float]:
    """Seconds of the wall's clock, and of this process on all processors."""
    return time.perf_counter(), time.process_time()


def memory(folder: str, triangles: str, size: str, texture: str = "") -> dict[str, Any]:
    """The most memory that a scan takes from intake to material, step by step, and what stood before in MB; the finest relief
    in mm, and what of the full texture's was believed.

    texture: "lit" for one that is sharp and whose light and relief can be read, "" for one without.
    """
    from blender_addon.core.generators import finish, passed_on
    from blender_addon.job.runner import Update, chosen
    from blender_addon.job.sheet import parse
    from blender_addon.scene.running.session import run_session
    from blender_addon.steps import catalogue

    from .big_scan import held_mb, write_glb

    home = Path(folder)
    path = write_glb(home / f"big_{triangles}_{size}{texture}.glb", int(triangles), int(size), lit=texture == "lit")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    words = f'bozzetto = 1\n[intake]\nscan = "{path.name}"\n[orientation]\nheight = 80.0\n'
    if texture == "lit":  # whether it holds light is not what is asked here
        words += '[relief]\nshading = "photo"\n[albedo]\nshading = "photo"\n'
    sheet = parse(words, catalogue(), name="big", folder=home)
    _forget_peak()
    before, peaks, start = held_mb("VmRSS"), {}, time.perf_counter()

    def counted(update: Update) -> None:
        if update.ended:
            peaks[update.step.name] = held_mb()
            print(f"  {update.step.name}: {peaks[update.step.name]:.0f} MB, {time.perf_counter() - start:.0f} s", flush=True)
            _forget_peak()

    run = run_session(chosen(catalogue(), last="material"), catalogue(), sheet, bpy.context.scene, out=None)
    report, _ = finish(passed_on(run, counted))
    relief: dict[str, Any] = report.figures()["relief"]
    return {
        "before": before, "peaks": peaks, "seconds": time.perf_counter() - start,
        "finest": float(relief.get("trusted_mm", 0.0)), "finer_kept": float(relief.get("finer_kept", 0.0)),
    }  # fmt: skip


def _forget_peak() -> None:
    """Start again to count the most memory held (proc(5), /proc/pid/clear_refs)."""
    Path("/proc/self/clear_refs").write_text("5")


PARTS: dict[str, Callable[..., dict[str, Any]]] = {"enable": enable, "intake": intake, "memory": memory}

if __name__ == "__main__":
    print("\n" + json.dumps(PARTS[sys.argv[1]](*sys.argv[2:])), flush=True)
    sys.stdout.flush()
    import os

    os._exit(0)  # past the wheel's own tearing down
