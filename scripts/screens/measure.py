"""Runs inside the window's Blender after `drive.py`: what a person waits for, counted and timed; written to measured.json.

The demo's scans are dropped and the button is pressed; then all panels are drawn open beside a scan of three million
triangles; then some hundred operators are called at random.
"""

from __future__ import annotations

import importlib
import json
import statistics
import time
from collections.abc import Callable, Iterator
from typing import Any

import bpy

OUT, JOB = "/shots/out", "/scans"
MODULE = "bl_ext.user_default.bozzetto"
REDRAWS = 15


def ours(name: str) -> Any:
    """A module of the installed add-on."""
    return importlib.import_module(f"{MODULE}.{name}")


def session(desk: Any) -> Iterator[None]:
    """All measurements that are asked for, one after the other; each is written down as soon as it is known.

    desk: what `drive.py` gives a session.
    """
    window, wanted = desk.window, desk.wanted
    asked, found = set(wanted["measure"]), {}

    def keep(**values: Any) -> None:
        found.update(values)
        desk.log("measured", values)
        with open(f"{OUT}/measured.json", "w", encoding="utf-8") as file:
            json.dump(found, file, indent=1)

    if "tooltips" in asked:
        missing = tooltips_missing()
        keep(tooltips_missing=len(missing), tooltips=missing[:20])
    if "first" in asked:
        yield from first_picture(desk, keep)
    if "redraw" in asked:
        yield from redraw(desk, keep)
    if "fuzz" in asked:
        yield from importlib.import_module("fuzz").session(window, desk.log, wanted, keep)
    if "edits" in asked:
        yield from importlib.import_module("edits").session(window, desk.log, keep)


def tooltips_missing() -> list[str]:
    """The controls that say nothing of themselves: settings, preferences, switches of the view, operators and what they ask."""
    found = []
    groups = [group for group in bpy.types.PropertyGroup.__subclasses__() if group.__name__.startswith("BOZZETTO_")]
    for group in [*groups, *bpy.types.AddonPreferences.__subclasses__()]:
        if not group.__name__.startswith("BOZZETTO_"):
            continue
        found += [
            f"{group.__name__}.{prop.identifier}"
            for prop in group.bl_rna.properties
            if prop.identifier not in ("rna_type", "name", "bl_idname") and not prop.is_hidden and not prop.description.strip()
        ]
    for prop in bpy.types.WindowManager.bl_rna.properties:
        if prop.identifier.startswith("bozzetto_") and not prop.description.strip():
            found.append(f"WindowManager.{prop.identifier}")
    for name in dir(bpy.ops.bozzetto):
        rna = getattr(bpy.ops.bozzetto, name).get_rna_type()
        if not rna.description.strip() or rna.description == rna.name:
            found.append(f"bozzetto.{name}")
        inner = {"filepath", "directory", "files", "filter_glob", "rna_type"}
        asked = [prop for prop in rna.properties if prop.identifier not in inner and not prop.is_hidden]
        found += [f"bozzetto.{name}.{setting.identifier}" for setting in asked if not setting.description.strip()]
    return found


