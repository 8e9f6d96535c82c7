"""Renders the planned moving pictures as frames and films; a run after a crash continues where it stopped."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import choice, integer
from .render import DEVICES

LABEL = "Films"
NEEDS = ("piece", "shot", "surface")
USES = ("move", "stand", "table", "backdrop", "prop", "debris", "world", "light", "card", "pictures")
MAKES = ("films",)
COST = 1.0

QUALITIES = (
    ("proof", "Proof", "360 lines, quick, to approve the camera's move"),
    ("final", "Final", "1920 x 1080 pixels; slow without a graphics card"),
)


@values
class Settings:
    """How the films are rendered; which films there are is set under Shots."""

    quality: str = choice("final", QUALITIES, help="Size and noise of the films; use proof until the move is approved")
    lines: int | None = integer(
        None,
        low=90,
        high=4320,
        unit="px",
        label="Frame height",
        help="Height of the films' frames; auto: by the quality",
        more=True,
    )
    samples: int | None = integer(
        None, low=1, high=4096, help="Samples per pixel: more take longer and leave less noise; auto: by the quality", more=True
    )
    every: int = integer(
        1,
        low=1,
        high=100,
        label="Every n-th frame",
        help="Render only every n-th frame, to check a move quickly; 1 renders all",
        more=True,
    )
    device: str = choice(
        "auto",
        DEVICES,
        help="Device on which Cycles renders; auto: a graphics card where there is one, else the processor",
        more=True,
    )
