"""Where do the close-up photos lie on the piece, and up to which magnification do the data show true detail?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ...core.mesh.triangles import TriangleMesh, edges
from ...core.shots.close_looks.carried import CloseupPlace, as_ratio, carried
from ...core.shots.shot_plan import Shot
from ..stage import Stage
from ..surface.closeup_places import PLACES, WIDTH


def closeup_places(stage: Stage) -> list[CloseupPlace]:
    """The places of the piece's close-up photos."""
    image = stage.find("closeup_weight", "piece")
    numbers = np.array(image.get(PLACES, ()) if image is not None else (), float)
    rows = numbers[: len(numbers) // WIDTH * WIDTH].reshape(-1, WIDTH)
    return [CloseupPlace(row[:3], row[3:6], float(row[6]), float(row[7])) for row in rows]


def scan_finest_mm(stage: Stage, piece: TriangleMesh) -> float:
    """The finest detail of the scan itself, mm: that of the recovered relief, or else twice the mesh's median edge length."""
    image = stage.find("relief_height", "piece")
    if image is not None and image.get("found") and np.isfinite(image.get("trusted_mm", np.inf)):
        return float(image["trusted_mm"])
    pairs, _ = edges(piece.faces)
    return 2.0 * float(np.median(np.linalg.norm(piece.vertices[pairs[:, 0]] - piece.vertices[pairs[:, 1]], axis=1)))


def note_true_magnification(
    stage: Stage, shots: Sequence[Shot], places: Sequence[CloseupPlace], scan_mm: float
) -> dict[str, Any]:
    """Note for each close look up to which magnification the data show true detail; returns figures by shot name.

    Does nothing without close-up photos.
    """
    figures: dict[str, Any] = {}
    for shot in shots if places else ():
        if shot.ask.kind != "detail":
            continue
        look = -shot.pose.rotation[:, 2]
        spot = shot.pose.position + shot.optics.focus_mm * look
        here = [place for place in places if np.linalg.norm(place.middle - spot) < place.radius]
        finest = min([scan_mm, *(place.finest for place in here)])
        reached, elsewhere = carried(finest, shot.ask.coc), carried(scan_mm, shot.ask.coc)
        figures[f"{shot.ask.name}_carried"] = round(reached, 3)
        name, m = shot.ask.name, shot.optics.magnification
        if here:
            stage.note(
                f"{name}: its close-up shows true detail up to {as_ratio(reached)}, the scan elsewhere to {as_ratio(elsewhere)}"
            )
        elif m > 1.25 * reached:
            stage.note(f"{name}: at {as_ratio(m)} it enlarges the scan's own detail, which is true up to {as_ratio(reached)}")
    return figures
