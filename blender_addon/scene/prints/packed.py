"""Digests the packed file of an image, once for both digests that are recorded of a block: a map of 4096 px holds 100 MB."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator
from contextvars import ContextVar

import bpy

_KEPT: ContextVar[dict[int, bytes] | None] = ContextVar("_KEPT", default=None)
"""The digests by the image's session number, within `read_once` alone."""


@contextlib.contextmanager
def read_once() -> Iterator[None]:
    """Within it each image's packed file is read and digested once; nothing may change an image meanwhile."""
    before = _KEPT.set({})
    try:
        yield
    finally:
        _KEPT.reset(before)


def packed_digest(image: bpy.types.Image) -> bytes:
    """The SHA-256 of an image's packed file."""
    known = _KEPT.get()
    if known is None:
        known = {}
    if image.session_uid not in known:
        known[image.session_uid] = hashlib.sha256(image.packed_file.data).digest()
    return known[image.session_uid]
