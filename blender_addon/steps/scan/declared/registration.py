"""Brings further scans onto the first: rotation, translation and scale, with a verdict."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import angle, integer, point, table, text

LABEL = "Align scans"
NEEDS = ("upright", "clean")
MAKES = ("aligned",)
COST = 2.0


@dataclass(kw_only=True)
class Pair:
    """One spot, picked on a further scan and on the first."""

    scan: str = text("2", help="Which further scan: its place in the list of scans")
    on_further: tuple[float, ...] | None = point(
        None, unit="", help="The spot on the further scan, in that scan's own coordinates"
    )
    on_first: tuple[float, ...] | None = point(None, unit="", help="The same spot on the first scan, in its own coordinates")


@dataclass(kw_only=True)
class Choice:
    """Which of the fits that are equally good is right."""

    scan: str = text("2", help="Which further scan: its place in the list of scans")
    candidate: int = integer(1, low=1, high=99, label="Fit", help="Number of the possible fit, as its picture is numbered")
    turn: float = angle(
        0.0, low=-360.0, high=360.0, help="How far it is turned on from that fit, where any turn about its axis fits"
    )


@dataclass(kw_only=True)
class Settings:
    """How further scans are brought onto the first."""

    pairs: list[Pair] = table(
        Pair, label="Matching spots", help="Three or more spots picked on both scans, for a scan that does not find its place"
    )
    choices: list[Choice] = table(
        Choice, label="Possible fits", help="The right one of a scan's possible fits, such as those of a square stand"
    )
