"""What will pictures cost? Seconds by a few trial renders, memory and disk by figures measured per pixel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ..records import record

DISK = {"still": 16.0, "cutout": 5.0, "frame": 3.0}
"""Most bytes a pixel of a picture's files. A still is kept as 8 bits, 16 bits and half floats, which noise makes incompressible
(3.0 + 6.0 + 6.0 uncompressed, and the files' metadata); a cut-out has four channels."""
MEMORY, MEMORY_BEYOND, WHOLE = 840.0, 210.0, 2_500_000
"""Most bytes a pixel that Cycles, the denoiser and the reading of the original hold while a picture is made: for the first
`WHOLE` pixels, and for those beyond, since large pictures are rendered in tiles. Set by the peak of a still of the demo, the
scene apart: 0.35 GB at 0.6 million pixels, 1.40 at 1.7, 2.85 at 6.0; beyond that it is a guess."""


@record
class Trial:
    """A trial render: its pixels, and the seconds that it took."""

    pixels: int
    seconds: float


def picture_seconds(small: Trial, large: Trial, pixels: int) -> float:
    """Seconds that a picture of `pixels` pixels will take: a fixed part, and a part in proportion to the pixels.

    Two trials give both parts. Where the larger one was no slower, all counts as the fixed part.
    """
    if large.pixels <= small.pixels:
        raise ValueError("the larger trial must have more pixels")
    each = max(large.seconds - small.seconds, 0.0) / (large.pixels - small.pixels)
    fixed = max(small.seconds - each * small.pixels, 0.0)
    return fixed + each * pixels


@dataclass
class Pace:
    """How long the remaining pictures will take: for each kind the number left, and the seconds of one, expected or
    measured."""

    left: dict[str, int]
    expected: dict[str, float]
    speed: float = 1.0
    """How many times as fast as one process all rendering processes are together."""

    def took(self, kind: str, seconds: float, done: int) -> None:
        """Record that the `done`th picture of a kind took this long; from now on the mean so far is used."""
        before = self.expected.get(kind, seconds) if done > 1 else seconds
        self.expected[kind] = before + (seconds - before) / max(done, 1)
        self.left[kind] = max(self.left.get(kind, 0) - 1, 0)

    def seconds(self) -> float | None:
        """Seconds for all remaining pictures; None where nothing is known of one of their kinds."""
        kinds = [kind for kind, count in self.left.items() if count]
        if any(kind not in self.expected for kind in kinds):
            return None
        return sum(self.left[kind] * self.expected[kind] for kind in kinds) / self.speed


def disk_bytes(pixels: Mapping[str, Sequence[int]]) -> int:
    """Bytes of disk that pictures take at most: for each kind the pixels of each."""
    return int(sum(DISK[kind] * sum(each) for kind, each in pixels.items()))


def memory_bytes(pixels: int) -> int:
    """Bytes of memory that a picture of `pixels` pixels takes while it is made, besides the scene."""
    return int(MEMORY * min(pixels, WHOLE) + MEMORY_BEYOND * max(pixels - WHOLE, 0))


def size_in_words(count: int) -> str:
    """A number of bytes in readable units."""
    return f"{count / 1e9:.1f} GB" if count >= 0.95e9 else f"{max(1, round(count / 1e6))} MB"


def in_words(seconds: float) -> str:
    """A rounded duration in readable units."""
    if seconds < 90.0:
        return f"{max(1, round(seconds))} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min"
