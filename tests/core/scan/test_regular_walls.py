"""How far do regular walls run? Forms whose walls are known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.face_graph import FaceGraph
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan.regular_walls import Walls, planar_share, regular_walls, upright_axis
from scripts.truth.modelling.fields import box, ellipsoid, joined, rotation
from scripts.truth.pieces.stands import meshed


def walls_of(field: Any) -> tuple[Walls, float]:
    vertices, faces = meshed(field, 1.2, low=-46.0, high=92.0)
    mesh = TriangleMesh(vertices - [0.0, 0.0, vertices[:, 2].min()], faces)
    graph = FaceGraph.of(mesh)
    height = float(mesh.vertices[:, 2].max())
    return regular_walls(graph.centre, graph.smoothed_normals(0.8), graph.area, height), height


def ball_on(foot: Any, top: float) -> Any:
    return lambda p: joined(foot(p), ellipsoid(p, (0, 0, top + 18.0), (15, 15, 19)), 0.5)


def test_a_blocks_walls_end_at_its_top() -> None:
    """A block 12 mm high under a form without walls: to a slice or two, which the rounded edge takes."""
    walls, height = walls_of(ball_on(lambda p: box(p, (0, 0, 6), (20, 14, 6), 0.5), 12.0))
    assert walls.kind == "straight" and walls.top == pytest.approx(12.0, abs=0.03 * height)


def test_a_cone_is_turned_all_the_way() -> None:
    """Every face of it looks away from one axis, up to its tip."""
    walls, height = walls_of(
        lambda p: np.maximum(np.hypot(p[:, 0] - 5, p[:, 1]) + 0.4 * p[:, 2] - 24.0, np.abs(p[:, 2] - 25.0) - 25.0)
    )
    assert walls.kind == "turned" and walls.top > 0.9 * height
    assert walls.axis == pytest.approx([5.0, 0.0], abs=0.3)


def test_a_body_has_no_walls() -> None:
    walls, height = walls_of(
        lambda p: np.minimum(ellipsoid(p, (0, 0, 20), (22, 13, 21)), ellipsoid(p, (9, 4, 40), (9, 12, 14)))
    )
    assert walls.top < 0.02 * height  # where it touches the ground a round form is a ring for a slice


def test_shares_of_a_prism_and_a_cylinder() -> None:
    """Four walls are planes and no circle; a cylinder's side is a circle and no plane."""
    angle, level = np.meshgrid(np.linspace(0, 2 * np.pi, 240, endpoint=False), np.linspace(0.5, 9.5, 10))
    round_ = np.stack([np.cos(angle), np.sin(angle), 0 * angle], -1).reshape(-1, 3)
    side = 20.0 * round_ + np.c_[np.zeros((level.size, 2)), level.ravel()]
    assert planar_share(side, round_, np.ones(len(side))) == pytest.approx((0.0, 1.0))
    along = np.linspace(-19.5, 19.5, 40)
    wall = np.stack([np.full(40, 20.0), along, np.full(40, 5.0)], axis=1)
    turns = [rotation(("z", angle)) for angle in (0, 90, 180, 270)]
    places, facing = (np.concatenate([part @ turn for turn in turns]) for part in (wall, np.tile([1.0, 0.0, 0.0], (40, 1))))
    straight, turned = planar_share(places, facing, np.ones(160))
    assert straight == pytest.approx(1.0) and turned < 0.5


def test_the_axis_of_lines_that_meet() -> None:
    points = np.array([[10.0, 2.0], [3.0, 9.0], [-4.0, 2.0]])
    facing = points - [3.0, 2.0]
    assert upright_axis(points, facing / np.linalg.norm(facing, axis=1, keepdims=True), np.ones(3)) == pytest.approx(
        [3.0, 2.0], abs=1e-5
    )
