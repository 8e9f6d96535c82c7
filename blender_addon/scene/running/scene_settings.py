"""The scene's own settings: which of them the job set, which the user has changed since, and how to save and restore them.

The job records each value that it sets. Where the scene has another value later, the user chose it: it stays, with a note.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterable
from typing import Any

import bpy

from .. import roles
from ..compat import our_compositor
from ..prints.fingerprint import fingerprint, reference

SETTINGS = "settings"
"""In the job's state: the settings that the job made, path below the scene to value (for a data-block its reference)."""

COMPOSITOR = "compositor"
"""Among the settings: the digest of the job's compositor tree as the job left it."""

WORDS = {
    "world": "world", "camera": "active camera", COMPOSITOR: "compositor", "render.engine": "render engine",
}  # fmt: skip

_PARTS = ("", "render", "render.image_settings", "cycles", "view_settings", "display_settings", "unit_settings")
_POINTERS = ("camera", "world")


def owner_of(scene: bpy.types.Scene, path: str) -> tuple[bpy.types.bpy_struct, str]:
    """The object and the attribute that a path such as 'view_settings.exposure' refers to."""
    *parts, name = path.split(".")
    owner = scene
    for part in parts:
        owner = getattr(owner, part)
    return owner, name


def plain_value(value: object) -> Any:
    """A setting's value as it is recorded: for a data-block its role in the job, or its name."""
    return reference(value) if value is None or isinstance(value, bpy.types.ID) else value


def is_users(noted: object, now: object) -> bool:
    """Whether a setting has another value than the job gave it, within single precision."""
    if isinstance(noted, float) and isinstance(now, (int, float)):
        return not math.isclose(noted, now, rel_tol=1e-5, abs_tol=1e-7)
    return bool(noted != now)


def users_settings(scene: bpy.types.Scene, noted: dict[str, object], paths: Iterable[str]) -> dict[str, object]:
    """The settings among `paths` that the user has changed since they were recorded, path to the present value."""
    found = {}
    for path in paths:
        if path not in noted:
            continue
        owner, name = owner_of(scene, path)
        value = getattr(owner, name)
        if is_users(noted[path], plain_value(value)) and not (path == "camera" and lost(scene)):
            found[path] = value
    return found


def lost(scene: bpy.types.Scene) -> bool:
    """Whether the active camera is missing, put aside by a swap, or another job's, as in a copied scene: nobody chose that."""
    camera = scene.camera
    return camera is None or roles.put_aside(camera) or camera.get(roles.JOB, scene.get(roles.JOB)) != scene.get(roles.JOB)


def give(scene: bpy.types.Scene, values: dict[str, object]) -> None:
    """Set settings by their paths."""
    for _ in range(2):  # twice: the file format determines the possible bit depths, and may come after them
        for path, value in values.items():
            owner, name = owner_of(scene, path)
            with contextlib.suppress(TypeError, AttributeError):
                setattr(owner, name, value)


def note_settings(scene: bpy.types.Scene, noted: dict[str, object], paths: Iterable[str]) -> None:
    """Record the present values as those that the job set."""
    for path in paths:
        owner, name = owner_of(scene, path)
        noted[path] = plain_value(getattr(owner, name))


def users_compositor(scene: bpy.types.Scene, noted: dict[str, object]) -> bool:
    """Whether the user has changed or removed the job's compositor since it was recorded."""
    return COMPOSITOR in noted and noted[COMPOSITOR] != compositor_print(scene)


def compositor_print(scene: bpy.types.Scene) -> str:
    """A digest of the job's compositor; '' where the scene has none."""
    tree = our_compositor(scene)
    return "" if tree is None else fingerprint(tree)


def in_words(path: str) -> str:
    """The words for a setting in a message to the user."""
    return WORDS.get(path, path.rpartition(".")[2].replace("_", " "))


def keep_settings(scene: bpy.types.Scene) -> Callable[[], None]:
    """Remember all plain settings of a scene; the function returned restores those that differ."""
    kept = []
    for part in _PARTS:
        owner, _ = owner_of(scene, f"{part}." if part else "")
        kept += [(owner, name, value) for name, value in _plain(owner)]
    kept += [(scene, name, getattr(scene, name)) for name in _POINTERS]

    def back() -> None:
        for _ in range(2):  # twice: the file format determines the possible bit depths, and comes after them
            for owner, name, value in kept:
                with contextlib.suppress(Exception):
                    if getattr(owner, name) != value:
                        setattr(owner, name, value)

    return back


def _plain(owner: bpy.types.ID) -> list[tuple[str, object]]:
    found = []
    for prop in owner.bl_rna.properties:
        if (
            prop.is_readonly
            or prop.type not in {"BOOLEAN", "INT", "FLOAT", "STRING", "ENUM"}
            or getattr(prop, "is_array", False)
        ):
            continue
        with contextlib.suppress(Exception):
            value = getattr(owner, prop.identifier)
            if value != "":  # an enum without items can't be set again
                found.append((prop.identifier, value))
    return found
