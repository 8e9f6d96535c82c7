"""What is written into a picture file beside its pixels: the profile of its colours, its size in print, words about it."""

from __future__ import annotations

from ...records import record
from .icc import SRGB, Gamut
from .xmp import PictureWords

INCH = 25.4


@record
class Labels:
    """The profile's gamut, dots an inch in print (None: not said), and words (None: none)."""

    gamut: Gamut = SRGB
    dpi: float | None = None
    words: PictureWords | None = None
