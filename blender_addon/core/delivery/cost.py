"""What will pictures cost? Seconds by a few tries, memory and disk by what was measured a pixel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ..records import record

DISK = {"still": 16.0, "cutout": 5.0, "frame": 3.0}
"""Bytes a pixel that a picture's files take at most: a still has 8 bits, 16 bits and half floats, which noise keeps from
packing (6.0 + 6.0 + 3.0 unpacked, and what a file has beside); a cut-out has four channels."""
MEMORY, MEMORY_BEYOND, WHOLE = 840.0, 210.0, 2_500_000
"""Bytes a pixel that Cycles, the denoiser and the reading of the original hold at the most while a picture is made: for the
first so many pixels, and for those beyond, since large pictures are made in tiles. Set by what a still of the demo took at the
peak beside the scene: 0.35 GB at 0.6 million pixels, 1.40 at 1.7, 2.85 at 6.0; beyond that it is a guess."""


@record
class Trial:
    """A picture that was tried: its pixels, the seconds that it took."""

    pixels: int
    seconds: float


def picture_seconds(small: Trial, large: Trial, pixels: int) -> float:
    """Seconds that a picture of so many pixels will take: a part that every picture costs, and a part that goes by pixels.

    Two tries tell the parts apart. Where the larger one was no slower, all counts as the fixed part.
    """
    if large.pixels <= small.pixels:
        raise ValueError("the larger try must have more pixels")
    each = max(large.seconds - small.seconds, 0.0) / (large.pixels - small.pixels)
    fixed = max(small.seconds - each * small.pixels, 0.0)
    return fixed + each * pixels


@dataclass
class Pace:
    """How long what is left will take: for each kind of picture the seconds that one takes, expected or measured."""

    left: dict[str, int]
    expected: dict[str, float]
    speed: float = 1.0
    """How many times as fast as one process all that render are together."""

    def took(self, kind: str, seconds: float, done: int) -> None:
        """A picture of a kind took so long, the `done`th of its kind: the mean so far counts from now on."""
        before = self.expected.get(kind, seconds) if done > 1 else seconds
        self.expected[kind] = before + (seconds - before) / max(done, 1)
        self.left[kind] = max(self.left.get(kind, 0) - 1, 0)

    def seconds(self) -> float | None:
        """Seconds for all that is left; None where nothing is known of a kind that is left."""
        kinds = [kind for kind, count in self.left.items() if count]
        if any(kind not in self.expected for kind in kinds):
            return None
        return sum(self.left[kind] * self.expected[kind] for kind in kinds) / self.speed


def disk_bytes(pixels: Mapping[str, Sequence[int]]) -> int:
    """Bytes of disk that pictures take at most: for each kind the pixels of each."""
    return int(sum(DISK[kind] * sum(each) for kind, each in pixels.items()))


def memory_bytes(pixels: int) -> int:
    """Bytes of memory that a picture of so many pixels takes while it is made, beside the scene."""
    return int(MEMORY * min(pixels, WHOLE) + MEMORY_BEYOND * max(pixels - WHOLE, 0))


def size_in_words(count: int) -> str:
    """Bytes as a person says them."""
    return f"{count / 1e9:.1f} GB" if count >= 0.95e9 else f"{max(1, round(count / 1e6))} MB"


def in_words(seconds: float) -> str:
    """About how long, as a person says it."""
    if seconds < 90.0:
        return f"{max(1, round(seconds))} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min"
