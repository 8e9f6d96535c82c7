"""How large does a close look show the scan's triangles? On a sheet whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.shots.close_looks.facets import edge_pixels
from blender_addon.core.shots.framing import CameraPose, look


def _sheet(step: float) -> tuple[np.ndarray, np.ndarray]:
    """An upright sheet of 60 mm that faces -Y, of right triangles with legs of `step` mm, and one behind it that faces away."""
    count = round(60.0 / step) + 1
    x, z = np.meshgrid(np.linspace(-30, 30, count), np.linspace(-30, 30, count))
    points = np.column_stack([x.ravel(), np.zeros(x.size), z.ravel()])
    place = np.arange(x.size).reshape(count, count)
    a, b, c, d = place[:-1, :-1].ravel(), place[:-1, 1:].ravel(), place[1:, 1:].ravel(), place[1:, :-1].ravel()
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return np.concatenate([points, points + [0.0, 5.0, 0.0]]), np.concatenate([faces, faces[:, ::-1] + len(points)])


@pytest.mark.parametrize(("step", "away"), [(1.0, 200.0), (0.5, 200.0), (1.0, 100.0)])
def test_an_edge_takes_as_many_pixels_as_the_lens_gives_it(step: float, away: float) -> None:
    """The frame is 0.2 of the distance wide, so that a leg of `step` takes step / (0.2 away) of its 3000 pixels; two of three
    edges are legs: they are the median."""
    pose = CameraPose(np.array([0.0, -away, 0.0]), look(0.0, 0.0), away)
    found = edge_pixels(*_sheet(step), pose, (0.1, 0.0667), long_side=3000)
    assert found == pytest.approx(3000.0 * step / (0.2 * away), rel=1e-3)


def test_where_too_few_triangles_are_seen_nothing_is_said() -> None:
    pose = CameraPose(np.array([0.0, -200.0, 0.0]), look(0.0, 0.0), 200.0)
    assert np.isnan(edge_pixels(*_sheet(20.0), pose, (0.1, 0.0667), long_side=3000))
    behind = CameraPose(np.array([0.0, -200.0, 0.0]), look(180.0, 0.0), 200.0)
    assert np.isnan(edge_pixels(*_sheet(1.0), behind, (0.1, 0.0667), long_side=3000))
