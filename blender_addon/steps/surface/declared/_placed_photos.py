"""The settings that close-ups and reference photos share: points marked on photo and scan, and places accepted by the user."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import point, table, text


@values
class SpotRow:
    """One point of the piece, marked on the first photo of a place and on the scan."""

    set: str = text("1", label="Place", help="Name of the camera's place whose first photo is marked")
    pixel: tuple[float, ...] | None = point(
        None, size=2, unit="px", help="The point on the photo: x and y from its top left corner, as the photo is displayed"
    )
    on_piece: tuple[float, ...] | None = point(None, help="The same point on the piece, in the scene")
    on_scan: tuple[float, ...] | None = point(
        None,
        unit="",
        help="Or the same point on the first scan as Blender imports it; in an OBJ or glTF file's own numbers: x, -z, y",
    )


def spots_table(a_place: str, on: str) -> list[SpotRow]:
    """The table of marked points. a_place: what has points of its own ("photo"). on: what they are marked on ("it")."""
    marked: list[SpotRow] = table(
        SpotRow,
        help=f"Four or more points per {a_place} (six are better), marked on {on} and on the scan; without them the camera is "
        "found automatically",
    )
    return marked


def accepted_names(found: str) -> str:
    """The names of accepted places. found: what of a place may not be sure ("camera found for them is")."""
    names: str = text(
        "",
        label="Accepted places",
        help=f"Names of places to use although the {found} not sure, separated by commas",
        more=True,
    )
    return names
