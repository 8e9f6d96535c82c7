"""What a place sees of the piece itself."""

from __future__ import annotations

import numpy as np

from blender_addon.core.surface.light import light
from blender_addon.core.surface.light.visibility import look_round, spread_samples


def test_behind_a_wall_its_near_side_is_seen() -> None:
    """A closed slab from x = 5 to 7 before a point: what the point sees of it, and is lit by, is the side at 5."""
    across = np.linspace(-30, 30, 31)
    u, v = (grid.ravel() for grid in np.meshgrid(across, across, indexing="ij"))
    place = np.arange(31 * 31).reshape(31, 31)
    a, b, c, d = (corner.ravel() for corner in (place[:-1, :-1], place[1:, :-1], place[1:, 1:], place[:-1, 1:]))
    far = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])  # looks to +x
    vertices = np.concatenate([np.stack([np.full_like(u, x), u, v], 1) for x in (7.0, 5.0)])
    samples = spread_samples(vertices, np.concatenate([far, far[:, ::-1] + len(u)]), count=60_000, seed=1)
    seen = look_round(samples, np.zeros((1, 3)), np.array([[1.0, 0, 0]]), light.half_sphere(64))
    straight = seen.directions[:, 0] > 0.5
    blocker = seen.source[0, straight]
    assert seen.open[0, straight].mean() < 0.05  # a fiftieth of the pixels stay empty
    assert np.allclose(samples.position[blocker[blocker >= 0], 0], 5.0)
