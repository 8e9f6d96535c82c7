"""The decision on whether there is a stand, and where it meets the piece."""

from __future__ import annotations

import numpy as np

from ....core.mesh.triangles import TriangleMesh
from ....core.scan.separation import Separation
from ....job.decisions import Alternative, Decision
from ...thumbnails import Paint
from .stand_pictures import marked_picture

WITH_A_SCAN = 0.95
"""Confidence in a stand where a scan of it was given."""
MOST_SURE = 0.98
"""Confidence is never higher: a guess."""
OFFERED = 2
"""The most alternative cuts that are offered."""


def stand_decision(paint: Paint, mesh: TriangleMesh, found: Separation, *, by_hand: bool, given: bool = False) -> Decision:
    """The decision 'stand'.

    given: there is a separate scan of the stand. by_hand: the settings say it.
    """
    height = max(float(mesh.vertices[:, 2].max()), 1e-9)
    none = np.zeros(len(mesh.faces), bool)
    whole = Alternative("one piece without a stand", {"separation.stand": "no"}, marked_picture(paint, mesh, none))

    def cut(separation: Separation) -> Alternative:
        words = f"a stand up to {separation.top_mm:.1f} mm, {100.0 * separation.top_mm / height:.0f} % of the height"
        sets = {"separation.stand": "yes", "separation.stand_top": round(100.0 * separation.top_mm / height, 1)}
        return Alternative(words, sets, marked_picture(paint, mesh, separation.stand))

    others = tuple(cut(other) for other in found.others[:OFFERED])
    if found.field is None:
        evidence = found.others[0].evidence if found.others else (found.reason.split(", so ")[0],)
        sure = min(1.0 - max([found.chance, *(other.chance for other in found.others)]), MOST_SURE)
        return Decision("stand", QUESTION, whole, sure, evidence, others, by_hand)
    sure = WITH_A_SCAN if given else found.chance
    return Decision("stand", QUESTION, cut(found), min(sure, MOST_SURE), found.evidence, (whole, *others), by_hand)


QUESTION = "Does it stand on a stand that is not the piece?"
