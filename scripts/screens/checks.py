"""What the sessions by mouse check with: a tool begun by its real button, the scene before and after, undo and redo."""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable, Iterator
from typing import Any

import bpy
from by_hand import Hand, view_of, waited
from mathutils import Vector

MODULE = "bl_ext.user_default.bozzetto"
Step = Iterator[None]


class OneButton:
    """The tab with one button alone, so that it is known where it is: the panels are taken away meanwhile."""

    def __init__(self, operator: str, settings: dict[str, Any]):
        self.operator, self.settings = operator, settings
        self.panels = [
            cls for cls in importlib.import_module(f"{MODULE}.ui.panels").classes()
            if issubclass(cls, bpy.types.Panel) and cls.is_registered
        ]  # fmt: skip

    def __enter__(self) -> None:
        for cls in reversed(self.panels):
            bpy.utils.unregister_class(cls)
        chosen, settings = self.operator, self.settings

        def draw(self: Any, context: Any) -> None:
            row = self.layout.row()
            row.scale_y = 3.0
            button = row.operator(chosen)
            for name, value in settings.items():
                setattr(button, name, value)

        body = {
            "bl_label": "One button", "bl_idname": "BOZZETTO_PT_one_button", "bl_space_type": "VIEW_3D", "bl_region_type": "UI",
            "bl_category": "Bozzetto", "draw": draw,
        }  # fmt: skip
        self.own = type("BOZZETTO_PT_one_button", (bpy.types.Panel,), body)
        bpy.utils.register_class(self.own)

    def __exit__(self, *_: object) -> None:
        bpy.utils.unregister_class(self.own)
        for cls in self.panels:
            bpy.utils.register_class(cls)


def pressed(hand: Hand, operator: str, **settings: Any) -> Step:
    """Press the operator's button in the sidebar."""
    with OneButton(operator, settings):
        for _ in range(3):
            for area in hand.window.screen.areas:
                area.tag_redraw()
            yield
        area, _ = view_of(hand.window)
        tab = next(region for region in area.regions if region.type == "UI")
        yield from hand.click(tab.x + 0.4 * tab.width, tab.y + tab.height - 75)
        yield
    yield
    hand.log("pressed", operator, [found.bl_idname for found in hand.window.modal_operators])


def key(hand: Hand, kind: str) -> Step:
    """One key, pressed and let go, with the mouse where it was."""
    for value in ("PRESS", "RELEASE"):
        hand.window.event_simulate(type=kind, value=value, x=hand.at[0], y=hand.at[1])
        yield


def running(hand: Hand, operator: str) -> bool:
    """Whether a modal operator waits."""
    return any(found.bl_idname == operator for found in hand.window.modal_operators)


