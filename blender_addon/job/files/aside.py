"""How does a long calculation keep the window responsive? It runs in its own thread while the step keeps yielding progress.

Only for work on arrays: Blender's data may be touched by the main thread alone.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Generator
from typing import TypeVar

from ...core.generators import passed_on
from ..step import Progress

T = TypeVar("T")

WAIT = 0.05
"""Seconds between two checks whether it is done, which is the longest that the window's events wait."""


def aside(work: Callable[[], T], progress: Progress) -> Generator[Progress, None, T]:
    """Run `work` in a thread, yielding `progress` until it is done; returns what it returns and raises what it raises.

    Closing the generator lets the thread finish on its own; its result is dropped.
    """
    results: list[T] = []
    failed: list[BaseException] = []

    def run() -> None:
        try:
            results.append(work())
        except BaseException as error:  # any error is passed on to the waiting caller
            failed.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(WAIT)  # what is done by then is not worth a look at the events, in which the window may draw itself
    while thread.is_alive():
        yield progress
        thread.join(WAIT)
    if failed:
        raise failed[0]
    return results[0]


def aside_steps(
    work: Generator[tuple[float, str], None, T], shown: Callable[[float, str], Progress]
) -> Generator[Progress, None, T]:
    """Run a generator of (fraction, words) in a thread, yielding its latest value; returns what it returns, raises what it
    raises.

    Closing the generator stops the work at its next yield.
    """
    last = [(0.0, "")]
    stopped = threading.Event()

    def drained() -> T:
        try:
            while not stopped.is_set():
                last[0] = next(work)
        except StopIteration as end:
            result: T = end.value
            return result
        finally:
            work.close()
        raise GeneratorExit

    beside = aside(drained, Progress(0.0, ""))
    try:
        return (yield from passed_on(beside, lambda _: shown(*last[0])))
    finally:
        stopped.set()
        beside.close()
