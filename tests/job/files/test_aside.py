"""Work beside the main thread: its result, its error, progress meanwhile, and a stop."""

from __future__ import annotations

import threading

import pytest

from blender_addon.job.errors import SubjectError
from blender_addon.job.files.aside import aside
from blender_addon.job.runner import finish
from blender_addon.job.step import Progress

HERE = Progress(0.5, "calculating")


def test_the_result_comes_back_from_another_thread():
    assert finish(aside(threading.get_ident, HERE)) != threading.get_ident()
    assert finish(aside(lambda: None, HERE)) is None


def test_progress_is_yielded_while_it_works():
    go = threading.Event()
    work = aside(lambda: go.wait(10.0), HERE)
    assert [next(work) for _ in range(3)] == [HERE] * 3
    go.set()
    assert finish(work) is True


def test_an_error_is_raised_where_it_is_waited_for():
    def fails():
        raise SubjectError("no way to stand")

    with pytest.raises(SubjectError, match="no way to stand"):
        finish(aside(fails, HERE))


def test_a_stop_does_not_wait():
    go = threading.Event()
    work = aside(lambda: go.wait(10.0), HERE)
    next(work)
    work.close()
    assert not go.is_set()
    go.set()
