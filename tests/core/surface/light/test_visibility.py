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


def test_in_front_of_a_wide_wall_the_light_that_it_sends_back_is_its_own() -> None:
    """A point 5 mm before a wall 60 mm wide, of radiance 1 and 2 and 3 a channel: its irradiance over pi is that of the wall
    but for what passes beside it, R^2 / (R^2 + h^2) of a disc of radius R at height h (a disc seen square on; any handbook of
    radiometry). A point that looks away from the wall gets nothing.
    """
    across = np.linspace(-30, 30, 31)
    u, v = (grid.ravel() for grid in np.meshgrid(across, across, indexing="ij"))
    place = np.arange(31 * 31).reshape(31, 31)
    a, b, c, d = (corner.ravel() for corner in (place[:-1, :-1], place[1:, :-1], place[1:, 1:], place[:-1, 1:]))
    near = np.concatenate([np.stack([a, c, b], 1), np.stack([a, d, c], 1)])  # looks to -x
    samples = spread_samples(np.stack([np.full_like(u, 5.0), u, v], 1), near, count=60_000, seed=1)
    normals = np.array([[1.0, 0, 0], [-1.0, 0, 0]])
    seen = look_round(samples, np.zeros((2, 3)), normals, light.half_sphere(256))
    radiance = np.tile([1.0, 2.0, 3.0], (len(samples.position), 1))
    irradiance, flux = light.bounced(seen, normals, radiance)
    least, most = 30.0**2 / (30.0**2 + 25.0), 1.02  # of the disc within the square; the directions are a grid
    assert ((least - 0.04) * np.array([1, 2, 3]) < irradiance[0]).all() and (irradiance[0] < most * np.array([1, 2, 3])).all()
    assert np.allclose(irradiance[1], 0.0)
    assert np.allclose(flux[0, :, 0] / np.linalg.norm(flux[0, :, 0]), [1.0, 0.0, 0.0], atol=0.02)  # it comes from the wall
