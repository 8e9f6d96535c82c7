"""Which job does a scene hold, and which data of the file belongs to it? A copied scene becomes a job of its own.

A job's id is determined when the job begins in a scene: a digest of its name and scans, varied until it is unique in the file.
It is therefore the same in every run from the same sheet, and does not depend on the scene's name.

Two scenes have the same id when one is a copy of the other, or was appended from another version of the file. The scene whose
objects still have the names that the job gave is the first job. In the other a second job begins with the data that only that
scene uses, and continues to use materials and pictures of the first. Data that both scenes show stays with the first job.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any

import bpy

from ...job.sheet import JobSheet
from .. import roles
from .job_card import CARD, STATE, card_of, read_state

HOME = "bozzetto_scene"
"""On a job's scene: the scene's name when the job last ran."""


def settle(scene: bpy.types.Scene, sheet: JobSheet) -> tuple[str, list[str]]:
    """The id of the job in a scene, created or changed where needed, and messages on what was done."""
    words: list[str] = []
    job = str(scene.get(roles.JOB, ""))
    if not job:
        job = _new_id(sheet, scene)
        scene[roles.JOB] = job
    elif not _is_first(scene, job):
        before = job
        job = _new_id(sheet, scene)
        words.append(_become_second(scene, before, job))
    else:
        _reclaim_names(scene, job)
    scene[HOME] = scene.name
    return job, words


def _new_id(sheet: JobSheet, scene: bpy.types.Scene) -> str:
    """An id that no data in the file has."""
    card = card_of(sheet)
    taken = {str(block.get(roles.JOB)) for kind in roles.KINDS for block in getattr(bpy.data, kind) if roles.JOB in block}
    taken |= {str(other.get(roles.JOB)) for other in bpy.data.scenes if other.get(roles.JOB)}
    number = 0
    while True:
        content = json.dumps([card["name"], card["scans"], number])
        found = hashlib.sha256(content.encode()).hexdigest()[:12]
        if found not in taken:
            return found
        number += 1


def _is_first(scene: bpy.types.Scene, job: str) -> bool:
    """Whether this scene is the first job's among all scenes with its id."""
    rivals = [other for other in bpy.data.scenes if other.library is None and other.get(roles.JOB) == job]
    if rivals == [scene]:
        return True

    def standing(other: bpy.types.Scene) -> tuple[int, bool, int]:
        original = sum(item.name == item.get(roles.NAME) for item in _objects_of(other, job))
        return (-original, other.get(HOME, other.name) != other.name, other.session_uid)

    return bool(min(rivals, key=standing) == scene)


def _objects_of(scene: bpy.types.Scene, job: str) -> list[bpy.types.Object]:
    return [
        item for item in scene.objects if item.get(roles.JOB) == job and roles.has(item, roles.ROLE) and item.library is None
    ]


def _become_second(scene: bpy.types.Scene, before: str, job: str) -> str:
    """Begin a second job in a copied scene with the data that only that scene uses; returns a message that says so."""
    others = [other for other in bpy.data.scenes if other != scene and other.library is None]
    shared = {item.session_uid for other in others for item in other.objects}
    own = [item for item in _objects_of(scene, before) if item.session_uid not in shared]
    _mark_all(own, job)
    shared_collections = {entry.session_uid for other in others for entry in other.collection.children_recursive}
    for collection in scene.collection.children_recursive:
        if collection.get(roles.JOB) == before and collection.session_uid not in shared_collections:
            collection[roles.JOB] = job
    world = scene.world
    if world is not None and world.get(roles.JOB) == before and all(other.world != world for other in others):
        _mark_all([world], job)
    scene[roles.JOB], scene[roles.INHERITS] = job, before
    _forget_what_is_not_here(scene, job)
    if len(own) == len(_objects_of(scene, job)) and not _objects_of(scene, before):
        return f'The scene "{scene.name}" is a copy, so it is a job of its own now; nothing of the first is touched'
    _exclude(scene, before)
    return (
        f'The scene "{scene.name}" shows objects of the job in another scene: this job makes its own, and those of the other '
        "are left out of its view layers"
    )


def _mark_all(blocks: Iterable[bpy.types.ID], job: str) -> None:
    for block in blocks:
        block[roles.JOB] = job
        if roles.is_copy(block):
            block[roles.NAME] = block.name


def _forget_what_is_not_here(scene: bpy.types.Scene, job: str) -> None:
    """Reduce the state to what the copied scene contains; otherwise the rest would count as deleted by the user."""
    state = read_state(scene)
    here = {(block.get(roles.ROLE), block.get(roles.KEY)) for block in roles.players(job, scene=scene)}
    kept = {step: [place for place in places if tuple(place) in here] for step, places in state.get("made", {}).items()}
    state["made"] = {step: places for step, places in kept.items() if places}
    for part in ("stamps", "results"):
        state[part] = {step: value for step, value in state.get(part, {}).items() if state["made"].get(step)}
    state.pop(CARD, None)
    scene[STATE] = json.dumps(state, sort_keys=True)


def _exclude(scene: bpy.types.Scene, job: str) -> None:
    """Exclude the other job's collections from the scene's view layers; they stay linked."""
    for layer in scene.view_layers:
        waiting = list(layer.layer_collection.children)
        while waiting:
            layer_collection = waiting.pop()
            if layer_collection.collection.get(roles.JOB) == job:
                layer_collection.exclude = True
            else:
                waiting += list(layer_collection.children)


def _reclaim_names(scene: bpy.types.Scene, job: str) -> None:
    """Recognise the objects of a scene that was appended, or whose original was deleted, where most names have other numbers.

    A few renumbered objects among others are copies that the user made.
    """
    items = _objects_of(scene, job)
    copies = [item for item in items if roles.is_copy(item)]
    if copies and 2 * len(copies) > len(items):
        taken: set[tuple[Any, Any]] = {(i.get(roles.ROLE), i.get(roles.KEY)) for i in items if not roles.is_copy(i)}
        for item in sorted(copies, key=lambda copy: copy.name):
            place = (item.get(roles.ROLE), item.get(roles.KEY))
            if place not in taken:
                taken.add(place)
                _mark_all([item], job)
