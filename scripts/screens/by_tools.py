"""Runs inside the window's Blender after `drive.py`: each tool of the view by mouse, left by Esc, used, undone, done again.

Every tool is begun by a press on a real button in the sidebar. What must hold is checked after each: Esc leaves the scene as it
was, one click is one undo step, undo takes all of it back and redo brings it again.
"""

from __future__ import annotations

import importlib
import traceback
from collections.abc import Iterator
from typing import Any

import bpy
import by_drops
import by_scenes
from by_hand import Hand, asked, looking, pixel, view_of, waited
from checks import (
    MODULE,
    Checks,
    corner,
    different,
    furthest,
    key,
    middle,
    player,
    pressed,
    running,
    state,
    tool,
    undo,
    undo_point,
)
from mathutils import Vector

Step = Iterator[None]


def points(hand: Hand, checks: Checks) -> Step:
    """A point with snap and read-out: near a corner of the stand it is caught, on the piece it is not."""
    hidden = [item for item in bpy.context.scene.objects if item.get("bozzetto_role") not in ("piece", "stand")]
    hidden = [item for item in hidden if not item.hide_get()]
    for item in hidden:
        item.hide_set(True)
    yield from looking(hand.window, [player("piece"), player("stand")], 0.9, 0.6)
    bpy.ops.object.select_all(action="DESELECT")
    stand = player("stand")
    spot = furthest(stand, Vector((1.0, -1.0, 0.6)))

    def use() -> Step:
        x, y = pixel(hand.window, spot)
        yield from hand.move(x - 5, y - 2)
        for _ in range(2):
            yield
        yield from hand.shot("t-pick_point-caught")
        yield from hand.click(x - 5, y - 2)

    settings = {"group": "bozzetto.orientation", "field": "point_a"}
    yield from tool(hand, checks, "bozzetto.pick_point", use, **settings)
    module = importlib.import_module(f"{MODULE}.ui.hands.pick_point")
    picking = importlib.import_module(f"{MODULE}.scene.scan.pair_picking")
    scan = module.scan_of(bpy.context, settings["group"], "point_a")
    found = picking.world_place(scan, bpy.context.scene.bozzetto.orientation.point_a)
    off = 1000.0 * (found - spot).length  # a scan's corners are rounded by about a millimetre
    checks.that("pick_point: the corner is caught", off < 1.0, f"{off:.3f} mm off")
    yield from pressed(hand, "bozzetto.pick_point", group="bozzetto.orientation", field="point_b")
    yield from hand.move(*pixel(hand.window, corner(player("piece"), 0, 0, 1).lerp(corner(player("piece"), 1, 1, 0), 0.45)))
    for _ in range(2):
        yield
    yield from hand.shot("t-pick_point-distance")
    yield from key(hand, "ESC")
    bpy.context.scene.bozzetto.orientation.use_point_a = False
    for name in [item.name for item in bpy.context.scene.objects if item.hide_get()]:
        bpy.context.scene.objects[name].hide_set(False)


def overlays(hand: Hand, checks: Checks) -> Step:
    """Line to the stand, what it stands on, what is kept free, the sharp zone: each alone, then all."""
    manager = bpy.context.window_manager
    around = [item for item in bpy.context.scene.objects if item.get("bozzetto_role") not in ("piece", "stand", "table")]
    hidden = [item for item in around if not item.hide_get()]
    for item in hidden:
        item.hide_set(True)
    names = {"line": (1.1, 0.4), "support": (2.4, 0.4), "keep_out": (0.7, 0.5), "sharp": (1.2, 0.5)}
    for name, view in names.items():
        items = [player("piece"), player("stand")]
        if name == "support":
            player("table").hide_set(True)
        yield from looking(hand.window, items, *view)
        if name == "keep_out":
            area, _ = view_of(hand.window)
            area.spaces.active.region_3d.view_distance *= 2.5
        bpy.ops.object.select_all(action="DESELECT")
        setattr(manager, f"bozzetto_show_{name}", True)
        yield
        yield from hand.shot(f"t-overlay-{name}")
        setattr(manager, f"bozzetto_show_{name}", False)
        player("table").hide_set(False)
    for item in hidden:
        item.hide_set(False)
    yield


def dial(hand: Hand, checks: Checks) -> Step:
    """The light turned by the ring's mark, looked at on the way."""
    yield from through_camera(hand)
    before = bpy.context.scene.bozzetto.lighting.turn

    def use() -> Step:
        x, y = middle(hand.window)
        ring = 0.3 * min(view_of(hand.window)[1].width, view_of(hand.window)[1].height)
        yield from hand.move(x, y - ring)
        hand.event("LEFTMOUSE", "PRESS", x, y - ring)
        for part in range(1, 6):
            hand.event("MOUSEMOVE", "NOTHING", x + part / 5 * ring, y - (1 - part / 5) * ring)
            yield
        yield
        yield from hand.shot("t-light_dial-held")
        hand.event("LEFTMOUSE", "RELEASE", x + ring, y)
        yield

    yield from tool(hand, checks, "bozzetto.light_dial", use)
    hand.log("turn", before, "->", bpy.context.scene.bozzetto.lighting.turn)


