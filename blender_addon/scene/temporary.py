"""Properties of Blender's data that are changed for a while and given back, whatever happens meanwhile."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from typing import Any


@contextlib.contextmanager
def changed(changes: Sequence[tuple[Any, str, Any]]) -> Iterator[None]:
    """The (owner, property's name, value) of `changes` set inside the block; afterwards all are as they were."""
    kept = [(owner, name, getattr(owner, name)) for owner, name, _ in changes]
    try:
        for owner, name, value in changes:
            setattr(owner, name, value)
        yield
    finally:
        for owner, name, value in kept:  # in the order of setting: a file format decides which depths there are
            setattr(owner, name, value)
