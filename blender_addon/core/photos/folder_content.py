"""Which files of a folder are photographs to judge, what are the others, and in which order were the photos taken?"""

from __future__ import annotations

import re
from collections.abc import Sequence

from ..files.pictures.exif import Exif
from ..records import record

PICTURES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp")
FILMS = (".mp4", ".mov", ".m4v", ".avi", ".mkv", ".webm", ".3gp")
RAW = (".dng", ".cr2", ".cr3", ".nef", ".arw", ".raf", ".orf", ".rw2", ".pef")
_BRANDS = {
    b"heic": "HEIC", b"heix": "HEIC", b"heim": "HEIC", b"heis": "HEIC", b"hevc": "HEIC", b"mif1": "HEIC", b"msf1": "HEIC",
    b"avif": "AVIF", b"avis": "AVIF",
}  # fmt: skip
"""Brands in the first box of the file (ISO/IEC 23008-12, annex B; AV1 Image File Format 1.1)."""
WHOLE_PHOTO = 3.0
"""Megapixels below which a picture is hardly a phone camera's own file (common practice: 8 and more since 2013)."""
TALLEST = 1.85
"""Aspect ratio above which a picture is a screenshot, not a photo: cameras give 1, 4:3, 3:2 and 16:9 (1.78), screens of phones
2 and more (common practice)."""


@record
class Other:
    """A file that was not judged: its name, and a sentence that says why and what to do."""

    name: str
    why: str


def why_not(name: str, head: bytes) -> str | None:
    """Why a file is not judged, by its name and first 32 bytes; None for a picture, '' for a file that need
    not be mentioned."""
    suffix = "." + name.rpartition(".")[2].lower() if "." in name.lstrip(".") else ""
    brand = _BRANDS.get(head[8:12]) if head[4:8] == b"ftyp" else None
    if brand or suffix in (".heic", ".heif", ".avif"):
        kind = brand or suffix[1:].upper()
        return (
            f"{kind} can't be read here: set the phone's camera to its most compatible format (JPEG), or send them off the "
            "phone as JPEG at full size"
        )
    if suffix in RAW:
        return "a camera's raw file: develop it to JPEG at full size, all with the same settings"
    if suffix in FILMS:
        return "a film: its frames are small and blurred; take photos"
    if name.startswith(".") or suffix in (".ini", ".db", ".aae", ".xmp", ".thm"):
        return ""
    if suffix in PICTURES:
        return None
    return "no picture"


def in_order(taken: Sequence[tuple[str, Exif]]) -> list[int]:
    """Numbers of the photos (name, labels) in the order in which they were taken: by their times where nine in ten
    have one, those without at the end; else by their names, numbers in them by value."""
    timed = sum(bool(exif.taken) for _, exif in taken) >= 0.9 * len(taken)
    keys = [((not exif.taken, exif.taken) if timed else (False, ""), natural(name)) for name, exif in taken]
    return sorted(range(len(taken)), key=lambda number: keys[number])


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """A key by which 'IMG_9' comes before 'IMG_10'."""
    parts = re.findall(r"\d{1,18}|\D+|\d+", name.lower())
    return tuple((0, int(part), "") if part.isdecimal() and len(part) <= 18 else (1, 0, part) for part in parts)


def is_screen(name: str, size: tuple[int, int], exif: Exif) -> bool:
    """Whether a picture is a screenshot: no camera metadata, and a screen's shape or a screenshot's name."""
    shape = max(size) / max(1, min(size))
    return not exif.from_camera and (shape > TALLEST or bool(re.search(r"screen.?shot", name.lower())))


def is_copy(name: str, size: tuple[int, int], exif: Exif) -> str:
    """A message where a picture is a screenshot or a reduced copy rather than a camera's own file, else ''."""
    if exif.from_camera:
        return ""
    shown = f"{size[0]} x {size[1]} pixels and no camera's labels"
    if is_screen(name, size, exif):
        return f"Looks like a screenshot ({shown})"
    if size[0] * size[1] < WHOLE_PHOTO * 1e6:
        return f"Looks like a reduced copy ({shown})"
    return ""
