"""How near could a camera come if each part of the piece were found where it truly lies on the photo?

The scan's form is wrong by its blur and its lumps, and a camera is solved for on that form. So this is what is left to a way of
finding parts that makes no mistake, or none but a pixel's: the yardstick of cameras that are found on the picture.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera, angle_between
from blender_addon.core.closeups.placing.refinement import ABOVE
from blender_addon.core.closeups.placing.resection import Prior, Seen, errors, resected
from blender_addon.core.closeups.seen import Form, faces_seen
from blender_addon.core.mesh.triangles import shading_normals
from scripts.closeups.placed import random_camera
from scripts.truth.scanner import BakedScan, baked_scan, baked_shape

from .placing import PLACE_PERCENT, TURN_DEG, percent

Floats = Any
SIZE = (2000, 1500)
"""Of a photo, px: a pixel is then as large as the scan's texel on the whole piece."""
CELL = 10
"""Pixels between the points that are found, as between the patches of the tool."""
OFF = {"exact": 0.0, "noisy": 1.0}
"""Pixels that each of them is found off by itself. The tool's patches lie 1.1 off on a photo of the whole owl, and 2.2 on those
of the rough-hewn mask (medians, at the true camera)."""
COUNT = 12
"""Photos of a shape and kind."""


def rows(shape: str, kind: str) -> list[tuple[str, float, dict[str, Any]]]:
    """The rows of a shape's photos, 'whole' or of a 'part'."""
    case: dict[str, Any] = {"case": f"reachable/{shape}/{kind}", "unit": "%"}
    answers = np.array([_off(shape, kind, number) for number in range(COUNT)])
    found: list[tuple[str, float, dict[str, Any]]] = []
    for name, (turn, place) in zip(OFF, answers.transpose(1, 2, 0), strict=True):
        found.append((f"{name}_success_percent", percent((turn < TURN_DEG) & (place < PLACE_PERCENT)), case))
        found.append((f"{name}_place_percent", float(np.median(place)), case))
    return found


def _off(shape: str, kind: str, number: int) -> list[tuple[float, float]]:
    """For each of OFF (turn in degrees, place in percent of the distance) by which a photo's camera is off."""
    true = random_camera(baked_shape(shape).truth, np.random.default_rng((7, kind == "whole", number)), whole=kind == "whole")
    true, rng = true.scaled(SIZE), np.random.default_rng((33, kind == "whole", number))
    points, normals, heights = _points(shape, true, rng)
    there = true.project(points + heights[:, None] * normals)[0]
    above = true.project(points + ABOVE * _scanned(shape)[0].mm_a_texel * normals)[0] - true.project(points)[0]
    named = true.distance * float(np.exp(0.05 * rng.normal()))
    prior = Prior(named, 0.1) if number % 2 else Prior(1.5 * max(SIZE), 0.6)  # as `search.found` has it
    far, found = float(np.linalg.norm(points.mean(axis=0) - true.place)), []
    for off in OFF.values():
        whiten = np.broadcast_to(np.eye(2), (len(points), 2, 2))
        seen = Seen(points, there + off * rng.normal(size=there.shape), whiten, above[:, :, None])
        camera, scale = true, 1.0
        for _ in range(3):
            camera = resected(camera, seen, prior, scale=scale)
            scale = max(0.1, float(np.median(np.linalg.norm(errors(camera, seen), axis=1))) / 1.18)
        away = 100.0 * float(np.linalg.norm(camera.place - true.place)) / far
        found.append((angle_between(camera.rotation, true.rotation), away))
    return found


def _points(shape: str, camera: PhotoCamera, rng: Any) -> tuple[Floats, Floats, Floats]:
    """Points (n, 3) of the scan that a camera sees, one a cell of the photo, their normals (n, 3), and the mm (n,) that the
    true surface lies above them."""
    scan, form = _scanned(shape)
    known = np.flatnonzero((scan.texels.truth_face >= 0) & faces_seen(camera, form)[scan.texels.face])
    known = rng.permutation(known)
    cells = (camera.project(scan.texels.position[known])[0] / CELL).astype(int)
    chosen = known[np.unique(cells @ np.array([1, SIZE[0]]), return_index=True)[1]]
    return tuple(values[chosen].astype(float) for values in (scan.texels.position, scan.texels.normal, scan.texels.height))


@lru_cache(maxsize=1)
def _scanned(shape: str) -> tuple[BakedScan, Form]:
    """A shape's scan, and its form."""
    scan = baked_scan(shape)
    vertices = scan.scan.vertices.astype(float)
    return scan, Form(vertices, scan.scan.faces, shading_normals(vertices, scan.scan.faces))
