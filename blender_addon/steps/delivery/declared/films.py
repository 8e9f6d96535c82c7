"""Renders the moving pictures that were planned as frames and films, resumed after a crash."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import choice, integer
from .render import DEVICES

LABEL = "Films"
NEEDS = ("piece", "shot", "surface")
USES = ("move", "stand", "table", "backdrop", "prop", "debris", "world", "light", "card", "pictures")
MAKES = ("films",)
COST = 1.0

QUALITIES = (
    ("proof", "Proof", "360 lines, quick, to approve the move"),
    ("final", "Final", "1920 x 1080 pixels; slow without a graphics card"),
)


@dataclass(kw_only=True)
class Settings:
    """How the moving pictures are rendered; which there are is planned under Shots."""

    quality: str = choice("final", QUALITIES, help="How large and how clean the films are")
    lines: int | None = integer(None, low=90, high=4320, unit="px", help="Height of a frame; auto: by the quality", more=True)
    samples: int | None = integer(None, low=1, high=4096, help="Samples a pixel; auto: by the quality", more=True)
    every: int = integer(1, low=1, high=100, help="Render only every so many frames, to look at a move", more=True)
    device: str = choice("auto", DEVICES, help="What Cycles renders on", more=True)
