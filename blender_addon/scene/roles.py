"""Which data-block plays which part in a job? A role is job id + step + role + key, kept as custom properties on it.

A copy carries the same properties; it is the user's, and told from ours by the name we gave.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import bpy

JOB, STEP, ROLE, KEY, NAME, PRINT = (
    "bozzetto_job", "bozzetto_step", "bozzetto_role", "bozzetto_key", "bozzetto_name", "bozzetto_print",
)  # fmt: skip
MADE = "bozzetto_made"
"""On a material that comes and goes with its object: its fingerprint as we made it."""
KINDS = (
    "objects", "materials", "images", "worlds", "node_groups", "texts", "collections", "meshes", "cameras", "lights",
    "curves", "actions", "textures",
)  # fmt: skip


def blocks() -> Iterator[Any]:
    """All data-blocks of the kinds that steps make."""
    for kind in KINDS:
        yield from getattr(bpy.data, kind)


def holder(block: Any) -> Any:
    """The collection of `bpy.data` that a data-block lives in."""
    for kind in KINDS:
        collection = getattr(bpy.data, kind)
        found = collection.get(block.name)
        if found is not None and found == block:
            return collection
    raise KeyError(block.name)


def mark(block: Any, *, job: str, step: str, role: str, key: str) -> None:
    """Write a role onto a data-block."""
    block[JOB], block[STEP], block[ROLE], block[KEY], block[NAME] = job, step, role, key, block.name


def players(job: str, *, role: str | None = None, step: str | None = None) -> list[Any]:
    """The data-blocks of a job that play a role, or that a step made; without the user's copies; ordered by key."""
    best: dict[tuple[str, str, str], Any] = {}
    for kind in KINDS:
        for block in getattr(bpy.data, kind):
            owner = block.get(JOB)
            if owner != job or (role and block.get(ROLE) != role) or (step and block.get(STEP) != step):
                continue
            place = (block[STEP], block[ROLE], block[KEY])
            other = best.get(place)
            if other is None or _rank(block) < _rank(other):
                best[place] = block
    return [best[place] for place in sorted(best)]


def _rank(block: Any) -> tuple[bool, int]:
    return (block.name != block.get(NAME), block.session_uid)


def unmark(block: Any) -> None:
    """Make a data-block the user's own."""
    for name in (JOB, STEP, ROLE, KEY, NAME, PRINT):
        if name in block:
            del block[name]
