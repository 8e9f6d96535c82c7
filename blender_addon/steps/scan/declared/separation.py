"""Takes piece and stand apart along a natural line, and closes both; with a scan of the stand, that becomes the stand."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import choice, length, number, text

LABEL = "Separation"
NEEDS = ("upright",)
USES = ("aligned",)
MAKES = ("piece", "stand")
COST = 5.0


@dataclass(kw_only=True)
class Settings:
    """How piece and stand are taken apart."""

    stand: str = choice(
        "auto",
        (
            ("auto", "Auto", "Look whether there is a stand"),
            ("yes", "There is one", "Cut at the likeliest line, however faint"),
            ("no", "None", "All of it is the piece"),
        ),
        help="Whether there is a stand to take off; paint the mask on the upright scan to say where",
    )
    stand_top: float | None = number(
        None,
        low=0.1,
        high=95.0,
        unit="%",
        label="Stand reaches to",
        help="How high the stand reaches, as a share of the whole height; by itself the likeliest line",
        more=True,
    )
    stand_from: str | None = text(
        None, help="Which scan gives the stand: its place in the list; auto: the aligned scan of the stand, else the first"
    )
    sink: float = length(
        0.12, low=0.0, high=2.0, help="How deep the piece's cut is set into a stand from another scan", more=True
    )
