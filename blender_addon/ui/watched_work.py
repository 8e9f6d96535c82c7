"""An operator whose work is a generator: whole at once for a script; in a window a stretch a timer event, and Esc stops it."""

from ..job.errors import JobError


class WatchedWork:
    """Mixed into an operator that gives `_begin(context)`, the generator or None after a report; `_words(update)`, what the
    status line says; `_finish(context, value)`, what is reported at the end; and, where it likes, `_stopped(context)`.
    """

    _work = None
    _timer = None

    def execute(self, context):
        """Run without a window, or when called by a script."""
        self._work = self._begin(context)
        if self._work is None:
            return {"CANCELLED"}
        while (state := self._advance(context)) == {"RUNNING_MODAL"}:
            pass
        return state

    def invoke(self, context, event):
        """Run beside Blender's own events, so that progress shows and Esc works."""
        self._work = self._begin(context)
        if self._work is None:
            return {"CANCELLED"}
        self._timer = context.window_manager.event_timer_add(0.01, window=context.window)
        context.window_manager.modal_handler_add(self)
        context.window_manager.progress_begin(0, 100)
        return {"RUNNING_MODAL"}

    def modal(self, context, event):
        """One stretch of work a timer event; everything else is swallowed meanwhile."""
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

    def _stopped(self, context):
        """Say what a stop leaves; nothing by itself."""

    def _advance(self, context):
        try:
            update = next(self._work)
        except StopIteration as end:
            self._finish(context, end.value)
            return {"FINISHED"}
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        if self._timer is not None:
            context.workspace.status_text_set(f"Bozzetto   {update.fraction:.0%}   {self._words(update)}   Esc stops")
            context.window_manager.progress_update(100 * update.fraction)
        return {"RUNNING_MODAL"}

    def _end(self, context, state):
        context.window_manager.event_timer_remove(self._timer)
        context.window_manager.progress_end()
        context.workspace.status_text_set(None)
        for area in context.screen.areas:
            area.tag_redraw()
        return state
