"""Which pictures on disk are still right? Each has a digest of what it shows, by which a run after a crash goes on."""

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
from ..prints.fingerprint import fingerprint


def scene_digest(scene: bpy.types.Scene, job: str) -> str:
    """A digest of all that a job's pictures show, hand-made changes included; what is not of the job counts by place."""
    return finish(digesting(scene, job))


def digesting(scene: bpy.types.Scene, job: str) -> Generator[None, None, str]:
    """The same, leaving the window a moment after each block: a set of a million triangles takes seconds.

    The scene must not be changed meanwhile.
    """
    digest = hashlib.sha256()
    silent = ("pivot", "move")  # cameras on their way and what turns: they show nothing in a picture
    ours = [block for block in roles.players(job) if block[roles.ROLE] not in silent]
    others = [item for item in sorted(scene.objects, key=lambda block: block.name) if item.get(roles.JOB) != job]
    for kind, name, played in [_place(block, played=True) for block in ours] + [_place(item, played=False) for item in others]:
        block = getattr(bpy.data, kind)[name]  # by name: nothing of Blender's is held while the window has its moment
        words = f"{block[roles.ROLE]} {block[roles.KEY]}" if played else block.name
        digest.update(f"{words} {fingerprint(block)};".encode())
        yield
    for block in (*bpy.data.materials, *bpy.data.node_groups):
        if block.get(roles.JOB) != job and block.users:
            digest.update(f"{block.name} {fingerprint(block)};".encode())
    view = scene.view_settings
    digest.update(repr((view.view_transform, view.look, round(view.exposure, 5), round(view.gamma, 5))).encode())
    if view.use_white_balance:  # said only then, so that pictures of earlier versions still count as made
        digest.update(repr((round(view.white_balance_temperature, 2), round(view.white_balance_tint, 3))).encode())
    return digest.hexdigest()[:20]


_COLLECTIONS = {"NODETREE": "node_groups", "MESH": "meshes", "COLLECTION": "collections"}
"""Where Blender keeps the kinds of blocks whose collection is not called by adding an s."""


def _place(block: bpy.types.ID, *, played: bool) -> tuple[str, tuple[str, str | None], bool]:
    """Where a block is found again: its collection, its name and library; and whether it plays a role."""
    kind = _COLLECTIONS.get(block.id_type, f"{block.id_type.lower()}s")
    return kind, (block.name, block.library.filepath if block.library else None), played


class KeptPictures:
    """What the pictures in one folder show, as the list of the job's folder has it."""

    def __init__(self, folder: Path):
        self._list = MadeFiles.around(folder / MANIFEST) or MadeFiles(folder)

    def current(self, path: Path, digest: str, *, beside: Sequence[Path] = ()) -> bool:
        """Whether the file, and each of those `beside` it, is there and whole, and shows what would be rendered now."""
        try:
            return self._list.shows(path) == digest and not any(damage(file) for file in (path, *beside))
        except OSError:
            return False

    def add(self, path: Path, digest: str) -> None:
        """Remember a finished picture."""
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
