"""Runs inside the window's Blender after `drive.py`: the pictures of the README's tour, on a job that was run to its pictures.

The tab after one click with the view through the hero in its light, the lens, the light's dial, the relief before and after.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from typing import Any

import bpy
from by_hand import Hand, view_of, waited
from checks import MODULE, key, middle, pressed, running

Step = Iterator[None]
MOMENTS = 150
"""Ticks of the driver in which the view renders; software drawing leaves it little."""


def lit(hand: Hand) -> Step:
    """Through the first shot, rendered, for some time."""
    importlib.import_module(f"{MODULE}.ui.pictures").show_first_shot(hand.window, lit=True)
    area, _ = view_of(hand.window)
    bpy.ops.object.select_all(action="DESELECT")
    area.spaces.active.shading.use_compositor = "DISABLED"
    bpy.context.scene.cycles.preview_samples = 24
    for _ in range(MOMENTS):
        yield


def tab(hand: Hand, desk: Any) -> Step:
    """What is seen after one click."""
    yield from lit(hand)
    yield from hand.shot("tour-tab")


def lens(hand: Hand, desk: Any) -> Step:
    """The sharp zone and the lens's panel."""
    area, _ = view_of(hand.window)
    panels = desk.open_panels()
    importlib.import_module(f"{MODULE}.ui.pictures").show_first_shot(hand.window, lit=False)
    area.spaces.active.shading.type = "SOLID"
    bpy.context.window_manager.bozzetto_show_sharp = True
    panels.show("shots", "lens")
    for _ in range(4):
        yield
    yield from hand.shot("tour-lens")
    panels.clear()
    bpy.context.window_manager.bozzetto_show_sharp = False
    yield


def dial(hand: Hand, desk: Any) -> Step:
    """The light held at its mark."""
    yield from lit(hand)
    yield from pressed(hand, "bozzetto.light_dial")
    x, y = middle(hand.window)
    ring = 0.3 * min(view_of(hand.window)[1].width, view_of(hand.window)[1].height)
    yield from hand.move(x - ring, y)
    hand.event("LEFTMOUSE", "PRESS", x - ring, y)
    hand.event("MOUSEMOVE", "NOTHING", x - 0.8 * ring, y - 0.6 * ring)
    for _ in range(MOMENTS // 2):
        yield
    yield from hand.shot("tour-dial")
    yield from key(hand, "ESC")
    hand.event("LEFTMOUSE", "RELEASE", x - ring, y)
    yield


def wipe(hand: Hand, desk: Any) -> Step:
    """The relief before and after, under the line."""
    view_of(hand.window)[0].spaces.active.shading.type = "SOLID"
    yield from pressed(hand, "bozzetto.relief_wipe")
    while not running(hand, "BOZZETTO_OT_wipe"):
        yield
    yield from hand.move(*middle(hand.window))
    for _ in range(3):
        yield
    yield from hand.shot("tour-wipe")
    yield from key(hand, "ESC")
    yield from waited(hand.window)


PARTS = {"tab": tab, "lens": lens, "dial": dial, "wipe": wipe}


def session(desk: Any) -> Step:
    """All of it, or what is asked for. desk: what `drive.py` gives a session."""
    yield from desk.clicked()
    hand = Hand(desk.window, desk.redrawn, desk.log)
    for name, part in PARTS.items():
        if not desk.wanted["tour"] or name in desk.wanted["tour"]:
            yield from part(hand, desk)
