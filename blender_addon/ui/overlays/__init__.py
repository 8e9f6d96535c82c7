"""Draws over the 3D view: lines on and round the subject, and the lens's read-out.

Each kind is switched on in Blender's own Overlays menu and in the panel of the step that it belongs to.
"""

from __future__ import annotations

from collections.abc import Callable

import bpy

from ...core.records import record
from .drawn_lines import Batch, Lines, State, batches, draw_batches
from .sharp_zone import SHOWN, draw_read_out, read_out_of, zone
from .subject_lines import keep_out, stand_line, support

__all__ = ["LAYERS", "SHOWN", "Layer", "draw_switches", "read_out_of", "register", "unregister"]

_SLOT = "bozzetto_overlay"


@record
class Layer:
    """One kind of lines. switch: its property on the window manager. label and help: of the switch. makes: the role of what
    the step makes in whose part of the panel the switch stands, '' for none. state(scene): what the lines depend on, None where
    there is nothing to show. lines(scene): the lines."""

    switch: str
    label: str
    help: str
    makes: str
    state: Callable[[bpy.types.Scene], State | None]
    lines: Callable[[bpy.types.Scene], Lines]


LAYERS = (
    Layer(SHOWN, "Sharp zone of the shot", "Show where the lens is sharp on the piece", "", *zone),
    Layer("bozzetto_show_support", "What it stands on", "Outline the spots on which the subject rests", "upright", *support),
    Layer("bozzetto_show_line", "Line to the stand", "Draw the line between piece and stand", "piece", *stand_line),
    Layer(
        "bozzetto_show_keep_out", "Kept free for the shots",
        "Hatch what of the table props and debris leave free, because a shot looks across it", "shot", *keep_out,
    ),
)  # fmt: skip


class Overlays:
    """Draws the layers that are switched on; caches the lines of each until its state changes."""

    def __init__(self) -> None:
        self._handles: list[object] = []
        self._kept: dict[str, tuple[State, list[Batch]]] = {}

    def start(self) -> None:
        """Add Blender's draw handlers."""
        for draw, kind in ((self.draw_lines, "POST_VIEW"), (draw_read_out, "POST_PIXEL")):
            self._handles.append(bpy.types.SpaceView3D.draw_handler_add(draw, (), "WINDOW", kind))

    def stop(self) -> None:
        """Remove the draw handlers."""
        for handle in self._handles:
            bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
        self._handles, self._kept = [], {}

    def draw_lines(self) -> None:
        """Draw the lines of all layers that are switched on."""
        manager, scene = bpy.context.window_manager, bpy.context.scene
        for layer in LAYERS:
            if not getattr(manager, layer.switch, False):
                continue
            state = layer.state(scene)
            if state is None:
                continue
            held = self._kept.get(layer.switch)
            if held is None or held[0] != state:
                held = self._kept[layer.switch] = state, batches(layer.lines(scene))
            draw_batches(held[1])


def draw_switches(layout: bpy.types.UILayout, context: bpy.types.Context, *, makes: str) -> None:
    """Draw the switches of the layers that belong to the step that makes a role, where there is something to show."""
    for layer in LAYERS:
        if layer.makes == makes and makes and layer.state(context.scene) is not None:
            row = layout.row()
            row.use_property_split = False  # the words need the whole width
            row.prop(context.window_manager, layer.switch)


def _draw_menu(self: bpy.types.Panel, context: bpy.types.Context) -> None:
    """Draw all switches in Blender's Overlays menu."""
    for layer in LAYERS:
        self.layout.prop(context.window_manager, layer.switch)


def register() -> None:
    """Add the switches and the drawing."""
    for layer in LAYERS:
        setattr(bpy.types.WindowManager, layer.switch, bpy.props.BoolProperty(name=layer.label, description=layer.help))
    bpy.types.VIEW3D_PT_overlay.append(_draw_menu)
    overlays = Overlays()
    overlays.start()
    # Kept on Blender's own type: a module holds no state, and 4.5 hangs at exit once the drivers' namespace was touched.
    setattr(bpy.types.WindowManager, _SLOT, overlays)


def unregister() -> None:
    """Remove the switches and the drawing."""
    overlays = getattr(bpy.types.WindowManager, _SLOT, None)
    if overlays is not None:
        overlays.stop()
        delattr(bpy.types.WindowManager, _SLOT)
    bpy.types.VIEW3D_PT_overlay.remove(_draw_menu)
    for layer in LAYERS:
        if hasattr(bpy.types.WindowManager, layer.switch):
            delattr(bpy.types.WindowManager, layer.switch)
