"""Joins the mesh, removes what is not the piece, fills holes and open undersides, and reduces very dense meshes."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import integer, number, point, switch

LABEL = "Cleanup"
NEEDS = ("scan",)
MAKES = ("clean",)
COST = 3.0
READS = ("render.size", "orientation.height")


@values
class Settings:
    """How the scan is cleaned."""

    ALIASES = {"close": "fill_holes"}

    table: bool = switch(
        True, label="Cut table away", help="Cut away the table and any paper targets on which the piece was scanned"
    )
    crop_low: tuple[float, ...] | None = point(
        None, unit="", label="Crop from", help="Keep only what lies above these x, y, z, in the scan file's units", more=True
    )
    crop_high: tuple[float, ...] | None = point(
        None, unit="", label="Crop to", help="Keep only what lies below these x, y, z, in the scan file's units", more=True
    )
    spikes: bool = switch(
        True,
        label="Smooth spikes",
        help="Move vertices that stick out like spikes, or whose triangles are folded over, back to their neighbours",
        more=True,
    )
    loose: float = number(
        1.0,
        low=0.0,
        high=50.0,
        unit="%",
        label="Drop parts under",
        help="Remove loose parts smaller than this share of the main part's area; 0 keeps all",
    )
    fill_holes: bool = switch(
        True, help="Fill holes and the open underside; filled faces are marked, so that nobody takes them for scanned ones"
    )
    budget: int | None = integer(
        None,
        low=1000,
        high=20_000_000,
        label="Most triangles",
        help="Most triangles to keep; a denser mesh is reduced; auto: 500,000, and 2,000,000 for a scan without UVs, "
        "as there is no map that could keep its fine form",
    )
