"""Digests the packed file of an image; a map of 4096 px holds 100 MB."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import bpy


def packed_digest(block: bpy.types.ID) -> bytes | None:
    """The SHA-256 of an image's packed file; None for other data and where there is none."""
    packed = getattr(block, "packed_file", None)
    return None if packed is None else hashlib.sha256(packed.data).digest()
