"""Runs inside the window's Blender after `drive.py`: what a person does with the mouse where the scan steps are unsure.

The front and a pose are chosen by their pictures, three pairs of points are clicked on the two scans, the stand is painted and
cut along the paint. Every click and stroke is a mouse event of the window; nothing is called in its place but what opens a
window or ends the painting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import bpy
from bpy_extras import view3d_utils
from mathutils import Euler, Matrix, Vector

Step = Iterator[None]


class Hand:
    """The mouse: x and y in the window's pixels from its lower left corner."""

    def __init__(self, window: Any, shot: Callable[[str], Step], log: Callable[..., None]):
        self.window, self.shot, self.log = window, shot, log
        self.at = (0, 0)

    def event(self, kind: str, value: str, x: float, y: float) -> None:
        """One event of the window."""
        self.at = (int(x), int(y))
        self.window.event_simulate(type=kind, value=value, x=int(x), y=int(y))

    def move(self, x: float, y: float) -> Step:
        """Move there, and let the window see it."""
        self.event("MOUSEMOVE", "NOTHING", x, y)
        yield

    def click(self, x: float, y: float) -> Step:
        """Move there, press, let go."""
        yield from self.move(x, y)
        self.event("LEFTMOUSE", "PRESS", x, y)
        yield
        self.event("LEFTMOUSE", "RELEASE", x, y)
        yield

    def stroke(self, way: list[tuple[float, float]]) -> Step:
        """Press at the first place, move along, let go at the last."""
        yield from self.move(*way[0])
        self.event("LEFTMOUSE", "PRESS", *way[0])
        for place in way:
            self.event("MOUSEMOVE", "NOTHING", *place)
            yield
        self.event("LEFTMOUSE", "RELEASE", *way[-1])
        yield


def view_of(window: Any) -> tuple[Any, Any]:
    """The largest 3D view and its main region."""
    area = max((a for a in window.screen.areas if a.type == "VIEW_3D"), key=lambda a: a.width * a.height)
    return area, next(region for region in area.regions if region.type == "WINDOW")


def pixel(window: Any, place: Vector) -> tuple[float, float]:
    """Where a place in the world is in the window."""
    area, region = view_of(window)
    spot = view3d_utils.location_3d_to_region_2d(region, area.spaces.active.region_3d, place)
    return region.x + spot.x, region.y + spot.y


def looking(window: Any, items: list[Any], tilt: float, turn: float) -> Step:
    """Look at some objects from there (radians)."""
    area, region = view_of(window)
    view = area.spaces.active.region_3d
    view.view_perspective, view.view_rotation = "ORTHO", Euler((tilt, 0.0, turn)).to_quaternion()
    area.spaces.active.clip_start = 0.001
    with bpy.context.temp_override(window=window, area=area, region=region):
        if bpy.context.mode == "OBJECT":
            bpy.ops.object.select_all(action="DESELECT")
            for item in items:
                item.select_set(True)
        bpy.ops.view3d.view_selected(use_all_regions=False)
    for _ in range(3):
        yield


def waited(window: Any) -> Step:
    """Until no job runs."""
    yield
    while any(operator.bl_idname == "BOZZETTO_OT_run_job" for operator in window.modal_operators):
        yield


def figures(step: str) -> dict[str, Any]:
    """What a step said of itself."""
    import sys

    alignment = sys.modules["bl_ext.user_default.bozzetto.ui.alignment"]
    return alignment.stage_of(bpy.context).results()[step]["figures"]


def asked(hand: Hand, operator: Any, **settings: Any) -> None:
    """Start an operator from the view, as its button does."""
    area, region = view_of(hand.window)
    with bpy.context.temp_override(window=hand.window, area=area, region=region):
        hand.log(operator.idname(), operator("INVOKE_DEFAULT", **settings))


def clicked_under(hand: Hand, operator: Any, name: str, done: Callable[[], bool]) -> Step:
    """Open a window of pictures and click on the button under the second one."""
    _, region = view_of(hand.window)
    x, y = region.x + 0.3 * region.width, region.y + 0.75 * region.height
    yield from hand.move(x, y)
    asked(hand, operator)
    yield
    yield from hand.shot(name)
    for down in range(80, 260, 10):  # clicks on the picture do nothing; how high it is drawn depends on the screen
        yield from hand.click(x + 290, y - down)
        if done():
            break
    else:
        raise AssertionError(f"{name}: no click met a button")
    yield from waited(hand.window)


def a_question_is_answered(hand: Hand) -> Step:
    """The list on top of the tab: the button under the second picture of the first question."""
    area, _ = view_of(hand.window)
    tab = next(region for region in area.regions if region.type == "UI")
    yield from hand.shot("7-to-check")
    x = tab.x + 0.62 * tab.width
    for down in range(90, 420, 10):  # clicks on words and pictures do nothing; how high they are depends on the screen
        yield from hand.click(x, tab.y + tab.height - down)
        if len(_settings().choices):
            break
    else:
        raise AssertionError("no click met an answer")
    yield from waited(hand.window)
    found = figures("registration")
    hand.log("answered", found["verdict_2"], "used", found["used_2"], [row.candidate for row in _settings().choices])
    if not found["used_2"]:
        raise AssertionError("the fit that was clicked is not used")
    yield from hand.shot("7-answered")
    _settings().choices.clear()


