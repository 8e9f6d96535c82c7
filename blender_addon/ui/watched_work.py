"""Base of operators whose work is a generator: scripts run it to the end, a window by timer events, and Esc stops it."""

import time
from collections.abc import Callable, Generator
from typing import Any

import bpy

from ..job.errors import JobError
from ..job.step import maker
from ..steps import catalogue

LEAST_SHARE, MOST_SHARE = 0.1, 0.2
"""Seconds of work, begun within them, between two looks at the window's events. At least: the window itself sleeps for some ms
at each look. At most: a key must not wait longer, though a view that draws slowly takes more than that for itself."""
WAITED = 0.5
"""Processor's time over that of the clock below which a piece of work waited for another thread, which goes on while the window
looks at its events (a guess)."""
SLOW_DRAWING = ("SOFTWARE", "UNKNOWN")
"""Blender's words for a graphics driver that draws by the processor."""
SAID_AGAIN = 0.3
"""Seconds after which the progress on screen is renewed: each change redraws the whole window."""


WAITS = "Esc stops the run and keeps what is finished; until it ends the buttons wait"
"""What the tab says while something runs: the window's other events are not passed on."""

_shown_now: list[tuple[float, str]] = []
"""What runs in the window, if anything: the fraction done, and what it is doing."""


def running() -> tuple[float, str] | None:
    """The fraction done and the activity of what runs in the window, for the tab; None where nothing runs."""
    return _shown_now[-1] if _shown_now else None


class WatchedWork:
    """Mixed into an operator that gives `_begin(context)`, the generator or None after a report; `_words(update)`, what the
    status line says; `_finish(context, value)`, what is reported at the end; and optionally `_seen(context, update)`,
    `_after(context)`, `_stopped(context)` and `_failed(context, error)`.
    """

    _work: Generator[object, None, object] | None = None
    _timer: bpy.types.Timer | None = None
    _advanced = _watched = _pausing = _rested = False
    _left_at = _said_at = 0.0
    _edges: Callable[[], None] | None = None
    _scene: bpy.types.Scene | None = None
    _shown = _said = ""

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
        self._watched = True
        self._work = self._begin(context)
        if self._work is None:
            return {"CANCELLED"}
        self._left_at, self._scene = time.perf_counter(), context.scene
        self._edges = _edges_left_rough(context)
        _shown_now[:] = [(0.0, "Getting ready")]
        self._timer = context.window_manager.event_timer_add(0.01, window=context.window)
        context.window_manager.modal_handler_add(self)
        context.window_manager.progress_begin(0, 100)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Advance the work at each timer event; other events are blocked until it ends."""
        if event.type == "ESC":
            self._work.close()
            self._stopped(context)
            return self._end(context, {"CANCELLED"})
        if event.type != "TIMER":
            return {"RUNNING_MODAL"}
        if self._is_gone():
            self.report({"WARNING"}, "Stopped: an undo from elsewhere replaced the scene while the work went on")
            return self._end(context, {"CANCELLED"})
        state = {"CANCELLED"}
        try:
            state = self._advance_for_a_while(context)
        finally:  # also after an unexpected error, timer and status text must be removed
            if state != {"RUNNING_MODAL"}:
                self._end(context, state)
        return state

    def _is_gone(self) -> bool:
        """Whether the scene that the work began in was replaced, as an undo by a script does."""
        try:
            return self._scene is not None and not self._scene.name
        except ReferenceError:
            return True

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender closes the window or opens another file while the work goes on."""
        if self._work is not None:
            self._work.close()
        _shown_now.clear()
        self._smooth_edges()

    def _smooth_edges(self) -> None:
        if self._edges is not None:
            self._edges()
            self._edges = None

    def _seen(self, context: bpy.types.Context, update: Any) -> None:
        """Called at each update; does nothing unless overridden."""

    def _after(self, context: bpy.types.Context) -> None:
        """Start what follows in a window when the work is done; does nothing unless overridden."""

    def _stopped(self, context: bpy.types.Context) -> None:
        """Called when the user stops the work; does nothing unless overridden."""

    def _failed(self, context: bpy.types.Context, error: JobError) -> None:
        """Report an error that the user can fix."""
        self.report({"ERROR"}, str(error))

    def _advance_for_a_while(self, context: bpy.types.Context) -> set[str]:
        """Work for as long as the window took since, within limits; what can't be split waits for its words."""
        if self._pausing and not self._rested:  # one look at the events more, in which the announcement is drawn
            self._rested = True
            return {"RUNNING_MODAL"}
        started = time.perf_counter()
        share = min(max(started - self._left_at, LEAST_SHARE), MOST_SHARE)
        while True:
            before, spent = time.perf_counter(), time.thread_time()
            state, self._left_at = self._advance(context), time.perf_counter()
            if time.thread_time() - spent < WAITED * (self._left_at - before):
                share = LEAST_SHARE
            if state != {"RUNNING_MODAL"} or self._pausing or self._left_at - started >= share:
                return state

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
        self._pausing, self._rested = getattr(update, "blocking", False), False
        self._seen(context, update)
        if self._timer is not None:
            self._say(context, update)
        return {"RUNNING_MODAL"}

    def _say(self, context: bpy.types.Context, update: Any) -> None:
        """Show the progress, and redraw the tab where the activity has changed, since a step or a picture may be finished."""
        ended, now = getattr(update, "ended", False), time.perf_counter()
        words = f"Bozzetto   {update.fraction:.0%}   {self._words(update)}   Esc stops"
        if words != self._shown and (ended or self._pausing or now - self._said_at > SAID_AGAIN):
            self._shown, self._said_at = words, now
            _shown_now[:] = [(update.fraction, self._words(update))]
            context.workspace.status_text_set(words)
            context.window_manager.progress_update(100 * update.fraction)
            if self._words(update) != self._said:
                self._said = self._words(update)
                _redraw_tabs(context)
        if ended:  # the tab shows what the step found
            _redraw_tabs(context)

    def _end(self, context: bpy.types.Context, state: set[str]) -> set[str]:
        context.window_manager.event_timer_remove(self._timer)
        context.window_manager.progress_end()
        _shown_now.clear()
        context.workspace.status_text_set(None)
        self._smooth_edges()
        if state == {"CANCELLED"} and self._advanced:  # steps that ended before a stop are undone by a step of their own
            bpy.ops.ed.undo_push(message=f"{self.bl_label}, stopped")
        _redraw(context)
        if state == {"FINISHED"}:
            self._after(context)
        return state


