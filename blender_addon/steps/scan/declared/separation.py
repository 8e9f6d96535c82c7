"""Separates piece and stand along a natural line and closes both; a separate scan of the stand replaces the cut one."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import choice, length, number, text

LABEL = "Separation"
NEEDS = ("upright",)
USES = ("aligned",)
MAKES = ("piece", "stand")
COST = 5.0


@values
class Settings:
    """How piece and stand are separated."""

    stand: str = choice(
        "auto",
        (
            ("auto", "Auto", "Look for a stand, and cut only where it is clear"),
            ("yes", "There is one", "Cut at the most likely line, even where it is faint"),
            ("no", "None", "No cut: everything is the piece"),
        ),
        help="Whether to cut off a stand; to set the line yourself, paint the mask on the upright scan",
    )
    stand_top: float | None = number(
        None,
        low=0.1,
        high=95.0,
        unit="%",
        label="Stand reaches to",
        help="Height of the stand as a share of the whole height; auto: the most likely line",
        more=True,
    )
    stand_from: str | None = text(
        None, help="Number of the scan that gives the stand; auto: the aligned scan of the stand, else the first"
    )
    sink: float = length(
        0.12,
        low=0.0,
        high=2.0,
        help="How deep the piece is set into a stand from another scan, so that no gap shows",
        more=True,
    )
