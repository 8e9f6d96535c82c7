"""Changes properties of Blender's data for the length of a block and restores them, also after an error."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import bpy

    Change = tuple[bpy.types.bpy_struct | None, str, object]
    """An owner (None only by the stubs, for parts that a scene always has), the name of one of its properties, and a value."""


@contextlib.contextmanager
def changed(changes: Sequence[Change]) -> Iterator[None]:
    """Set each (owner, property name, value) inside the block; restore the former values afterwards."""
    kept = [(owner, name, getattr(owner, name)) for owner, name, _ in changes]
    try:
        for owner, name, value in changes:
            setattr(owner, name, value)
        yield
    finally:
        for owner, name, value in kept:  # in the same order: the file format determines which bit depths can be set
            setattr(owner, name, value)
