"""An operator whose work is a generator: a script runs it whole, a window advances it at each timer event, and Esc stops it."""

from collections.abc import Generator
from typing import Any

import bpy

from ..job.errors import JobError


class WatchedWork:
    """Mixed into an operator that gives `_begin(context)`, the generator or None after a report; `_words(update)`, what the
    status line says; `_finish(context, value)`, what is reported at the end; and, where it likes, `_seen(context, update)`,
    `_stopped(context)` and `_failed(context, error)`.
    """

    _work: Generator[Any, None, Any] | None = None
    _timer: bpy.types.Timer | None = None
    _advanced = False

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Run without a window, or when called by a script."""
        _leave_modes(context)
        self._work = self._begin(context)
        if self._work is None:
            return {"CANCELLED"}
        while (state := self._advance(context)) == {"RUNNING_MODAL"}:
            pass
        return state

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Run beside Blender's own events, so that progress shows and Esc works."""
        _leave_modes(context)
        self._work = self._begin(context)
        if self._work is None:
            return {"CANCELLED"}
        self._timer = context.window_manager.event_timer_add(0.01, window=context.window)
        context.window_manager.modal_handler_add(self)
        context.window_manager.progress_begin(0, 100)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Advance the work at each timer event; other events are swallowed until it ends."""
        if event.type == "ESC":
            self._work.close()
            self._stopped(context)
            return self._end(context, {"CANCELLED"})
        if event.type != "TIMER":
            return {"RUNNING_MODAL"}
        state = {"CANCELLED"}
        try:
            state = self._advance(context)
        finally:  # also when a fault of ours gets through: the timer and the status line must not stay behind
            if state != {"RUNNING_MODAL"}:
                self._end(context, state)
        return state

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender closes the window or opens another file while the work goes on."""
        if self._work is not None:
            self._work.close()

    def _seen(self, context: bpy.types.Context, update: Any) -> None:
        """Called at each update; does nothing unless overridden."""

    def _stopped(self, context: bpy.types.Context) -> None:
        """Called when the user stops the work; does nothing unless overridden."""

    def _failed(self, context: bpy.types.Context, error: JobError) -> None:
        """Report what the user must mend."""
        self.report({"ERROR"}, str(error))

    def _advance(self, context: bpy.types.Context) -> set[str]:
        try:
            update = next(self._work)
        except StopIteration as end:
            self._finish(context, end.value)
            return {"FINISHED"}
        except JobError as error:
            self._failed(context, error)
            return {"CANCELLED"}
        self._advanced = True
        self._seen(context, update)
        if self._timer is not None:
            context.workspace.status_text_set(f"Bozzetto   {update.fraction:.0%}   {self._words(update)}   Esc stops")
            context.window_manager.progress_update(100 * update.fraction)
            if getattr(update, "ended", False):  # the tab shows what the step found
                _redraw(context)
        return {"RUNNING_MODAL"}

    def _end(self, context: bpy.types.Context, state: set[str]) -> set[str]:
        context.window_manager.event_timer_remove(self._timer)
        context.window_manager.progress_end()
        context.workspace.status_text_set(None)
        if state == {"CANCELLED"} and self._advanced:  # steps that ended before a stop are undone by a step of their own
            bpy.ops.ed.undo_push(message=f"{self.bl_label}, stopped")
        _redraw(context)
        return state


def _leave_modes(context: bpy.types.Context) -> None:
    """Go back to Object Mode: what is made can't be swapped in while something is edited."""
    item = context.view_layer.objects.active
    if context.mode != "OBJECT" and item is not None and item.visible_get():
        bpy.ops.object.mode_set(mode="OBJECT")


def _redraw(context: bpy.types.Context) -> None:
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            area.tag_redraw()