def state() -> str:
    """All that a tool may change, as words that can be compared: settings, objects and where they stand, pictures, the view."""
    sheet = importlib.import_module(f"{MODULE}.ui.on_screen").sheet_of(bpy.context.scene, _steps())
    settings = importlib.import_module(f"{MODULE}.job.sheet").written(sheet, _steps(), everything=True)
    objects = [
        (
            item.name,
            len(item.data.vertices) if item.type == "MESH" else 0,
            [[round(v, 6) for v in row] for row in item.matrix_basis],
        )
        for item in sorted(bpy.context.scene.objects, key=lambda item: item.name)
    ]
    masks = [(image.name, round(sum(image.pixels[:: max(4, 4 * (len(image.pixels) // 4000))]), 3)) for image in bpy.data.images
             if image.users and image.name.startswith("Debris")]  # fmt: skip
    turn = [
        [round(value, 6) for value in node.inputs["Rotation"].default_value]
        for world in bpy.data.worlds if world.node_tree for node in world.node_tree.nodes if node.label == "Turn"
    ]  # fmt: skip
    return json.dumps([settings, objects, masks, turn])


def _steps() -> Any:
    return importlib.import_module(f"{MODULE}.steps").catalogue()


def different(first: str, second: str) -> str:
    """Where two states differ, for the report."""
    was, now = json.loads(first), json.loads(second)
    lines = [f"{a} -> {b}" for a, b in zip(was[0].splitlines(), now[0].splitlines(), strict=False) if a != b][:3]
    objects = {row[0]: row for row in map(tuple, map(lambda row: (row[0], str(row)), was[1]))}
    lines += [row[0] for row in now[1] if objects.get(row[0], ("", ""))[1] != str(row)][:6]
    lines += [f"{a} -> {b}" for a, b in zip(was[2:], now[2:], strict=True) if a != b]
    return "; ".join(lines)[:400]


class Checks:
    """What held and what did not; all is reported, and the session fails at its end."""

    def __init__(self, log: Callable[..., None]):
        self.log, self.failed = log, []

    def that(self, name: str, held: bool, words: str = "") -> None:
        """Keep it."""
        self.log("holds" if held else "DOES NOT HOLD", name, words)
        if not held:
            self.failed.append(name)


def undo_point(hand: Hand) -> None:
    """An undo step of what the session itself changed, so that it is not taken back with a tool's work."""
    area, region = view_of(hand.window)
    with bpy.context.temp_override(window=hand.window, area=area, region=region):
        bpy.ops.ed.undo_push(message="before the tool")


def undo(hand: Hand, *, redo: bool = False) -> Step:
    """Ctrl-Z or Ctrl-Shift-Z, as Blender's own operators."""
    area, region = view_of(hand.window)
    with bpy.context.temp_override(window=hand.window, area=area, region=region):
        (bpy.ops.ed.redo if redo else bpy.ops.ed.undo)()
    for _ in range(2):
        yield


def tool(hand: Hand, checks: Checks, operator: str, use: Callable[[], Step], *, undone: bool = True, **settings: Any) -> Step:
    """A tool begun and left by Esc, begun and used, undone, done again. undone: whether it changes what an undo takes back."""
    name = operator.split(".")[1]
    idname = f"BOZZETTO_OT_{name}"
    undo_point(hand)
    before = state()
    yield from pressed(hand, operator, **settings)
    checks.that(f"{name}: its button begins it", running(hand, idname))
    yield from hand.move(*middle(hand.window))
    yield from key(hand, "ESC")
    for _ in range(2):
        yield
    checks.that(f"{name}: Esc ends it", not running(hand, idname))
    checks.that(f"{name}: Esc leaves the scene as it was", state() == before, different(before, state()))
    yield from pressed(hand, operator, **settings)
    yield from use()
    yield from waited(hand.window)
    for _ in range(2):
        yield
    after = state()
    yield from hand.shot(f"t-{name}-done")
    if not undone:
        return
    checks.that(f"{name}: it changes something", after != before, different(before, after))
    yield from undo(hand)
    checks.that(f"{name}: one undo takes it back", state() == before, different(before, state()))
    yield from undo(hand, redo=True)
    checks.that(f"{name}: redo brings it again", state() == after, different(after, state()))


def middle(window: Any) -> tuple[float, float]:
    """The middle of the view, left of the sidebar."""
    _, region = view_of(window)
    return region.x + 0.35 * region.width, region.y + 0.5 * region.height


def player(role: str) -> Any:
    """The object that plays a role."""
    return next(item for item in bpy.context.scene.objects if item.get("bozzetto_role") == role)


def corner(item: Any, x: int, y: int, z: int) -> Vector:
    """A corner of an object's box: each number 0 or 1."""
    box = [item.matrix_world @ Vector(place) for place in item.bound_box]
    return Vector([sorted(place[axis] for place in box)[-1 if end else 0] for axis, end in enumerate((x, y, z))])


def furthest(item: Any, way: Vector) -> Vector:
    """The vertex of an object that lies furthest in a direction, in the world."""
    return max((item.matrix_world @ vertex.co for vertex in item.data.vertices), key=way.dot)
