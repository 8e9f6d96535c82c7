"""Takes piece and stand apart along a natural line, and closes both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.mesh import TriangleMesh, signed_volume
from ...core.mesh_cut import closed, cut
from ...core.separation import find_stand
from ...job.settings import choice
from ...job.step import Progress, Result, Run
from ...scene.meshes import make_object, read_mesh

LABEL = "Separation"
NEEDS = ("upright",)
USES = ("aligned",)
MAKES = ("piece", "stand")


@dataclass(kw_only=True)
class Settings:
    """How piece and stand are taken apart."""

    stand: str = choice(
        "auto",
        (
            ("auto", "By itself", "Look for a stand"),
            ("none", "None", "All of it is the piece"),
        ),
        help="Whether there is a stand to take off",
    )


def run(stage: Any, settings: Settings) -> Run:
    """Find the stand, cut along the line, close both."""
    yield Progress(0.05, "reading the subject")
    upright = stage.require("upright")
    mesh = read_mesh(upright, scale=1000.0)
    yield Progress(0.2, "looking for the stand")
    found = find_stand(mesh) if settings.stand == "auto" else None
    if found is None or found.field is None:
        whole, _ = closed(mesh)
        stage.offer("piece", _object(stage, "Piece", whole), name="Piece")
        words = found.reason if found else "All of it is the piece, as asked"
        return Result(words[0].upper() + words[1:], {"stand": False, "piece_volume_mm3": _volume(whole)})
    yield Progress(0.6, "cutting and closing")
    halves = cut(mesh, found.field)
    stage.offer("piece", _object(stage, "Piece", halves.above, halves.above_cap), name="Piece")
    stage.offer("stand", _object(stage, "Stand", halves.below, halves.below_cap), name="Stand")
    figures = {
        "stand": True,
        "stand_from": "1",
        "top_mm": round(found.top_mm, 3),
        "piece_volume_mm3": _volume(halves.above),
        "stand_volume_mm3": _volume(halves.below),
    }
    return Result(f"Piece and stand are apart: {found.reason}", figures)


def _volume(mesh: TriangleMesh) -> float:
    return round(signed_volume(np.asarray(mesh.vertices, float), mesh.faces), 2)


def _object(stage: Any, name: str, mesh: TriangleMesh, flat: Any = None) -> Any:
    """An object in metres with the subject's materials; the faces `flat` (mask) are not shaded smooth across their rim."""
    materials = list(stage.require("upright").data.materials)
    metres = TriangleMesh(
        np.asarray(mesh.vertices) / 1000.0, mesh.faces, mesh.uv, mesh.material, mesh.colours, mesh.face_marks
    )
    item = make_object(name, metres, materials=materials)
    if flat is not None:
        item.data.polygons.foreach_set("use_smooth", ~np.asarray(flat, bool))
        item.data.update()
    return item
