"""Brings further scans onto the first: rotation, translation and scale, with a verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.mesh import TriangleMesh
from ...core.registration import sample_surfels
from ...core.registration.icp import refine
from ...core.similarity import Similarity
from ...job.settings import length
from ...job.step import Progress, Result, Run
from ...scene.meshes import make_object, read_mesh
from ...scene.spatial import Points

LABEL = "Registration"
NEEDS = ("upright", "clean")
MAKES = ("aligned",)


@dataclass(kw_only=True)
class Settings:
    """How further scans are brought onto the first."""

    largest_rms: float = length(0.5, low=0.001, high=10.0, help="A fit worse than this is no fit")


def run(stage: Any, settings: Settings) -> Run:
    """Every further scan onto the first."""
    further = {key: item.name for key, item in stage.find_all("clean").items() if key != "1"}
    if not further:
        return Result("There is one scan, so nothing had to be aligned", {"scans": 0})
    yield Progress(0.05, "reading the first scan")
    first = sample_surfels(read_mesh(stage.require("upright"), scale=1000.0), 20000, seed=stage.seed)
    tree = Points(first.points)
    figures: dict[str, Any] = {"scans": len(further)}
    words = []
    for place, (key, name) in enumerate(further.items()):
        yield Progress(0.1 + 0.85 * place / len(further), f"aligning scan {key}")
        item = stage.find("clean", key)
        mesh = read_mesh(item, scale=1000.0)
        moving = sample_surfels(mesh, 4000, seed=stage.seed)
        pose, rms, overlap = refine(moving, first, tree.nearest, Similarity.identity())
        sure = rms <= settings.largest_rms and overlap > 0.6
        figures[f"rms_mm_{key}"], figures[f"overlap_{key}"] = round(rms, 4), round(overlap, 3)
        figures[f"verdict_{key}"] = "sure" if sure else "not sure"
        if not sure:
            stage.warn(f"Scan {key} ({name}) was not brought onto the first with certainty, so it is not used")
            continue
        words.append(f"Scan {key} lies on the first with {rms:.3f} mm RMS")
        placed = TriangleMesh(
            pose.apply(np.asarray(mesh.vertices, float)) / 1000.0, mesh.faces, mesh.uv, mesh.material, mesh.colours,
            mesh.face_marks,
        )  # fmt: skip
        made = make_object(f"Aligned {key}", placed, materials=list(item.data.materials))
        made.hide_render = True
        stage.offer("aligned", made, key=key, name=f"Aligned {key}")
    return Result("; ".join(words) or "No further scan could be aligned with certainty", figures)
