"""Stands the scan up on its base, turns its front to the camera, and gives it its true size from one known length."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...core.mesh import TriangleMesh
from ...core.support_plane import FILE_AXES, Support, steady_vertices, supports
from ...core.units import guess_unit, texels_per_unit
from ...core.upright import rotation_between, stand_top, turn_about_z
from ...job.errors import SubjectError
from ...job.settings import angle, choice, length, point, switch
from ...job.step import Progress, Result, Run
from ...scene.hull import hull_triangles
from ...scene.meshes import make_object, read_mesh
from ...scene.textures import sizes_of

LABEL = "Orientation"
NEEDS = ("clean",)
MAKES = ("upright",)

ASSUMED_MM = 80.0
AXES = {"x": (1, 0, 0), "-x": (-1, 0, 0), "y": (0, 1, 0), "-y": (0, -1, 0), "z": (0, 0, 1), "-z": (0, 0, -1)}


@dataclass(kw_only=True)
class Settings:
    """What orientation can be told."""

    height: float | None = length(None, low=0.1, high=5000.0, help="Known height; without any known length the size is assumed")
    of: str = choice(
        "whole",
        (("whole", "Whole", "The height of piece and stand together"), ("piece", "Piece", "The height of the piece over its stand")),
        help="What the known height is the height of",
    )
    width: float | None = length(None, low=0.1, high=5000.0, help="Known width, seen from the front")
    up: str = choice(
        "auto",
        (("auto", "By itself", "Found from the shape"), *((axis, axis.upper(), f"The scan's {axis.upper()} axis") for axis in AXES)),
        help="Which way is up",
    )
    keep_lean: bool = switch(False, help="Keep the scan's own vertical, so that a leaning piece goes on leaning")
    front: float | None = angle(None, low=-360.0, high=360.0, help="Which side is the front, as a turn from the scan's own")


def run(stage: Any, settings: Settings) -> Run:
    """Find the support, stand the mesh on it, size it, offer it."""
    yield Progress(0.05, "Looking for what it stands on")
    clean = stage.require("clean", "1")
    mesh = read_mesh(clean)
    support = _support(mesh, settings)
    yield Progress(0.6, "Standing it up")
    turn = rotation_between(support.up, np.array([0.0, 0.0, 1.0]))
    if settings.front is not None:
        turn = turn_about_z(-settings.front) @ turn
    standing = mesh.vertices.astype(float) @ turn.T
    good = steady_vertices(mesh)
    ground = float((turn @ support.point)[2]) if support.kind != "given" else float(standing[good, 2].min())
    middle = 0.5 * (standing[good].min(axis=0) + standing[good].max(axis=0))
    shift = -np.array([middle[0], middle[1], ground])
    standing += shift
    level = replace(mesh, vertices=standing)
    clean = stage.require("clean", "1")
    mm, how, assumed = _mm_per_unit(stage, settings, level, good, clean)
    yield Progress(0.9, "Giving it its size")
    upright = replace(mesh, vertices=(standing * mm / 1000.0).astype(np.float32))
    materials = [slot.material for slot in clean.material_slots]
    item = make_object("Upright", upright, materials=materials)
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn * mm / 1000.0, shift * mm / 1000.0
    item["bozzetto_matrix"] = matrix.ravel().tolist()
    item["bozzetto_mm_per_unit"], item["bozzetto_assumed"] = mm, assumed
    stage.offer("upright", item, key="1", name="Upright")
    size = np.ptp(standing[good], axis=0) * mm
    size[2] = standing[good, 2].max() * mm
    density = texels_per_unit(replace(mesh, vertices=standing * mm), sizes_of(materials))
    if assumed:
        stage.warn(f"No length is known, so the size is assumed ({how}); set the height for true size")
    figures = {
        "height_mm": round(float(size[2]), 3), "width_mm": round(float(size[0]), 3), "depth_mm": round(float(size[1]), 3),
        "mm_per_unit": mm, "assumed": assumed, "support": support.kind, "support_flat": round(support.flat, 3),
        "tip_deg": round(support.tip_deg, 2), "texels_per_mm": round(density, 3), "up": [round(float(v), 5) for v in support.up],
    }  # fmt: skip
    words = f"{size[0]:.1f} x {size[1]:.1f} x {size[2]:.1f} mm{' (assumed)' if assumed else ''}, standing on "
    words += {"flat": "its base", "resting": "a stable pose", "given": "the side that was given"}[support.kind]
    return Result(words, figures)


def _support(mesh: TriangleMesh, settings: Settings) -> Support:
    if settings.up != "auto":
        up = np.array(AXES[settings.up], float)
        return Support(up, np.zeros(3), "given", 0.0, 0.0, 0.0, 0.0)
    found = supports(mesh, hull_triangles, axes=FILE_AXES)
    if not found:
        raise SubjectError("No way to stand was found: the scan is flat or too small; say which way is up")
    best = found[0]
    if settings.keep_lean:
        up = np.zeros(3)
        axis = int(np.argmax(np.abs(best.up)))
        up[axis] = np.sign(best.up[axis])
        best = replace(best, up=up, kind="given")
    return best


def _mm_per_unit(stage: Any, settings: Settings, level: TriangleMesh, good: Any, clean: Any) -> tuple[float, str, bool]:
    """Millimetres a scan unit, how that is known, and whether it is only assumed."""
    points = level.vertices[good]
    top = float(points[:, 2].max())
    if settings.height is not None:
        known = top
        if settings.of == "piece":
            over = stand_top(level)
            if over is None:
                stage.warn("No stand was found under the piece, so the known height counts for the whole")
            else:
                known = top - over
        return settings.height / known, "height", False
    if settings.width is not None:
        return settings.width / float(np.ptp(points[:, 0])), "width", False
    if clean.get("bozzetto_unit_known"):
        return float(clean["bozzetto_mm_per_unit"]), "unit", False
    longest = float(np.ptp(points, axis=0).max())
    if clean.get("bozzetto_mm_per_unit"):
        mm = float(clean["bozzetto_mm_per_unit"])
        return mm, f"the file's unit guessed, {mm * longest:.0f} mm long", True
    return ASSUMED_MM / longest, f"{ASSUMED_MM:.0f} mm along the longest side", True