def through_camera(hand: Hand) -> Step:
    """Look through the first shot."""
    pictures = importlib.import_module(f"{MODULE}.ui.pictures")
    pictures.show_first_shot(hand.window, lit=False)
    for _ in range(3):
        yield


def crop(hand: Hand, checks: Checks) -> Step:
    """A box over the head of the piece in the first shot."""
    yield from through_camera(hand)

    def use() -> Step:
        piece = player("piece")
        x, y = pixel(hand.window, corner(piece, 0, 0, 1))
        u, v = pixel(hand.window, 0.5 * (corner(piece, 1, 1, 1) + corner(piece, 1, 1, 0)))
        way = [(x + (u - x) * share, y + (v - y) * share) for share in (0.0, 0.5, 1.0)]
        yield from hand.move(*way[0])
        hand.event("LEFTMOUSE", "PRESS", *way[0])
        for place in way[1:]:
            hand.event("MOUSEMOVE", "NOTHING", *place)
            yield
        yield from hand.shot("t-crop_box-held")
        hand.event("LEFTMOUSE", "RELEASE", *way[-1])
        yield

    yield from tool(hand, checks, "bozzetto.crop_box", use)


def brush(hand: Hand, checks: Checks) -> Step:
    """A stroke of debris over the table, one dropped by Esc, two in a row undone one by one."""
    yield from through_camera(hand)
    undo_point(hand)
    before = state()
    yield from pressed(hand, "bozzetto.debris_brush")
    checks.that("debris_brush: its button begins it", running(hand, "BOZZETTO_OT_debris_brush"))
    x = middle(hand.window)[0]
    _, region = view_of(hand.window)
    low = region.y + 0.3 * region.height
    yield from hand.move(x - 100, low)
    hand.event("LEFTMOUSE", "PRESS", x - 100, low)
    for part in range(6):
        hand.event("MOUSEMOVE", "NOTHING", x - 100 + 30 * part, low)
        yield
    yield from hand.shot("t-debris_brush-held")
    yield from key(hand, "ESC")
    hand.event("LEFTMOUSE", "RELEASE", x, low)
    yield
    checks.that("debris_brush: Esc drops the stroke in hand", state() == before, different(before, state()))
    checks.that("debris_brush: and goes on", running(hand, "BOZZETTO_OT_debris_brush"))
    states = [before]
    for place in (0, 1):
        yield from hand.stroke([(x - 100 + 30 * part, low + 40 * place) for part in range(6)])
        yield from waited(hand.window)
        yield
        states.append(state())
        checks.that(f"debris_brush: stroke {place + 1} changes something", states[-1] != states[-2], different(*states[-2:]))
    yield from key(hand, "ESC")
    yield
    checks.that("debris_brush: Esc ends it", not running(hand, "BOZZETTO_OT_debris_brush"))
    yield from hand.shot("t-debris_brush-done")
    for place in (1, 0):
        yield from undo(hand)
        checks.that(
            f"debris_brush: an undo takes stroke {place + 1} back", state() == states[place], different(states[place], state())
        )
    for place in (1, 2):
        yield from undo(hand, redo=True)
        checks.that(f"debris_brush: redo brings stroke {place}", state() == states[place], different(states[place], state()))


def view_shot(hand: Hand, checks: Checks) -> Step:
    """A shot of what the view shows."""
    yield from looking(hand.window, [player("piece")], 1.2, 0.7)
    undo_point(hand)
    before = state()
    yield from pressed(hand, "bozzetto.shot_from_view")
    yield from waited(hand.window)
    for _ in range(2):
        yield
    after = state()
    checks.that("shot_from_view: it adds a shot", after != before, different(before, after))
    yield from undo(hand)
    checks.that("shot_from_view: one undo takes it back", state() == before, different(before, state()))


def wipe(hand: Hand, checks: Checks) -> Step:
    """The relief before and after under the line, side by side, and away."""
    yield from through_camera(hand)
    before = state()
    yield from pressed(hand, "bozzetto.relief_wipe")
    for _ in range(600):
        yield
        if running(hand, "BOZZETTO_OT_wipe"):
            break
    checks.that("relief_wipe: the two pictures come", running(hand, "BOZZETTO_OT_wipe"))
    x, y = middle(hand.window)
    yield from hand.move(x, y)
    for _ in range(2):
        yield
    yield from hand.shot("t-wipe-line")
    yield from key(hand, "S")
    for _ in range(2):
        yield
    yield from hand.shot("t-wipe-beside")
    yield from key(hand, "ESC")
    yield
    checks.that("relief_wipe: Esc ends it", not running(hand, "BOZZETTO_OT_wipe"))
    checks.that("relief_wipe: the scene is as it was", state() == before, different(before, state()))


