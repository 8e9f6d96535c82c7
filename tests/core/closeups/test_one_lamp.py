"""Does a single lamp show the slopes across it too, where they are those of a surface?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.closeups.one_lamp import completed
from blender_addon.core.mesh.triangles import unit
from blender_addon.core.surface.bandpass import gaussian_blur
from blender_addon.core.surface.texels import Texels

SIDE = 96


def _pixels() -> Texels:
    count = SIDE * SIDE
    weight = np.full((count, 3), 1 / 3, np.float32)
    return Texels((SIDE, SIDE), np.arange(count), np.zeros(count, np.int64), weight, np.zeros(count, bool))


def _seen(lean: float, turn_deg: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(axes, normal, true slope, light) of rough relief on a plane that leans away from the camera, under a lamp at a turn."""
    rng = np.random.default_rng(6)
    height = gaussian_blur(rng.normal(size=(SIDE, SIDE)).astype(np.float32), 2.0).astype(float)
    up, across = (np.roll(height, -1, axis) - height for axis in (0, 1))
    axes = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])  # the camera looks along +Y
    normal = unit(np.array([[lean, 0.3 * lean, 1.0]]))
    flat = np.stack([across.ravel(), up.ravel(), np.zeros(SIDE**2)], axis=1)
    # the gradient of a height over the picture, as a change of the normal
    slope = normal[0, 2] * (flat - (flat @ normal[0])[:, None] * normal)
    turn = np.radians(turn_deg)
    lamp = np.tile(unit(np.array([[np.cos(turn), np.sin(turn), 0.9]])), (SIDE**2, 1))
    return axes, np.tile(normal @ axes, (SIDE**2, 1)), slope @ axes, lamp @ axes


@pytest.mark.parametrize("lean", [0.0, 0.6])
@pytest.mark.parametrize("turn_deg", [0.0, 50.0, 135.0])
def test_slopes_across_the_lamp_follow_from_those_along_it(lean: float, turn_deg: float) -> None:
    axes, normal, slope, light = _seen(lean, turn_deg)
    along = unit(light - np.einsum("ij,ij->i", light, normal)[:, None] * normal)
    shown = np.einsum("ij,ij->i", slope, along)[:, None] * along
    found = completed(_pixels(), axes, normal, shown, light, np.ones(len(slope)))
    before, after = (float(np.sqrt(((part - slope) ** 2).sum(axis=1).mean())) for part in (shown, found))
    # of waves that run all ways, those within 16 degrees of across are lost: less than 0.7 of what one component leaves
    assert after < 0.7 * before
    assert np.abs(np.einsum("ij,ij->i", found, normal)).max() < 1e-5  # slopes lie in the surface


def test_nothing_seen_is_no_relief_and_what_does_not_count_changes_nothing() -> None:
    axes, normal, slope, light = _seen(0.3, 20.0)
    assert np.abs(completed(_pixels(), axes, normal, 0 * slope, light, np.ones(len(slope)))).max() == 0
    counted = np.ones((SIDE, SIDE))
    counted[40:60, 40:60] = 0
    wild = slope.copy()
    wild[counted.ravel() == 0] *= 50.0
    first, second = (completed(_pixels(), axes, normal, part, light, counted.ravel()) for part in (slope, wild))
    np.testing.assert_allclose(first, second, atol=1e-6)
