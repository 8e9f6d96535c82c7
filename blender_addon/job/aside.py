"""How does a long calculation leave the window free? It runs in a thread of its own while the step goes on yielding progress.

Only for work on arrays: Blender's data may be touched by the main thread alone.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Generator
from typing import TypeVar

from .step import Progress

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
