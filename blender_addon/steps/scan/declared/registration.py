"""Aligns further scans with the first by rotation, translation and scale, and judges how sure the fit is."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import angle, integer, point, table, text

LABEL = "Align scans"
NEEDS = ("upright", "clean")
MAKES = ("aligned",)
COST = 2.0


@values
class Pair:
    """One point, picked on a further scan and on the first."""

    scan: str = text("2", help="Number of the further scan in the list of scans")
    on_further: tuple[float, ...] | None = point(
        None, unit="", help="The point on the further scan, in that scan's own coordinates"
    )
    on_first: tuple[float, ...] | None = point(None, unit="", help="The same point on the first scan, in its own coordinates")


@values
class Choice:
    """Which of several equally good fits is right."""

    scan: str = text("2", help="Number of the further scan in the list of scans")
    candidate: int = integer(1, low=1, high=99, label="Fit", help="Number of the right fit, as on its picture")
    turn: float = angle(
        0.0, low=-360.0, high=360.0, help="Further turn from that fit, where any turn about the axis fits as well"
    )


@values
class Settings:
    """How further scans are aligned with the first."""

    pairs: list[Pair] = table(
        Pair,
        label="Matching spots",
        help="Three or more points picked on both scans, for a scan that is not aligned automatically",
    )
    choices: list[Choice] = table(
        Choice, label="Possible fits", help="Your choice where several fits are equally good, as for a square stand"
    )