def _leave_modes(context: bpy.types.Context) -> None:
    """Return to Object Mode, since data can't be replaced while it is edited."""
    item = context.view_layer.objects.active
    if context.mode != "OBJECT" and item is not None and item.visible_get():
        bpy.ops.object.mode_set(mode="OBJECT")


def _edges_left_rough(context: bpy.types.Context) -> Callable[[], None]:
    """Have views drawn by a processor leave their edges rough, and return what smooths them again.

    For smooth edges Blender draws a view eight times after each change, several seconds for which the work would wait. The
    preference is no unsaved change of the user's, so the preferences are not marked as changed.
    """
    import gpu

    preferences = context.preferences
    if gpu.platform.device_type_get() not in SLOW_DRAWING:
        return lambda: None
    kept = preferences.system.viewport_aa

    def leave(how: str) -> None:
        changed = preferences.is_dirty
        preferences.system.viewport_aa = how
        preferences.is_dirty = changed

    leave("OFF")
    return lambda: leave(kept)


def _redraw_tabs(context: bpy.types.Context) -> None:
    """Redraw the sidebars of the 3D views."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            for region in area.regions:
                if area.type == "VIEW_3D" and region.type == "UI":
                    region.tag_redraw()


def _redraw(context: bpy.types.Context) -> None:
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            area.tag_redraw()


# --- runs that an operator starts ------------------------------------------------------------------------------------


def run_again(operator: bpy.types.Operator, role: str) -> set[str]:
    """Run the step that makes a role again; errors that the user can fix are reported instead of raised."""
    step = maker(role, catalogue()).name
    return _run(operator, first=step, last=step)


def run_changed(operator: bpy.types.Operator, *, until: str = "") -> set[str]:
    """Run stale steps up to a part of the work; errors that the user can fix are reported instead of raised."""
    return _run(operator, changed=True, folder=until)


def _run(operator: bpy.types.Operator, **wish: Any) -> set[str]:
    mode = "EXEC_DEFAULT" if bpy.app.background else "INVOKE_DEFAULT"
    try:
        state = bpy.ops.bozzetto.run_job(mode, **wish)
        return {"FINISHED"} if state == {"RUNNING_MODAL"} else state
    except RuntimeError as error:
        operator.report({"ERROR"}, str(error).removeprefix("Error: ").strip())
        return {"CANCELLED"}
