"""A small picture through a camera shows points where the camera's own projection puts them, the near before the far."""

import numpy as np
import pytest

from blender_addon.core.mesh.preview import through
from blender_addon.core.shots.framing import look, project

WHITE, BLACK = np.ones(3), np.zeros(3)
HALF, SIZE = (0.2, 0.15), (80, 60)
ROTATION = look(30.0, 15.0)
POSITION = np.array([0.0, 0.0, 0.04]) + 0.5 * ROTATION[:, 2]


def patch(middle, spread, colour, toward=1.0, count=40000):
    """Points on a small square across the axis, facing the camera (or away)."""
    side = np.random.default_rng(1).uniform(-spread, spread, (count, 2))
    points = np.asarray(middle) + side @ ROTATION[:, :2].T
    normals = np.broadcast_to(toward * ROTATION[:, 2], points.shape)
    return points, normals, np.broadcast_to(colour, points.shape)


def picture(*patches):
    points, normals, colours = (np.concatenate(parts) for parts in zip(*patches, strict=True))
    return through(points, normals, colours, position=POSITION, rotation=ROTATION, half=HALF, size=SIZE)


def test_a_patch_lies_where_it_projects_to():
    middle = np.array([0.03, 0.02, 0.06])
    seen = picture(patch(middle, 0.004, WHITE))
    slopes, _ = project(middle[None], POSITION, ROTATION)
    place = (slopes[0] / HALF + 1.0) * 0.5 * SIZE
    rows, columns = np.nonzero(seen[..., 0] > 0.45)  # brighter than table and wall
    assert len(rows) > 4
    assert (columns.mean() + 0.5, rows.mean() + 0.5) == pytest.approx(place, abs=0.6)
    assert seen.shape == (60, 80, 4) and (seen[..., 3] == 1.0).all()


@pytest.mark.parametrize("swapped", [False, True])
def test_the_near_hides_the_far_and_what_faces_away_is_not_seen(swapped):
    near = patch(POSITION - 0.3 * ROTATION[:, 2], 0.03, BLACK)
    far = patch(POSITION - 0.5 * ROTATION[:, 2], 0.03, WHITE)
    seen = picture(*((far, near) if swapped else (near, far)))
    assert seen[25:35, 35:45, 0].max() == 0.0
    away = patch(POSITION - 0.3 * ROTATION[:, 2], 0.03, BLACK, toward=-1.0)
    assert picture(away, far)[25:35, 35:45, 0].min() > 0.3


def test_table_below_the_horizon_wall_above():
    level = look(0.0, 0.0)
    none = np.zeros((0, 3))
    seen = through(none, none, none, position=np.array([0.0, -0.5, 0.1]), rotation=level, half=HALF, size=SIZE)
    assert (seen[:30, :, 0] > seen[30:, :, 0]).all()
