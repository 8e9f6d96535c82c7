"""How does a long calculation leave the window free? It runs in a thread of its own while the step goes on yielding progress.

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
"""Seconds between two looks whether it is done; so long the window's events wait at most."""


def aside(work: Callable[[], T], progress: Progress) -> Generator[Progress, None, T]:
    """Run `work` beside, yielding `progress` until it is done; returns what it returns and raises what it raises.

    Closing the generator leaves the thread to end by itself; what it makes is dropped. Without a window it costs a thread.
    """
    made: list[T] = []
    failed: list[BaseException] = []

    def run() -> None:
        try:
            made.append(work())
        except BaseException as error:  # handed on to whoever waits, whatever it is
            failed.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    while thread.is_alive():
        yield progress
        thread.join(WAIT)
    if failed:
        raise failed[0]
    return made[0]


def aside_steps(
    work: Generator[tuple[float, str], None, T], shown: Callable[[float, str], Progress]
) -> Generator[Progress, None, T]:
    """Run a generator of (fraction, words) beside, yielding the last of them; returns what it returns, raises what it raises.

    Closing the generator stops the work at its next yield.
    """
    last = [(0.0, "")]
    stopped = threading.Event()

    def drained() -> T:
        try:
            while not stopped.is_set():
                last[0] = next(work)
        except StopIteration as end:
            made: T = end.value
            return made
        finally:
            work.close()
        raise GeneratorExit

    beside = aside(drained, Progress(0.0, ""))
    try:
        return (yield from passed_on(beside, lambda _: shown(*last[0])))
    finally:
        stopped.set()
        beside.close()
