"""Which data-block has which role in a job? Job id, step, role and key are custom properties of the data-block.

A copy has the same properties but another name than the one the job gave, and belongs to the user. Objects count only in the
job's own scene. Data linked from another file never belongs to a job.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import bpy

from ..job.step import current_name

JOB, STEP, ROLE, KEY, NAME, PRINT = (
    "bozzetto_job", "bozzetto_step", "bozzetto_role", "bozzetto_key", "bozzetto_name", "bozzetto_print",
)  # fmt: skip
MADE = "bozzetto_made"
"""On data that depends on a block with a role (its material, an image in that): the fingerprint as the step made it."""
OFFERED = "bozzetto_base"
"""On a material of the set: the name that the job gave it. If the user edits it, the object's replacement uses it too."""
SHOWN = "bozzetto_shown"
"""On an object: its visibility as the job set it, to be compared with what the user has set since (see `visibility`)."""
INHERITS = "bozzetto_inherits"
"""On a scene that was copied from a job's scene: the id of that job, whose materials and images it continues to use."""
BOOKKEEPING = frozenset({
    JOB, STEP, ROLE, KEY, NAME, PRINT, MADE, OFFERED, SHOWN, "bozzetto_matt", "bozzetto_nodes", "cycles",
})  # fmt: skip
"""Custom properties that record ownership, not content, and Cycles' group of settings, which is read separately."""
KINDS = (
    "objects", "materials", "images", "worlds", "node_groups", "texts", "collections", "meshes", "cameras", "lights",
    "curves", "actions", "textures",
)  # fmt: skip


def blocks() -> Iterator[bpy.types.ID]:
    """All data-blocks of this file (not linked ones) of the kinds that steps make."""
    for kind in KINDS:
        for block in getattr(bpy.data, kind):
            if block.library is None:
                yield block


def mark(block: bpy.types.ID, *, job: str, step: str, role: str, key: str) -> None:
    """Write a role and the present name onto a data-block.

    job: the job's identity. step: the name of the step that made it.
    """
    block[JOB], block[STEP], block[ROLE], block[KEY], block[NAME] = job, step, role, key, block.name


def has(block: bpy.types.ID, name: str) -> bool:
    """Whether a data-block has a custom property; Blender's type stubs do not know `name in block`."""
    return name in block.keys()


def put_aside(block: bpy.types.ID) -> bool:
    """Whether a swap that goes on has put a data-block of the job aside: it has a role still and no job any more."""
    return has(block, ROLE) and not has(block, JOB)


def made_by(block: bpy.types.ID) -> str:
    """The current name of the step that made a data-block, also where an older release wrote a former name; '' for none."""
    return current_name(str(block.get(STEP, "")))


def players(
    job: str,
    *,
    role: str | None = None,
    step: str | None = None,
    scene: bpy.types.Scene | None = None,
    kinds: Sequence[str] = KINDS,
) -> list[Any]:
    """The data-blocks of a job with a role, or made by a step, without the user's copies, ordered by step, role and key.

    scene: the job's scene, looked up where it is not given. kinds: where they are looked for, for callers that are in a hurry.
    In a copied scene this includes data of the first job that the copy continues to use.
    """
    if not job:
        return []
    home = scene if scene is not None else scene_of(job)
    best: dict[tuple[str, str, str], bpy.types.ID] = {}
    jobs = [job, *([home[INHERITS]] if home is not None and has(home, INHERITS) else [])]
    for owner in jobs:
        for block in _blocks_of(owner, home, kinds, role, objects=owner == job):
            if (step and made_by(block) != step) or is_copy(block):
                continue
            place = (made_by(block), str(block[ROLE]), str(block.get(KEY)))
            other = best.get(place)
            if other is None or (other[JOB] == block[JOB] and _rank(block) < _rank(other)):
                best[place] = block
    return [best[place] for place in sorted(best)]


def _blocks_of(
    job: str, home: bpy.types.Scene | None, kinds: Sequence[str], role: str | None, *, objects: bool
) -> Iterator[bpy.types.ID]:
    for kind in kinds:
        held: Iterable[bpy.types.ID] = getattr(bpy.data, kind)
        if kind in ("objects", "collections"):
            if not objects:
                continue
            if kind == "objects" and home is not None:
                held = home.objects
        for block in held:  # the role first, which most have not
            own = block.get(ROLE)
            if own is not None and (not role or own == role) and block.get(JOB) == job and block.library is None:
                yield block


def scene_of(job: str) -> bpy.types.Scene | None:
    """The scene of this file that holds a job."""
    return next((scene for scene in bpy.data.scenes if scene.get(JOB) == job and scene.library is None), None)


def is_copy(block: bpy.types.ID) -> bool:
    """Whether a data-block is the user's copy of one of the job's: it has the given name with another number."""
    given = block.get(NAME)
    if not given or block.name == given:
        return False
    return bool(re.fullmatch(re.escape(stem(given)) + r"\.\d{3,}", block.name))


def renamed(block: bpy.types.ID) -> bool:
    """Whether the user renamed a data-block of the job."""
    return bool(block.get(NAME)) and block.name != block[NAME] and not is_copy(block)


def stem(name: str) -> str:
    """A name without the number that Blender appends to make it unique."""
    return re.sub(r"\.\d{3,}$", "", name)


def _rank(block: bpy.types.ID) -> tuple[bool, int]:
    return (block.name != block.get(NAME), block.session_uid)


def unmark(block: bpy.types.ID) -> None:
    """Remove the job's marks from a data-block, which then belongs to the user."""
    for name in (JOB, STEP, ROLE, KEY, NAME, PRINT, SHOWN, MADE):
        if has(block, name):
            del block[name]
