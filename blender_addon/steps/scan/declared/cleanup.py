"""Welds, drops what is not the thing, fills holes and open bottoms, and brings the triangles to a sensible number."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import integer, number, point, switch

LABEL = "Cleanup"
NEEDS = ("scan",)
MAKES = ("clean",)
COST = 3.0
READS = ("render.size", "orientation.height")


@dataclass(kw_only=True)
class Settings:
    """The settings of cleanup."""

    ALIASES = {"close": "fill_holes"}

    table: bool = switch(
        True, label="Cut table away", help="Cut away the table and the paper targets that the thing was scanned on"
    )
    crop_low: tuple[float, ...] | None = point(
        None, unit="", label="Crop from", help="Keep only what lies beyond this corner, in the scan's units", more=True
    )
    crop_high: tuple[float, ...] | None = point(
        None, unit="", label="Crop to", help="Keep only what lies before this corner, in the scan's units", more=True
    )
    spikes: bool = switch(
        True, label="Settle spikes", help="Put vertices that stand off like spikes back among their neighbours", more=True
    )
    loose: float = number(
        1.0,
        low=0.0,
        high=50.0,
        unit="%",
        label="Drop parts under",
        help="Loose parts smaller than this share of the main one's surface are dropped",
    )
    fill_holes: bool = switch(True, help="Fill holes and open bottoms, and mark the faces as filled")
    budget: int = integer(
        500_000,
        low=1000,
        high=20_000_000,
        label="Most triangles",
        help="Most triangles to keep; more are thinned out, UVs kept",
    )
