"""Long work is a generator that yields how far it is and returns its result. How is one run to its end, or within another?"""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import TypeVar

Update = TypeVar("Update")
Shown = TypeVar("Shown")
Outcome = TypeVar("Outcome")


def finish(work: Generator[object, None, Outcome]) -> Outcome:
    """Run a generator to its end and return what it returns."""
    while True:
        try:
            next(work)
        except StopIteration as end:
            outcome: Outcome = end.value
            return outcome


def passed_on(work: Generator[Update, None, Outcome], change: Callable[[Update], Shown]) -> Generator[Shown, None, Outcome]:
    """A generator that yields `change(update)` for each update of `work`, returns what that returns and closes it."""
    try:
        while True:
            try:
                update = next(work)
            except StopIteration as end:
                outcome: Outcome = end.value
                return outcome
            yield change(update)
    finally:
        work.close()
