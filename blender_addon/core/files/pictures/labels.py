"""What is written into a picture file beside its pixels: the colour profile, the size in print, a description."""

from __future__ import annotations

from ...records import record
from .icc import SRGB, Gamut
from .xmp import PictureWords

INCH = 25.4
"""In mm."""


@record
class Labels:
    """The profile's gamut, dots an inch in print (None: not said), and words (None: none)."""

    gamut: Gamut = SRGB
    dpi: float | None = None
    words: PictureWords | None = None
