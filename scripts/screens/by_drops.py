"""Runs inside the window's Blender for `by_tools.py`: files dragged by mouse into the view, trials left by Esc, a photo's wipe.

The files lie alone in a folder that a file browser of the window shows, so that it is known where each is.
"""

from __future__ import annotations

import importlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
from by_hand import Hand, view_of
from checks import MODULE, Checks, different, key, middle, pressed, running, state, undo, undo_point

Step = Iterator[None]


def browser(hand: Hand, folder: str) -> Step:
    """The properties' area as a file browser on a folder, sorted by name, one file a line."""
    area = next(area for area in hand.window.screen.areas if area.type in ("PROPERTIES", "FILE_BROWSER"))
    area.ui_type = "FILES"
    for _ in range(6):
        yield
        if area.spaces.active.params is not None:
            break
    shown = area.spaces.active.params
    shown.directory, shown.display_type, shown.use_filter = folder.encode(), "LIST_VERTICAL", False
    area.spaces.active.show_region_ui = area.spaces.active.show_region_toolbar = area.spaces.active.show_region_tool_props = (
        False
    )
    for _ in range(8):
        area.tag_redraw()
        yield


def dragged(hand: Hand, name: str) -> Step:
    """A file put alone into a folder, then dragged from the file browser into the middle of the view and let go."""
    folder = f"/scans/alone {len(os.listdir('/scans'))}"  # another one each time, since a browser keeps what it has read
    os.makedirs(folder)
    shutil.copy(name, folder)
    yield from browser(hand, folder)
    area = next(area for area in hand.window.screen.areas if area.type == "FILE_BROWSER")
    region = next(part for part in area.regions if part.type == "WINDOW")
    x, y = region.x + 60, region.y + region.height - 32
    u, v = middle(hand.window)
    yield from hand.move(x, y)
    yield
    hand.event("LEFTMOUSE", "PRESS", x, y)
    yield
    for share in (0.02, 0.06, 0.2, 0.5, 0.8, 1.0, 1.0):
        hand.event("MOUSEMOVE", "NOTHING", x + share * (u - x), y + share * (v - y))
        yield
    yield from hand.shot(f"t-drag-{Path(name).stem}-held".replace(" ", "-"))
    hand.event("LEFTMOUSE", "RELEASE", u, v)
    for _ in range(4):
        yield


def clicked_below(hand: Hand, done: Any, *, columns: tuple[int, ...] = (0, 60, 120)) -> Step:
    """Click below the mouse until something is done: how far a dialog's button is depends on the screen."""
    x, y = middle(hand.window)
    for across in columns:
        for down in range(40, 130, 6):
            if done():
                return
            yield from hand.click(x + across, y - down)


def other_look(hand: Hand, path: str) -> str:
    """Write a sheet with another material than the job's, which keeps its own; the other material."""
    job = bpy.context.scene.bozzetto
    was = job.material.piece
    other = "wax" if was != "wax" else "stone"
    job.material.piece = other
    bpy.ops.bozzetto.write_sheet(filepath=path)
    job.material.piece = was
    undo_point(hand)
    return other


def taken(hand: Hand, checks: Checks, way: str, other: str, scan: str) -> Step:
    """The dialog's button pressed: the look is that of the sheet, and the scan stays.

    way: how the sheet came, for the checks' words. other: its material. scan: the job's scan file.
    """
    yield from clicked_below(hand, lambda: bpy.context.scene.bozzetto.material.piece == other)
    job = bpy.context.scene.bozzetto
    checks.that(f"{way} of a look: a click takes it", job.material.piece == other, job.material.piece)
    checks.that(f"{way} of a look: the scan stays", job.intake.scans[0].file == scan)
    yield from hand.shot(f"t-{way}-taken")


