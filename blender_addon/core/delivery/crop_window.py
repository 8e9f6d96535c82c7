"""How is a picture cropped to another shape? So that the subject stays whole if possible, and in the same relative place.

Where the subject is wider or higher than the new shape allows, it is not cut: the frame extends past the picture, and the
caller fills the bands and reports them.
"""

from __future__ import annotations

import math
import re

from ..records import record

AIR = 0.025
"""Share of the cropped frame kept free beside the subject on each side, where the picture has that much."""


@record
class Box:
    """Where the subject lies in a picture, in shares of its width and height from the top left; beyond 0 to 1 it is cut."""

    left: float
    top: float
    right: float
    bottom: float


@record
class Window:
    """The part of a picture that is kept, px from the top left, and the bands added on each side of it, px."""

    x: int
    y: int
    width: int
    height: int
    band_x: int = 0
    band_y: int = 0

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) with the bands, px."""
        return self.width + 2 * self.band_x, self.height + 2 * self.band_y


def parse_aspect(words: str) -> float:
    """Width over height of '4:5', '16x9' or '1.5'. Raises ValueError for anything else, and beyond 0.2 to 5."""
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:[:x/]\s*(\d+(?:\.\d+)?)\s*)?", words)
    if not found:
        raise ValueError(f'"{words.strip()}" is no shape such as 3:2')
    width, height = float(found[1]), float(found[2] or 1.0)
    if height == 0.0 or not 0.2 <= width / height <= 5.0:
        raise ValueError(f'"{words.strip()}" is narrower than 1:5 or wider than 5:1')
    return width / height


def crop_window(size: tuple[int, int], aspect: float, subject: Box | None = None) -> Window:
    """The window of that aspect (width over height) in a picture of (width, height) px, as large as possible.

    subject: what must not be cut; along an axis on which the picture itself cuts it, it is ignored.
    """
    width, height = size
    if width / height > aspect:
        x, length, band = _along(width, max(1, round(height * aspect)), _span(subject, width, 0))
        return Window(x, 0, length, height, 0, _band(length / aspect, height) if band else 0)
    y, length, band = _along(height, max(1, round(width / aspect)), _span(subject, height, 1))
    return Window(0, y, width, length, _band(length * aspect, width) if band else 0, 0)


def _span(subject: Box | None, length: int, axis: int) -> tuple[int, int] | None:
    """First and last px of the subject along an axis; None where the picture cuts it there, or where it is not known."""
    if subject is None:
        return None
    low, high = ((subject.left, subject.right), (subject.top, subject.bottom))[axis]
    return (math.floor(low * length), math.ceil(high * length)) if 0.0 <= low < high <= 1.0 else None


def _along(whole: int, part: int, span: tuple[int, int] | None) -> tuple[int, int, bool]:
    """(start, length, whether bands are needed) of a window of `part` px on a line of `whole` px that must hold `span`."""
    if span is None:
        return (whole - part) // 2, part, False
    low, high = span
    if high - low > part:
        air = AIR * (high - low)
        start, end = max(0, int(low - air)), min(whole, int(high + air + 1))
        return start, end - start, True
    air = min(AIR * part, 0.5 * (part - (high - low)))
    middle = 0.5 * (low + high)
    share = middle - part * middle / whole  # the subject's middle keeps its relative place in the frame
    placed = min(max(share, high + air - part), low - air)
    return min(max(round(placed), 0, high - part), whole - part, low), part, False


def _band(wanted: float, have: int) -> int:
    return max(0, round(0.5 * (wanted - have)))
