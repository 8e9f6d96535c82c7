"""What the tools in the view have in common: something drawn over it, words in the status line, a cursor."""

from __future__ import annotations

import bpy

from .aiming import main_region


class ViewTool:
    """Mixed into a modal operator of a 3D view: `begin` before it waits, `close` when it ends, which takes all back.

    `draw_over()` draws, in pixels of the view that the tool was begun in.
    """

    _drawn: object = None
    _region: bpy.types.Region | None = None
    _cursor = False

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only in a 3D view."""
        return context.area is not None and context.area.type == "VIEW_3D"

    def begin(self, context: bpy.types.Context, words: str, *, cursor: str = "") -> set[str]:
        """Show what is to be shown and wait for the user."""
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
        """Draw; nothing by itself."""

    def close(self, context: bpy.types.Context) -> None:
        """Take back what `begin` showed."""
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
