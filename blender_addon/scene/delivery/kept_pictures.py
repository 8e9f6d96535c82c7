"""Which pictures on disk are up to date? Each has a digest of what it shows, so that a later run renders only the others."""

from __future__ import annotations

import hashlib
from collections.abc import Generator, Sequence
from pathlib import Path

import bpy

from ...core.files.whole import damage
from ...core.generators import finish
from ...job.files.made_files import MANIFEST, MadeFiles
from ...job.files.whole_files import remember
from .. import roles
from ..dressing.lights import SETUP
from ..dressing.set_parts import DRESSING
from ..prints.fingerprint import fingerprint
from ..reference.files import REFERENCE

LIGHT = ("world", "light", "card")
"""Roles of the data that makes up a light set-up."""
AWAY_FROM_PHOTO = (*DRESSING, *LIGHT, "shot", "pivot", "move")
"""Roles of what is not there in the picture of a reference photo (`scene/reference/light.py`)."""


class SceneDigests:
    """Digests of everything that a job's pictures show, the user's changes and other objects of the scene included."""

    def __init__(self, light: str, players: list[tuple[str, str, str, str]], others: list[str], view: str):
        self._light, self._players, self._others, self._view = light, players, others, view

    def of(self, shot: bpy.types.Object) -> str:
        """The digest of a shot's pictures, without other shots and light set-ups that only those use."""
        key, light = shot[roles.KEY], shot.get(SETUP) or self._light
        by_photo = shot.get(roles.ROLE) == REFERENCE
        digest = hashlib.sha256()
        for role, name, setup, shown in self._players:
            if role.startswith(REFERENCE):
                if not by_photo or name != key:
                    continue
            elif by_photo and role in AWAY_FROM_PHOTO:
                continue
            elif (role == "shot" and name != key) or (role in LIGHT and setup and setup != light):
                continue
            digest.update(f"{role} {name} {shown};".encode())
        for words in (*self._others, "" if by_photo else self._view):
            digest.update(words.encode())
        return digest.hexdigest()[:20]


def scene_digests(scene: bpy.types.Scene, job: str) -> SceneDigests:
    """The digests of a job in a scene; each data-block is read once, whatever the number of shots."""
    return finish(digesting(scene, job))


def digesting(scene: bpy.types.Scene, job: str) -> Generator[None, None, SceneDigests]:
    """As `scene_digests`, yielding after each data-block so that the window can respond: a million triangles take seconds.

    The scene must not be changed meanwhile.
    """
    silent = ("pivot", "move")  # animation of cameras and of the turntable, which stills do not show
    ours = [block for block in roles.players(job) if block[roles.ROLE] not in silent]
    others = [item for item in sorted(scene.objects, key=lambda block: block.name) if item.get(roles.JOB) != job]
    players: list[tuple[str, str, str, str]] = []
    words: list[str] = []
    for kind, name, played in [_place(block, played=True) for block in ours] + [_place(item, played=False) for item in others]:
        block = getattr(bpy.data, kind)[name]  # by name: no reference to Blender's data may be held across a yield
        if played:
            players.append((block[roles.ROLE], block[roles.KEY], block.get(SETUP, ""), fingerprint(block)))
        else:
            words.append(f"{block.name} {fingerprint(block)};")
        yield
    for block in (*bpy.data.materials, *bpy.data.node_groups):
        if block.get(roles.JOB) != job and block.users:
            words.append(f"{block.name} {fingerprint(block)};")
    view = scene.view_settings
    seen = repr((view.view_transform, view.look, round(view.exposure, 5), round(view.gamma, 5)))
    if view.use_white_balance:
        seen += repr((round(view.white_balance_temperature, 2), round(view.white_balance_tint, 3)))
    return SceneDigests(scene.world.get(SETUP, "") if scene.world else "", players, words, seen)


_COLLECTIONS = {"NODETREE": "node_groups", "MESH": "meshes", "COLLECTION": "collections"}
"""The names in `bpy.data` of kinds of data-blocks whose plural is irregular."""


def _place(block: bpy.types.ID, *, played: bool) -> tuple[str, tuple[str, str | None], bool]:
    """How to look a block up again: its collection in `bpy.data`, its name and library; and whether it has a role."""
    kind = _COLLECTIONS.get(block.id_type, f"{block.id_type.lower()}s")
    return kind, (block.name, block.library.filepath if block.library else None), played


class KeptPictures:
    """The digests of the pictures in one folder, from the list of files made in the job's folder."""

    def __init__(self, folder: Path):
        self._list = MadeFiles.around(folder / MANIFEST) or MadeFiles(folder)

    def current(self, path: Path, digest: str, *, beside: Sequence[Path] = ()) -> bool:
        """Whether the file and those `beside` it exist and are whole, and the file's digest is this one."""
        try:
            return self._list.shows(path) == digest and not any(damage(file) for file in (path, *beside))
        except OSError:
            return False

    def add(self, path: Path, digest: str) -> None:
        """Record a finished picture's digest."""
        remember(path, digest)


def put_aside(path: Path) -> Path | None:
    """Rename an existing picture to the next free version name beside it (`hero.v1.png`); None when there is none."""
    if not path.is_file():
        return None
    number = 1
    while (target := path.with_name(f"{path.stem}.v{number}{path.suffix}")).exists():
        number += 1
    path.rename(target)
    return target
