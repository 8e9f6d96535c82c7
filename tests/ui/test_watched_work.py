"""Does work beside the window leave it as it was, and does it get its share of the time?"""

from __future__ import annotations

import time
from collections.abc import Generator
from types import SimpleNamespace
from typing import Any

import bpy
import gpu
import pytest

from blender_addon.ui import watched_work
from blender_addon.ui.watched_work import WatchedWork


class Manager:
    """The window manager's part that work uses."""

    windows = ()

    def __init__(self) -> None:
        self.shown: list[float] = []

    def event_timer_add(self, seconds: float, window: object) -> str:
        return "timer"

    def event_timer_remove(self, timer: object) -> None:
        pass

    def modal_handler_add(self, operator: object) -> None:
        pass

    def progress_begin(self, low: int, high: int) -> None:
        pass

    def progress_update(self, percent: float) -> None:
        self.shown.append(percent)

    def progress_end(self) -> None:
        pass


class Work(WatchedWork):
    """A hundred pieces of work of 5 ms each."""

    bl_label = "Work"

    def _begin(self, context: Any) -> Generator[Any, None, None]:
        for place in range(100):
            time.sleep(0.005)
            yield SimpleNamespace(fraction=place / 100, words=f"piece {place}")

    def _words(self, update: Any) -> str:
        return str(update.words)

    def _finish(self, context: Any, value: Any) -> None:
        pass

    def report(self, kind: set[str], words: str) -> None:
        pass


def begun(monkeypatch: pytest.MonkeyPatch, driver: str) -> tuple[Work, Any]:
    monkeypatch.setattr(gpu.platform, "device_type_get", lambda: driver)
    bpy.context.preferences.system.viewport_aa = "8"
    bpy.context.preferences.is_dirty = False
    context = SimpleNamespace(
        preferences=bpy.context.preferences, window_manager=Manager(), window=None, mode="OBJECT", scene=bpy.context.scene,
        view_layer=bpy.context.view_layer, workspace=SimpleNamespace(status_text_set=lambda words: None),
    )  # fmt: skip
    work = Work()
    assert work.invoke(context, SimpleNamespace(type="LEFTMOUSE")) == {"RUNNING_MODAL"}
    return work, context


@pytest.mark.parametrize("end", ["finished", "esc", "closed"])
def test_edges_are_smooth_again_however_the_work_ends(monkeypatch: pytest.MonkeyPatch, end: str) -> None:
    """Where a processor draws they are rough meanwhile; the preferences never count as changed, so nobody saves that."""
    monkeypatch.setattr(bpy.ops.ed, "undo_push", lambda **how: None, raising=False)
    work, context = begun(monkeypatch, "SOFTWARE")
    system = bpy.context.preferences.system
    assert (system.viewport_aa, bpy.context.preferences.is_dirty) == ("OFF", False)
    if end == "finished":
        while work.modal(context, SimpleNamespace(type="TIMER")) == {"RUNNING_MODAL"}:
            pass
    elif end == "esc":
        work.modal(context, SimpleNamespace(type="ESC"))
    else:
        work.cancel(context)
    assert (system.viewport_aa, bpy.context.preferences.is_dirty) == ("8", False)


def test_a_graphics_card_draws_as_the_user_set_it(monkeypatch: pytest.MonkeyPatch) -> None:
    work, context = begun(monkeypatch, "NVIDIA")
    assert bpy.context.preferences.system.viewport_aa == "8"
    work.cancel(context)


def test_work_has_its_share_and_the_window_few_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """At each look about `LEAST_SHARE` of work is done though the window took no time, and never much over `MOST_SHARE`; the
    window is not put together anew for each of the hundred pieces."""
    work, context = begun(monkeypatch, "NVIDIA")
    looks, longest = 0, 0.0
    while True:
        began = time.perf_counter()
        state = work.modal(context, SimpleNamespace(type="TIMER"))
        looks, longest = looks + 1, max(longest, time.perf_counter() - began)
        if state != {"RUNNING_MODAL"}:
            break
    assert looks <= 12  # 0.5 s of work and more, at least 0.1 s a look
    assert longest < watched_work.MOST_SHARE + 0.1
    assert 1 <= len(context.window_manager.shown) <= 8


class Waiting(Work):
    """Work that waits for another thread, 60 ms at a time."""

    def _begin(self, context: Any) -> Generator[Any, None, None]:
        for place in range(6):
            time.sleep(0.06)
            yield SimpleNamespace(fraction=place / 6, words="waiting")


def test_while_another_thread_works_the_window_waits_no_longer_than_the_least_share(monkeypatch: pytest.MonkeyPatch) -> None:
    """Though the window had been away for a second, after which work of its own may take twice as long."""
    monkeypatch.setattr(Work, "_begin", Waiting._begin)
    work, context = begun(monkeypatch, "NVIDIA")
    looks, state = 0, {"RUNNING_MODAL"}
    while state == {"RUNNING_MODAL"}:
        work._left_at, looks = time.perf_counter() - 1.0, looks + 1
        state = work.modal(context, SimpleNamespace(type="TIMER"))
    assert looks >= 3  # two waits reach the least share; with the longest there would be two looks


class Announced(Work):
    """Work with one call that can't be split."""

    def _begin(self, context: Any) -> Generator[Any, None, None]:
        yield SimpleNamespace(fraction=0.5, words="rendering", blocking=True)
        self.called = True
        yield SimpleNamespace(fraction=1.0, words="rendered")


def test_an_announced_call_waits_until_its_words_are_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """The window draws itself after each event, so one event must pass between the words and the call."""
    monkeypatch.setattr(f"{__name__}.Work", Announced)
    work, context = begun(monkeypatch, "NVIDIA")
    for _ in range(2):
        work.modal(context, SimpleNamespace(type="TIMER"))
        assert not hasattr(work, "called")
    assert watched_work.running() == (0.5, "rendering")
    work.modal(context, SimpleNamespace(type="TIMER"))
    assert work.called
    work.cancel(context)


@pytest.mark.parametrize("end", ["finished", "esc", "closed"])
def test_the_tab_knows_what_runs_until_it_ends(monkeypatch: pytest.MonkeyPatch, end: str) -> None:
    monkeypatch.setattr(bpy.ops.ed, "undo_push", lambda **how: None, raising=False)
    assert watched_work.running() is None
    work, context = begun(monkeypatch, "NVIDIA")
    assert watched_work.running() is not None
    if end == "finished":
        while work.modal(context, SimpleNamespace(type="TIMER")) == {"RUNNING_MODAL"}:
            pass
    elif end == "esc":
        work.modal(context, SimpleNamespace(type="ESC"))
    else:
        work.cancel(context)
    assert watched_work.running() is None
