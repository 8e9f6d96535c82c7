"""What does a copy need? Its size in pixels and the memory to make it, known before anything is written."""

from __future__ import annotations

from .crop_window import Window
from .resampling import STRIP_BYTES

READING, KEPT = 22, 6
"""Bytes per pixel of the original while it is read (as floats of four channels, then as integers) and afterwards."""
JPEG_PIXEL = 8
"""Bytes a pixel of a JPEG copy while Blender writes it: the picture, and a copy of it."""


def copy_size(window: Window, width: int | None) -> tuple[int, int]:
    """(width, height) of a copy in pixels; a width of None keeps the original's pixels."""
    whole = window.size
    wide = width or whole[0]
    return wide, max(1, round(whole[1] * wide / whole[0]))


def copy_bytes(original: tuple[int, int], size: tuple[int, int], kind: str) -> int:
    """About how many bytes of memory a copy of (width, height) takes while it is made."""
    pixels = original[0] * original[1]
    making = KEPT * pixels + 8 * max(STRIP_BYTES, 12 * size[0]) + (JPEG_PIXEL * size[0] * size[1] if kind == "jpeg" else 0)
    return max(READING * pixels, making)
