"""Decisions of the cleanup: a table that was cut away, loose parts that were dropped, several pieces in one file."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ....core.arrays import Bools, Floats
from ....core.mesh.triangles import TriangleMesh
from ....core.scan.loose import Parts
from ....core.scan.table import Table
from ....job.decisions import Alternative, Decision
from ...thumbnails import Paint
from .looks import UP, Looks, looks_of_scan

CLEAR_TABLE, FAINT_TABLE = 0.9, 0.7
"""Confidence in a table that makes up at least `LARGE` of the surface, and in a smaller sheet: guesses."""
LARGE = 0.15
"""Share of the surface from which a sheet counts as large: a guess."""
OTHER_PIECE, APART = 0.25, 0.02
"""From this share of the largest part's area and this gap over its diagonal, another part counts as a second piece; guesses."""


def table_decision(paint: Paint, mesh: TriangleMesh, table: Table) -> Decision:
    """The decision that a table was cut away; it is red in the picture."""
    looks = looks_of_scan(paint, mesh)
    sheet = looks.places @ table.up - table.offset < max(4.0 * table.noise, 0.002 * float(np.linalg.norm(mesh.size)))
    share = (
        f"{100.0 * table.share:.0f} % of the surface lies in one level, faces up and ends in an open rim, with nothing below it"
    )
    return Decision(
        "table", "Is that the table it was scanned on?",
        Alternative("the table was cut away", {"cleanup.table": True}, looks.picture(table.up, faded=sheet)),
        CLEAR_TABLE if table.share >= LARGE else FAINT_TABLE, (share,),
        (Alternative("it belongs to the piece", {"cleanup.table": False}, looks.picture(table.up)),),
    )  # fmt: skip


def loose_decision(paint: Paint, mesh: TriangleMesh, found: Parts, percent: float) -> Decision:
    """The decision on which loose parts were dropped.

    percent: share of the main part's area from which a part counts as large.
    """
    looks = looks_of_scan(paint, mesh)
    kept, gone = int((found.keep & found.unsure).sum()), int((~found.keep).sum())
    doubt = int(found.unsure.sum())
    large = int((~found.keep & (found.areas >= 0.01 * percent * found.areas.max())).sum())
    words = f"{gone} loose part{'s' if gone != 1 else ''} dropped"
    evidence = [f"parts below {percent:g} % of the main one's surface go, but for whole ones that lie beside it"]
    if large:
        evidence.append(f"{large} larger part{'s lie' if large != 1 else ' lies'} away from the main one")
    if kept:
        evidence.append(f"{kept} small part{'s' if kept != 1 else ''} stayed: whole, and as near as a tooth or a bead")
    return Decision(
        "loose", "Do the loose parts belong to it?", Alternative(words, {"cleanup.loose": percent}, looks.picture(UP)),
        0.7 if doubt else 0.95, tuple(evidence),
        (Alternative("all of them belong to it", {"cleanup.loose": 0.0}, looks.picture(UP)),),
    )  # fmt: skip


def pieces_decision(paint: Paint, mesh: TriangleMesh, found: Parts) -> Decision | None:
    """Where a file holds two things of similar size: both were kept as one, or those far from the largest were left out; a crop
    box would keep any of them."""
    main = int(found.areas.argmax())
    diagonal = float(np.linalg.norm(found.boxes[main, 1] - found.boxes[main, 0]))
    others = np.flatnonzero(found.areas > OTHER_PIECE * found.areas[main])
    apart = [part for part in others if part != main and _gap(found.boxes[part], found.boxes[main]) > APART * diagonal]
    if not apart:
        return None
    looks = looks_of_scan(paint, mesh)
    gone = [part for part in apart if not found.keep[part]]
    ways = []
    for number, part in enumerate([main, *apart]):
        if len(gone) == len(apart) and part == main:
            continue  # as it was taken
        low, high = found.boxes[part]
        margin = 0.01 * (high - low)
        box = {"cleanup.crop_low": _rounded(low - margin), "cleanup.crop_high": _rounded(high + margin)}
        ways.append(
            Alternative(f"only piece {number + 1} is meant", box, looks.picture(UP, faded=_outside(looks, [(low, high)])))
        )
    words, left = f"{1 + len(apart)} pieces that don't touch were taken for one subject", None
    evidence = "they are of similar size and lie apart; a stand of its own, or a lid, would look the same"
    if gone:
        ways.append(Alternative("all of them are one subject", {"cleanup.loose": 0.0}, looks.picture(UP)))
        far = f"{len(gone)} far from the largest {'were' if len(gone) > 1 else 'was'} left out"
        words = f"of {1 + len(apart)} pieces of similar size {far}"
        left = _outside(looks, [tuple(found.boxes[part]) for part in (main, *apart) if found.keep[part]])
        evidence = "what belongs to a piece, a stand of its own or a lid, lies beside it"
    return Decision(
        "pieces", "Is that one subject or several?", Alternative(words, {}, looks.picture(UP, faded=left)), 0.6, (evidence,),
        tuple(ways),
    )  # fmt: skip


def _outside(looks: Looks, boxes: Sequence[tuple[Floats, Floats]]) -> Bools:
    """(n,) which of the places shown lie in none of the boxes (low, high)."""
    found = np.ones(len(looks.places), bool)
    for low, high in boxes:
        found &= ((looks.places < low) | (looks.places > high)).any(axis=1)
    return found


def _rounded(corner: Floats) -> list[float]:
    return [float(f"{part:.6g}") for part in corner]


def _gap(box: Floats, other: Floats) -> float:
    return float(np.linalg.norm(np.maximum(np.maximum(box[0] - other[1], other[0] - box[1]), 0.0)))
