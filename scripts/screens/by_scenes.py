"""Runs inside the window's Blender for `by_tools.py`: what becomes of a job in a file that is worked in.

Scenes copied, renamed and deleted, linked duplicates, deleted parts, another file opened while the job runs.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy
from by_hand import Hand, asked, view_of, waited
from checks import Checks, different, key, middle, player, running, state, undo, undo_point

Step = Iterator[None]


def called(hand: Hand, operator: Any, **settings: Any) -> Any:
    """An operator of Blender's own, from the view."""
    area, region = view_of(hand.window)
    with bpy.context.temp_override(window=hand.window, area=area, region=region):
        return operator(**settings)


def rested(hand: Hand) -> Step:
    """The window drawn again, the tab with it."""
    for _ in range(3):
        for area in hand.window.screen.areas:
            area.tag_redraw()
        yield


def run_part(hand: Hand, step: str) -> Step:
    """One step run as its button does; not by the button itself, which would keep the properties of one drawn there before."""
    asked(hand, bpy.ops.bozzetto.run_job, first=step, last=step)
    yield from waited(hand.window)
    yield from rested(hand)


def copied_scenes(hand: Hand, checks: Checks) -> Step:
    """A scene copied in Blender's two ways: what runs in the copy leaves the first one as it was, and it can be deleted."""
    first, before = hand.window.scene, state()
    for kind in ("FULL_COPY", "LINK_COPY"):
        called(hand, bpy.ops.scene.new, type=kind)
        checks.that(f"scenes: {kind} is another scene", hand.window.scene != first)
        yield from rested(hand)
        yield from run_part(hand, "moves")
        yield from hand.shot(f"t-scene-{kind.lower()}")
        copy = hand.window.scene
        hand.window.scene = first
        yield from rested(hand)
        checks.that(f"scenes: {kind} leaves the first one as it was", state() == before, different(before, state()))
        bpy.data.scenes.remove(copy)
        yield from rested(hand)
        checks.that(f"scenes: it is as it was without {kind}", state() == before, different(before, state()))


def renamed_things(hand: Hand, checks: Checks) -> Step:
    """Scene, piece and a prop under names of the user's: they keep them, and nothing is made twice."""
    undo_point(hand)
    scene, piece = bpy.context.scene, player("piece")
    was, count = scene.name, len(scene.objects)
    scene.name, piece.name = "Spring 名", "Owl of mine"
    yield from run_part(hand, "debris")
    checks.that("renamed: the piece keeps its name", player("piece").name == "Owl of mine", player("piece").name)
    checks.that("renamed: nothing is made twice", len(bpy.context.scene.objects) == count, f"{count}")
    bpy.context.scene.name = was
    player("piece").name = "Piece"


def duplicated_piece(hand: Hand, checks: Checks) -> Step:
    """A linked duplicate of a prop is the user's: it stays where it was put, and the prop is no second one."""
    undo_point(hand)
    prop = player("prop")
    bpy.ops.object.select_all(action="DESELECT")
    prop.select_set(True)
    bpy.context.view_layer.objects.active = prop
    called(hand, bpy.ops.object.duplicate_move_linked)
    copy = bpy.context.view_layer.objects.active
    copy.location.x += 0.3
    name, place, count = copy.name, tuple(copy.location), len(bpy.context.scene.objects)
    yield from run_part(hand, "tabletop")
    found = bpy.context.scene.objects.get(name)
    checks.that("linked duplicate: it stays", found is not None and tuple(found.location) == place)
    checks.that("linked duplicate: nothing else is doubled", len(bpy.context.scene.objects) == count)
    if found is not None:
        bpy.data.objects.remove(found)
    yield from rested(hand)


def deleted_parts(hand: Hand, checks: Checks) -> Step:
    """A prop that was deleted stays away; without the piece the tab says what to do; undo brings it back."""
    undo_point(hand)
    before = state()
    name = player("prop").name
    bpy.data.objects.remove(bpy.data.objects[name])
    undo_point(hand)
    yield from run_part(hand, "tabletop")
    checks.that("deleted: the prop stays away", name not in bpy.context.scene.objects, name)
    bpy.data.objects.remove(player("piece"))
    undo_point(hand)
    yield from rested(hand)
    yield from run_part(hand, "lighting")
    words = bpy.context.scene.bozzetto.failed_words
    checks.that("deleted: without the piece a step says what to do", "Separation" in words, words)
    yield from hand.shot("t-deleted-piece")
    yield from run_part(hand, "separation")
    back = [item.name for item in bpy.context.scene.objects if item.get("bozzetto_role") == "piece"]
    checks.that("deleted: what it said brings the piece back", bool(back), bpy.context.scene.bozzetto.failed_words)
    for _ in range(12):
        if state() == before:
            break
        yield from undo(hand)
    checks.that("deleted: undo brings all of it back", state() == before, different(before, state()))


def another_file(hand: Hand, checks: Checks) -> Step:
    """The file saved and opened again while the job runs: the run is gone, the tab is drawn, and it runs again."""
    path = "/shots/out/mid.blend"
    bpy.ops.wm.save_as_mainfile(filepath=path, check_existing=False)
    before = state()
    asked(hand, bpy.ops.bozzetto.run_job, first="tabletop", last="lighting")
    yield
    checks.that("another file: the job runs", running(hand, "BOZZETTO_OT_run_job"))
    bpy.ops.wm.open_mainfile(filepath=path, load_ui=False)
    hand.window = bpy.context.window_manager.windows[0]
    yield from rested(hand)
    checks.that("another file: the run is gone", not running(hand, "BOZZETTO_OT_run_job"))
    checks.that("another file: it is as it was saved", state() == before, different(before, state()))
    yield from run_part(hand, "moves")
    yield from hand.move(*middle(hand.window))
    yield from key(hand, "ESC")
    yield from hand.shot("t-opened-again")


PARTS = {
    "copied_scenes": copied_scenes, "renamed": renamed_things, "duplicated": duplicated_piece, "deleted": deleted_parts,
    "another_file": another_file,
}  # fmt: skip
