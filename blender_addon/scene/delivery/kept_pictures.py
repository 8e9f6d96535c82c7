"""Which pictures on disk are still right? Each has a digest of what it shows, by which a run after a crash goes on."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import bpy

from ...core.files.whole import damage
from ...job.files.made_files import MANIFEST, MadeFiles
from ...job.files.whole_files import remember
from .. import roles
from ..prints.fingerprint import fingerprint


def scene_digest(scene: bpy.types.Scene, job: str) -> str:
    """A digest of all that a job's pictures show, hand-made changes included; what is not of the job counts by place."""
    digest = hashlib.sha256()
    for block in roles.players(job):
        if block[roles.ROLE] in ("pivot", "move"):  # cameras on their way and what turns: they show nothing in a picture
            continue
        digest.update(f"{block[roles.ROLE]} {block[roles.KEY]} {fingerprint(block)};".encode())
    for item in sorted(scene.objects, key=lambda block: block.name):
        if item.get(roles.JOB) != job:
            digest.update(f"{item.name} {fingerprint(item)};".encode())
    for block in (*bpy.data.materials, *bpy.data.node_groups):
        if block.get(roles.JOB) != job and block.users:
            digest.update(f"{block.name} {fingerprint(block)};".encode())
    view = scene.view_settings
    digest.update(repr((view.view_transform, view.look, round(view.exposure, 5), round(view.gamma, 5))).encode())
    if view.use_white_balance:  # said only then, so that pictures of earlier versions still count as made
        digest.update(repr((round(view.white_balance_temperature, 2), round(view.white_balance_tint, 3))).encode())
    return digest.hexdigest()[:20]


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
