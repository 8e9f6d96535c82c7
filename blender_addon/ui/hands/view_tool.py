"""Common base of the tools in the view: a drawing over the view, text in the status bar, a cursor."""

from __future__ import annotations

import bpy

from .aiming import main_region


class ViewTool:
    """Mixin for a modal operator in a 3D view: call `begin` before it waits and `close` when it ends.

    `draw_over()` draws in px of the view in which the tool was started.
    """

    _drawn: object = None
    _region: bpy.types.Region | None = None
    _cursor = False

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only in a 3D view."""
        return context.area is not None and context.area.type == "VIEW_3D"

    def begin(self, context: bpy.types.Context, words: str, *, cursor: str = "") -> set[str]:
        """Add the drawing, text and cursor, and start waiting for events."""
        self._region = main_region(context.area)
        self._drawn = bpy.types.SpaceView3D.draw_handler_add(self._draw_here, (), "WINDOW", "POST_PIXEL")
        context.window_manager.modal_handler_add(self)
        context.workspace.status_text_set(words)
        self._cursor = bool(cursor)
        if cursor:
            context.window.cursor_modal_set(cursor)
        context.area.tag_redraw()
        return {"RUNNING_MODAL"}

    def draw_over(self) -> None:
        """Draw over the view; does nothing unless overridden."""

    def close(self, context: bpy.types.Context) -> None:
        """Remove what `begin` added."""
        if self._drawn is None:
            return
        bpy.types.SpaceView3D.draw_handler_remove(self._drawn, "WINDOW")
        self._drawn = None
        context.workspace.status_text_set(None)
        if self._cursor:
            context.window.cursor_modal_restore()
        for area in context.window.screen.areas:
            area.tag_redraw()

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender closes the window or opens another file."""
        self.close(context)

    def _draw_here(self) -> None:
        if bpy.context.region == self._region:
            self.draw_over()