def a_pose_is_chosen(hand: Hand) -> Step:
    """The window of poses: the second one."""
    yield from clicked_under(hand, bpy.ops.bozzetto.choose_pose, "7-choose-pose", lambda: len(_settings().choices) > 0)
    found = figures("registration")
    hand.log("pose", found["verdict_2"], "used", found["used_2"], [row.candidate for row in _settings().choices])
    if not found["used_2"]:
        raise AssertionError("the pose that was clicked is not used")
    yield from hand.shot("7-pose-chosen")
    _settings().choices.clear()


def a_front_is_chosen(hand: Hand) -> Step:
    """The window of the six sides: the second one."""
    before = figures("orientation")["front_deg"]
    orientation = bpy.context.scene.bozzetto.orientation
    yield from clicked_under(hand, bpy.ops.bozzetto.choose_front, "7-choose-front", lambda: orientation.use_front)
    turned = (figures("orientation")["front_deg"] - before) % 360.0
    hand.log("front turned by", turned)
    if abs(turned - 60.0) > 1.0:
        raise AssertionError("the second of six sides lies 60 degrees on")
    yield from hand.shot("7-front-chosen")


def _settings() -> Any:
    return bpy.context.scene.bozzetto.registration


def pairs_are_clicked(hand: Hand, pairs: list[Any]) -> Step:
    """Three spots on the first scan and the same three on the further one, each a click; then the result.

    pairs: ((x, y, z) on the first, (x, y, z) on the further), each in its scan's own coordinates.
    """
    window = hand.window
    yield from looking(window, [item for item in bpy.data.objects if item.get("bozzetto_role") == "upright"], 0.6, 0.2)
    asked(hand, bpy.ops.bozzetto.mark_spots, scan="2")
    for _ in range(3):
        yield
    first, further = (bpy.data.objects[f"Pick on the {which} scan"] for which in ("first", "further"))
    upright = next(item for item in bpy.data.objects if item.get("bozzetto_role") == "upright")
    own = Matrix([upright["bozzetto_matrix"][4 * row : 4 * row + 4] for row in range(4)])
    for number, (start, end) in enumerate(pairs, 1):
        yield from hand.click(*pixel(window, first.matrix_world @ own @ Vector(start)))
        yield from hand.click(*pixel(window, further.matrix_world @ Vector(end)))
        if number < len(pairs):
            yield from hand.shot(f"8-pairs-{number}")
    yield from waited(window)
    found = figures("registration")
    hand.log("pairs", found["verdict_2"], found["reason_2"], "rms", found["rms_mm_2"])
    if "matching spots" not in found["reason_2"]:
        raise AssertionError("the clicks placed nothing")
    yield from hand.shot("8-pairs-placed")
    _settings().pairs.clear()


def the_stand_is_painted(hand: Hand, upright: Any, level: float) -> Step:
    """A white stroke round the foot of the piece, then the button: the cut must follow the paint."""
    window = hand.window
    with bpy.context.temp_override(window=window):
        bpy.ops.bozzetto.paint_stand()
    yield from looking(window, [upright], 1.35, 0.0)
    yield from hand.shot("9-paint-begun")
    corners = [upright.matrix_world @ Vector(corner) for corner in upright.bound_box]
    low = Vector([min(c[axis] for c in corners) for axis in range(3)])
    high = Vector([max(c[axis] for c in corners) for axis in range(3)])
    for side in range(4):
        yield from looking(window, [upright], 1.35, side * 1.5707963)
        for share in (0.1, 0.5, 0.85):
            middle = 0.5 * (low + high)
            across = window_across(window)
            way = []
            for step in range(13):
                place = middle + across * ((step / 6.0 - 1.0) * 0.6 * (high - low).length)
                place.z = low.z + share * level
                way.append(pixel(window, place))
            yield from hand.stroke(way)
    yield from hand.shot("9-painted")
    with bpy.context.temp_override(window=window):
        bpy.ops.bozzetto.paint_stand()
    yield from waited(window)
    found = figures("separation")
    hand.log("painted", found.get("top_mm"), "asked", 1000.0 * level)
    yield from hand.shot("9-cut-along-the-paint")


def window_across(window: Any) -> Vector:
    """The direction in the world that runs to the right in the view."""
    return view_of(window)[0].spaces.active.region_3d.view_rotation @ Vector((1.0, 0.0, 0.0))


def session(desk: Any) -> Step:
    """All of it, one after the other, on a job that ran until Registration. desk: what `drive.py` gives a session."""
    window, wanted = desk.window, desk.wanted["by_hand"]
    yield from desk.clicked()
    hand = Hand(window, desk.redrawn, desk.log)
    yield from a_question_is_answered(hand)
    yield from a_front_is_chosen(hand)
    with bpy.context.temp_override(window=window):
        bpy.ops.bozzetto.run_job(first="registration", last="registration")
    yield from a_pose_is_chosen(hand)
    yield from pairs_are_clicked(hand, wanted["pairs"])
    upright = next(item for item in bpy.data.objects if item.get("bozzetto_role") == "upright")
    yield from the_stand_is_painted(hand, upright, wanted["level_mm"] / 1000.0)