def first_picture(desk: Any, keep: Callable[..., None]) -> Iterator[None]:
    """Drop the scans, give the height, press the button: how many clicks, how long until the view has drawn a picture of the
    dressed and lit hero and until the first finished still, and the longest stretch in which the window could not answer."""
    window, wanted = desk.window, desk.wanted
    scene, area = window.scene, max((a for a in window.screen.areas if a.type == "VIEW_3D"), key=lambda a: a.width * a.height)
    region = next(part for part in area.regions if part.type == "WINDOW")
    scans = [{"name": name} for name in wanted["scans"]]
    clicks, stretches, ends = 0, [], []
    started = spent = 0.0
    advance = ours("ui.watched_work").WatchedWork._advance_for_a_while
    seen: dict[str, Any] = {"words": "begin", "blocking": False}

    def timed(self: Any, context: Any) -> Any:
        before = dict(seen)
        started, own = time.perf_counter(), time.thread_time()
        state = advance(self, context)
        stretches.append((time.perf_counter() - started, before["words"], before["blocking"], time.thread_time() - own))
        return state

    operator = ours("ui.operators").BOZZETTO_OT_run_job
    words = operator._words

    def worded(self: Any, update: Any) -> str:
        seen.update(words=f"{update.step.name}: {update.words}", blocking=update.blocking)
        if update.ended and len(ends) < update.number:
            ends.append((update.step.name, round(time.perf_counter() - started, 1), round(time.process_time() - spent, 1)))
        return words(self, update)

    in_view = ours("ui.overlays.picture_in_view").PictureInView
    draw, drawn = in_view._draw, []

    def drawing(self: Any) -> None:
        draw(self)
        if self._texture is not None and not drawn:
            drawn.append((time.perf_counter(), max(self._texture.width, self._texture.height)))

    in_view._draw = drawing
    operator._advance_for_a_while, operator._words = timed, worded
    spent = time.process_time()
    bpy.ops.bozzetto.read_sheet(filepath=f"{JOB}/owl.toml")  # for the size of its pictures alone
    scene.bozzetto.intake.scans.clear()
    with bpy.context.temp_override(window=window, area=area, region=region):
        bpy.ops.bozzetto.drop_scan("EXEC_DEFAULT", directory=f"{JOB}/", files=scans)
        clicks += 1
        scene.bozzetto.output = "/pictures"
        started = time.perf_counter()
        bpy.ops.bozzetto.run_job("INVOKE_DEFAULT")
        clicks += 1
    first = picture = None
    pictures = ours("ui.pictures")
    while any(operator.bl_idname == "BOZZETTO_OT_run_job" for operator in window.modal_operators):
        if first is None and drawn:
            first = drawn[0][0] - started
            desk.shot("measure-first-picture")
            keep(seconds_to_first_picture=first, first_picture_pixels=drawn[0][1], step_ends=list(ends),
                 seconds_of_work=sum(stretch[0] for stretch in stretches), stretches=len(stretches))  # fmt: skip
        if picture is None and any(found.title != pictures.LOOK for found in pictures.pictures_of(scene)):
            picture = time.perf_counter() - started
            keep(seconds_to_first_still=picture)
            break
        yield
    operator._advance_for_a_while, operator._words, in_view._draw = advance, words, draw
    own = sorted((stretch for stretch in stretches if not stretch[2]), reverse=True)[:12]
    longest = own[0][0] if own else None
    busiest = max((stretch[3] for stretch in stretches if not stretch[2]), default=None)
    keep(clicks_to_picture=clicks, longest_block_s=longest, longest_block_cpu_s=busiest, longest_blocks=own)
    window.event_simulate(type="ESC", value="PRESS", x=window.width // 3, y=window.height // 2)
    while any(operator.bl_idname == "BOZZETTO_OT_run_job" for operator in window.modal_operators):
        yield


def redraw(desk: Any, keep: Callable[..., None]) -> Iterator[None]:
    """Our draw callbacks with all panels open, a finished job and three million triangles in the scene: ms of the processor's
    time a redraw, since what else runs on the machine is none of theirs."""
    window = desk.window
    bpy.ops.bozzetto.read_sheet(filepath=f"{JOB}/knob.toml")
    window.scene.bozzetto.output = "/pictures"
    window.scene.bozzetto.render.turntable = False
    bpy.ops.bozzetto.run_job()
    side = 1225  # 2 x 1224 x 1224 triangles: three million
    bpy.ops.mesh.primitive_grid_add(x_subdivisions=side, y_subdivisions=side, size=0.1)
    bpy.context.object.name = "Three million"
    bpy.context.object.location.x = 5.0
    spent = {"now": 0.0}
    shares: dict[str, float] = {}

    def timed(work: Any) -> Any:
        def run(*given: Any) -> Any:
            started = time.thread_time()
            try:
                return work(*given)
            finally:
                took = time.thread_time() - started
                spent["now"] += took
                name = type(given[0]).__name__.removesuffix("_open")
                shares[name] = shares.get(name, 0.0) + 1000.0 * took / REDRAWS

        return run

    panels, to_check = desk.open_panels(), ours("ui.to_check")
    refreshed = to_check.refreshed

    def wrap(draw: Any) -> Any:
        work = timed(draw)
        return lambda self, context: work(self, context)  # a function, since a panel's `draw` is bound to the panel

    panels.show("", wrap=wrap)
    to_check.refreshed = timed(refreshed)
    for _ in range(3):
        yield
    times = []
    shares.clear()
    _, _, ui = desk.view3d()
    for _ in range(REDRAWS):
        spent["now"] = 0.0
        ui.tag_redraw()
        yield
        if spent["now"]:
            times.append(1000.0 * spent["now"])
    to_check.refreshed = refreshed
    desk.shot("measure-all-open")
    panels.clear()
    bpy.data.objects.remove(bpy.data.objects["Three million"])
    most = dict(sorted(shares.items(), key=lambda entry: -entry[1])[:8])
    keep(redraw_ms=statistics.median(times) if times else None, redraws=len(times), redraw_shares_ms=most)
    yield
