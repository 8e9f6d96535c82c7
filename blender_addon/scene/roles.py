"""Which data-block plays which part in a job? A role is job id + step + role + key, kept as custom properties on it.

A copy carries the same properties but not the name that we gave: it is the user's. Objects count as long as they stand in the
job's own scene. What is linked from another file is never ours.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

import bpy

from ..job.step import current_name

JOB, STEP, ROLE, KEY, NAME, PRINT = (
    "bozzetto_job", "bozzetto_step", "bozzetto_role", "bozzetto_key", "bozzetto_name", "bozzetto_print",
)  # fmt: skip
MADE = "bozzetto_made"
"""On data that comes and goes with what plays a role (a material, an image in it): its fingerprint as we made it."""
OFFERED = "bozzetto_base"
"""On a material of the set: its name as we gave it; one that the user changed is worn by the next object too."""
SHOWN = "bozzetto_shown"
"""On an object: the marks of visibility as we set them, to be compared with what the user set since (see `visibility`)."""
INHERITS = "bozzetto_inherits"
"""On a scene that was copied from a job's scene: that job's id, whose materials and images it goes on using."""
BOOKKEEPING = frozenset({
    JOB, STEP, ROLE, KEY, NAME, PRINT, MADE, OFFERED, SHOWN, "bozzetto_matt", "bozzetto_nodes", "cycles",
})  # fmt: skip
"""Custom properties that say whose something is, and not what it is like; and Cycles' own, which are read where they belong."""
KINDS = (
    "objects", "materials", "images", "worlds", "node_groups", "texts", "collections", "meshes", "cameras", "lights",
    "curves", "actions", "textures",
)  # fmt: skip


def blocks() -> Iterator[Any]:
    """All data-blocks of the kinds that steps make, those of this file alone."""
    for kind in KINDS:
        for block in getattr(bpy.data, kind):
            if block.library is None:
                yield block


def mark(block: bpy.types.ID, *, job: str, step: str, role: str, key: str) -> None:
    """Write a role onto a data-block, and the name that it has now."""
    block[JOB], block[STEP], block[ROLE], block[KEY], block[NAME] = job, step, role, key, block.name


def made_by(block: bpy.types.ID) -> str:
    """Today's name of the step that made a data-block, whatever the release that wrote it; empty where none did."""
    return current_name(str(block.get(STEP, "")))


def players(job: str, *, role: str | None = None, step: str | None = None, scene: bpy.types.Scene | None = None) -> list[Any]:
    """The data-blocks of a job that play a role, or that a step made; without the user's copies; ordered by key.

    `scene` is the job's scene, looked up where it is not given. In a copied scene what it uses on of the first one counts too.
    """
    if not job:
        return []
    home = scene if scene is not None else scene_of(job)
    best: dict[tuple[str, str, str], Any] = {}
    jobs = [job, *([home[INHERITS]] if home is not None and INHERITS in home else [])]
    for owner in jobs:
        for block in _blocks_of(owner, home, objects=owner == job):
            if (role and block.get(ROLE) != role) or (step and made_by(block) != step) or is_copy(block):
                continue
            place = (made_by(block), str(block[ROLE]), str(block.get(KEY)))
            other = best.get(place)
            if other is None or (other[JOB] == block[JOB] and _rank(block) < _rank(other)):
                best[place] = block
    return [best[place] for place in sorted(best)]


def _blocks_of(job: str, home: Any, *, objects: bool) -> Iterator[Any]:
    for kind in KINDS:
        held: Iterable[Any] = getattr(bpy.data, kind)
        if kind in ("objects", "collections"):
            if not objects:
                continue
            if kind == "objects" and home is not None:
                held = home.objects
        for block in held:
            if block.get(JOB) == job and ROLE in block and block.library is None:
                yield block


def scene_of(job: str) -> bpy.types.Scene | None:
    """The scene of this file that a job lives in."""
    return next((scene for scene in bpy.data.scenes if scene.get(JOB) == job and scene.library is None), None)


def is_copy(block: bpy.types.ID) -> bool:
    """Whether a data-block is a copy of ours: Blender named it after ours, with another number."""
    given = block.get(NAME)
    if not given or block.name == given:
        return False
    return bool(re.fullmatch(re.escape(stem(given)) + r"\.\d{3,}", block.name))


def renamed(block: bpy.types.ID) -> bool:
    """Whether the user gave our data-block a name of their own."""
    return bool(block.get(NAME)) and block.name != block[NAME] and not is_copy(block)


def stem(name: str) -> str:
    """A name without the number that Blender puts behind it to make it the only one."""
    return re.sub(r"\.\d{3,}$", "", name)


def _rank(block: bpy.types.ID) -> tuple[bool, int]:
    return (block.name != block.get(NAME), block.session_uid)


def unmark(block: bpy.types.ID) -> None:
    """Make a data-block the user's own."""
    for name in (JOB, STEP, ROLE, KEY, NAME, PRINT, SHOWN, MADE):
        if name in block:
            del block[name]
