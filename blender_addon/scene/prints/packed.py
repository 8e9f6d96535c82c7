"""Digests the packed file of an image, once for both digests that are recorded of a block: a map of 4096 px holds 100 MB."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator

import bpy

_kept: list[dict[int, bytes]] = []


@contextlib.contextmanager
def read_once() -> Iterator[None]:
    """Within it each image's packed file is read and digested once; nothing may change an image meanwhile."""
    _kept.append({})
    try:
        yield
    finally:
        _kept.pop()


def packed_digest(image: bpy.types.Image) -> bytes:
    """The SHA-256 of an image's packed file."""
    known = _kept[-1] if _kept else {}
    if image.session_uid not in known:
        known[image.session_uid] = hashlib.sha256(image.packed_file.data).digest()
    return known[image.session_uid]