def looks(hand: Hand, checks: Checks) -> Step:
    """A look kept, the material changed, the two compared, the kept one taken again."""
    yield from pressed(hand, "bozzetto.keep_look")
    while running(hand, "BOZZETTO_OT_keep_look"):
        yield
    kept = importlib.import_module(f"{MODULE}.ui.looks.kept")
    found = kept.looks_of(bpy.context.scene)
    checks.that("keep_look: sheet and picture are there", len(found) == 1)
    before = bpy.context.scene.bozzetto.material.piece
    yield from pressed(hand, "bozzetto.set_material", sample=8)
    yield from waited(hand.window)
    now = bpy.context.scene.bozzetto.material.piece
    checks.that("set_material: another material", now != before, f"{before} -> {now}")
    yield from pressed(hand, "bozzetto.compare_look", filepath=str(found[0][0]))
    for _ in range(600):
        yield
        if running(hand, "BOZZETTO_OT_wipe"):
            break
    yield from hand.move(*middle(hand.window))
    yield
    yield from key(hand, "S")
    for _ in range(2):
        yield
    yield from hand.shot("t-looks-beside")
    yield from key(hand, "ESC")
    yield
    yield from pressed(hand, "bozzetto.take_look", filepath=str(found[0][0]))
    yield from waited(hand.window)
    checks.that("take_look: the kept material", bpy.context.scene.bozzetto.material.piece == before)


def stop(hand: Hand, checks: Checks) -> Step:
    """A run stopped by Esc while its step works: the scene is as it was."""
    undo_point(hand)
    before = state()
    yield from pressed(hand, "bozzetto.run_job", first="lighting", last="lighting")
    checks.that("run_job: its button begins it", running(hand, "BOZZETTO_OT_run_job"))
    yield from hand.shot("t-run_job-running")
    yield from hand.move(*middle(hand.window))
    yield from key(hand, "ESC")
    for _ in range(40):
        yield
        if not running(hand, "BOZZETTO_OT_run_job"):
            break
    checks.that("run_job: Esc ends it", not running(hand, "BOZZETTO_OT_run_job"))
    checks.that("run_job: Esc leaves the scene as it was", state() == before, different(before, state()))
    yield from pressed(hand, "bozzetto.run_job", first="debris", last="debris", afresh=True)
    yield from waited(hand.window)
    yield
    yield from undo(hand)
    checks.that("run_job: one undo takes a run back", state() == before, different(before, state()))


def drop(hand: Hand, checks: Checks) -> Step:
    """A scan and a job's sheet dropped into a job that has its scan: asked, and left by Esc."""
    before = state()
    for name, files in (("scan", ["stand_bare.obj"]), ("look", ["owl.toml"])):
        yield from hand.move(*middle(hand.window))
        asked(hand, bpy.ops.bozzetto.drop_scan, directory="/scans/", files=[{"name": file} for file in files])
        for _ in range(3):
            yield
        yield from hand.shot(f"t-drop-{name}")
        yield from key(hand, "ESC")
        for _ in range(2):
            yield
        checks.that(f"drop of a {name}: Esc leaves the scene as it was", state() == before, different(before, state()))
    yield from look_taken(hand, checks)


def look_taken(hand: Hand, checks: Checks) -> Step:
    """A job's sheet dropped, and its look taken by a click on the dialog's button; one undo takes it back."""
    was, scan = bpy.context.scene.bozzetto.material.piece, bpy.context.scene.bozzetto.intake.scans[0].file
    other = by_drops.other_look(hand, "/shots/out/other look.toml")
    yield from hand.move(*middle(hand.window))
    asked(hand, bpy.ops.bozzetto.drop_scan, directory="/shots/out/", files=[{"name": "other look.toml"}])
    for _ in range(3):
        yield
    yield from by_drops.taken(hand, checks, "drop", other, scan)
    yield from undo(hand)
    job = bpy.context.scene.bozzetto
    checks.that("drop of a look: one undo takes it back", job.material.piece == was, job.material.piece)


PARTS = {
    "points": points, "overlays": overlays, "dial": dial, "crop": crop, "brush": brush, "view_shot": view_shot, "wipe": wipe,
    "looks": looks, "stop": stop, "drop": drop, **by_drops.PARTS, **by_scenes.PARTS,
}  # fmt: skip


def session(desk: Any) -> Step:
    """All tools, or those that are asked for, on a job that ran until Lighting. desk: what `drive.py` gives a session."""
    yield from desk.clicked()
    hand, checks = Hand(desk.window, desk.redrawn, desk.log), Checks(desk.log)
    for name, part in PARTS.items():
        if not desk.wanted["tools"] or name in desk.wanted["tools"]:
            hand.log("tool", name)
            try:
                yield from part(hand, checks)
            except Exception as error:  # the other tools are tried all the same
                checks.that(
                    f"{name}: {traceback.format_exception_only(error)[-1].strip()}", False, traceback.format_exc(limit=-2)
                )
                yield from key(hand, "ESC")
    if checks.failed:
        raise AssertionError(f"{len(checks.failed)} did not hold: {'; '.join(checks.failed)}")