def drag(hand: Hand, checks: Checks) -> Step:
    """A look, then a scan, dragged from a file browser: each is asked about, left by Esc, then used, and undone."""
    path, scan = "/shots/out/other look.toml", bpy.context.scene.bozzetto.intake.scans[0].file
    other, before = other_look(hand, path), state()
    yield from dragged(hand, path)
    yield from hand.shot("t-drag-look-asked")
    yield from key(hand, "ESC")
    yield
    checks.that("drag of a look: Esc leaves the scene as it was", state() == before, different(before, state()))
    yield from dragged(hand, path)
    yield from taken(hand, checks, "drag", other, scan)
    yield from undo(hand)
    checks.that("drag of a look: one undo takes it back", state() == before, different(before, state()))
    yield from undo(hand, redo=True)
    checks.that("drag of a look: redo brings it", bpy.context.scene.bozzetto.material.piece == other)
    yield from undo(hand)
    yield from dragged(hand, "/scans/stand_bare.obj")
    yield from hand.shot("t-drag-scan-asked")
    yield from key(hand, "ESC")
    yield from key(hand, "ESC")
    yield
    checks.that("drag of a scan: Esc leaves the scene as it was", state() == before, different(before, state()))
    area = next(area for area in hand.window.screen.areas if area.type == "FILE_BROWSER")
    area.ui_type = "PROPERTIES"
    yield


def trials(hand: Hand, checks: Checks) -> Step:
    """Esc while a trial is rendered: the render can't be split, so the key waits for it, and then nothing is shown."""
    trial = importlib.import_module(f"{MODULE}.ui.looks.relief")
    try_shot, rendered = trial.try_shot, []

    def with_esc(*given: Any, **how: Any) -> None:
        rendered.append(1)
        for value in ("PRESS", "RELEASE"):  # as a person presses it while the picture is rendered
            hand.window.event_simulate(type="ESC", value=value, x=hand.at[0], y=hand.at[1])
        try_shot(*given, **how)

    yield from hand.move(*middle(hand.window))
    undo_point(hand)
    before, kept = state(), trial.try_shot
    trial.try_shot = with_esc
    yield from pressed(hand, "bozzetto.relief_wipe")
    checks.that("trial: its button begins it", running(hand, "BOZZETTO_OT_relief_wipe") or bool(rendered))
    for _ in range(600):
        yield
        if rendered and not running(hand, "BOZZETTO_OT_relief_wipe"):
            break
    trial.try_shot = kept
    for _ in range(4):
        yield
    checks.that("trial: Esc ends it after the picture in progress", len(rendered) == 1, f"{len(rendered)} rendered")
    checks.that("trial: no comparison is opened", not running(hand, "BOZZETTO_OT_wipe"))
    checks.that("trial: the scene is as it was", state() == before, different(before, state()))
    yield from hand.shot("t-trial-stopped")


def photo(hand: Hand, checks: Checks) -> Step:
    """A reference photo beside its render, where the job has one: under the line, side by side, and away."""
    files = importlib.import_module(f"{MODULE}.scene.reference.files")
    found = files.compared_in(bpy.context.scene, Path("/pictures"))
    if not found:
        hand.log("no reference photo in this job")
        return
    before = state()
    name, pair = found[0]
    words = {"left_words": "The photo", "right_words": "The render, in its light"}
    yield from pressed(hand, "bozzetto.wipe", left=str(pair.photo), right=str(pair.render), **words)
    checks.that("photo: its button begins the wipe", running(hand, "BOZZETTO_OT_wipe"), name)
    x, y = middle(hand.window)
    for place, share in enumerate((-0.15, 0.1), 1):
        yield from hand.move(x + share * view_of(hand.window)[1].width, y)
        for _ in range(3):
            yield
        yield from hand.shot(f"t-photo-line-{place}")
    yield from key(hand, "S")
    for _ in range(2):
        yield
    yield from hand.shot("t-photo-beside")
    yield from key(hand, "ESC")
    yield
    checks.that("photo: Esc ends it", not running(hand, "BOZZETTO_OT_wipe"))
    checks.that("photo: the scene is as it was", state() == before, different(before, state()))


PARTS = {"drag": drag, "trials": trials, "photo": photo}
