"""Draws a further scan in each of the poses that registration could not decide between, as small pictures to choose from."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.mesh.similarity import Similarity
from ..meshes import MM, read_mesh
from ..thumbnails import paint_of, vertex_colours
from .stand_mask import MASK

if TYPE_CHECKING:
    import bpy

    from ...core.scan.registration import Surfels
    from ..stage import Stage

POINTS = 9000
"""Points of each scan that are drawn."""


def open_scans(results: dict[str, dict[str, object]]) -> list[str]:
    """The keys of the further scans for which registration found several poses or was not sure."""
    figures = results.get("registration", {}).get("figures", {})
    return [name.removeprefix("candidates_") for name in sorted(figures) if name.startswith("candidates_")]


def pose_pictures(stage: Stage, key: str, *, most: int = 12, pixels: int = 128) -> list[tuple[int, Floats]]:
    """(number of the pose, picture (pixels, 2 * pixels, 4), bottom row first) of a scan's candidate poses, likeliest first.

    key: of the scan. most: number of poses at most.
    """
    from ...core.scan.registration import overlay  # Blender's start, which draws panels, needs none of it

    figures = stage.results().get("registration", {}).get("figures", {})
    fixed, moving = _surfels(stage.require("upright"), MM, 1), _surfels(stage.require("clean", key), 1.0, 2)
    pictures = []
    for entry in figures.get(f"candidates_{key}", ())[:most]:
        pose = Similarity.from_matrix(np.array(entry["pose"], float).reshape(4, 4))
        moved = replace(
            moving, points=pose.apply(moving.points), normals=pose.turn(moving.normals), spacing=moving.spacing * pose.scale
        )
        picture = overlay(fixed, moved, pixels=pixels, laid_over=True)
        pictures.append((int(entry["number"]), np.concatenate([picture, np.ones((*picture.shape[:2], 1))], axis=2)))
    return pictures


def _surfels(item: bpy.types.Object, scale: float, seed: int) -> Surfels:
    from ...core.scan.registration import sample_surfels

    mesh = read_mesh(item, scale=scale)
    mesh = replace(mesh, colours={name: values for name, values in mesh.colours.items() if name != MASK})
    shown = vertex_colours(paint_of(item), mesh)
    return sample_surfels(replace(mesh, vertices=mesh.vertices.astype(float)), POINTS, seed=seed, colour=shown)
