"""Which pictures on disk are still right? A digest a file tells, so that a run after a crash goes on where it stopped."""

from __future__ import annotations

import contextlib
import hashlib
import json
from pathlib import Path
from typing import Any

import bpy

from .. import roles
from ..fingerprint import fingerprint
from ..session import write_text

_FILE = ".made.json"


def scene_digest(scene: Any, job: str) -> str:
    """A digest of all that a job's pictures show, hand-made changes included; what is not of the job counts by place."""
    digest = hashlib.sha256()
    for block in roles.players(job):
        if block[roles.ROLE] == "pivot":  # made by rendering, and shows nothing
            continue
        digest.update(f"{block[roles.ROLE]} {block[roles.KEY]} {fingerprint(block)};".encode())
    for item in sorted(scene.objects, key=lambda one: one.name):
        if item.get(roles.JOB) != job:
            digest.update(f"{item.name} {fingerprint(item)};".encode())
    for block in (*bpy.data.materials, *bpy.data.node_groups):
        if block.get(roles.JOB) != job and block.users:
            digest.update(f"{block.name} {fingerprint(block)};".encode())
    view = scene.view_settings
    digest.update(repr((view.view_transform, view.look, round(view.exposure, 5), round(view.gamma, 5))).encode())
    return digest.hexdigest()[:20]


class Made:
    """The digests of the pictures in one folder."""

    def __init__(self, folder: Path):
        self._path = folder / _FILE
        self._digests: dict[str, str] = {}
        with contextlib.suppress(OSError, ValueError, RecursionError):
            kept = json.loads(self._path.read_text(encoding="utf-8"))
            self._digests = dict(kept) if isinstance(kept, dict) else {}

    def current(self, path: Path, digest: str) -> bool:
        """Whether the file is there, whole, and shows what would be rendered now."""
        return self._digests.get(path.name) == digest and path.is_file() and path.stat().st_size > 0

    def add(self, path: Path, digest: str) -> None:
        """Remember a finished picture."""
        self._digests[path.name] = digest
        write_text(self._path, json.dumps(self._digests, indent=0, sort_keys=True) + "\n")


def put_aside(path: Path) -> Path | None:
    """Rename an existing picture to the next free version name beside it (`hero.v1.png`); None when there is none."""
    if not path.is_file():
        return None
    number = 1
    while (target := path.with_name(f"{path.stem}.v{number}{path.suffix}")).exists():
        number += 1
    path.rename(target)
    return target
