"""What a photo adds to the scan's own normal map: nothing that the map has, all that it lacks."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import unit
from blender_addon.core.surface.relief.own_map import added_by_photo, slopes_of_normals
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface
from tests.core.surface.relief.test_relief import sheet


def _waves(surface: TexturedSurface, length_mm: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Slopes (n, 3) and height (n,) of waves of a length in random directions across a level sheet."""
    rng = np.random.default_rng(seed)
    slope, height = np.zeros((len(surface), 3)), np.zeros(len(surface))
    for _ in range(12):
        wave = unit(np.append(rng.normal(size=2), 0)) * 2 * np.pi / length_mm
        phase = surface.position @ wave + rng.uniform(0, 2 * np.pi)
        height += 0.004 * np.sin(phase)
        slope += 0.004 * np.cos(phase)[:, None] * wave
    return slope, height


@pytest.fixture(scope="module")
def level() -> TexturedSurface:
    mesh = sheet(8, 20.0, 10.0, 0.0)
    return read_surface(mesh, np.ones(len(mesh.faces), bool), height=512, width=512)


def test_slopes_and_normals_are_one_thing() -> None:
    normal = unit(np.random.default_rng(1).normal(size=(50, 3)))
    slope = np.random.default_rng(2).normal(0, 0.3, (50, 3))
    slope -= (slope * normal).sum(axis=1, keepdims=True) * normal
    assert slopes_of_normals(normal, unit(normal - slope)) == pytest.approx(slope, abs=1e-9)


@pytest.mark.parametrize("has", [1.0, 0.3, 0.0])
def test_a_map_that_has_a_part_is_given_the_rest(level: TexturedSurface, has: float) -> None:
    """The photo tells 60 % of the true slopes, as an estimate that shrinks with its doubt does."""
    true, height = _waves(level, 0.8, 3)
    slope, depth = added_by_photo(level, has * true, 0.6 * true, 0.6 * height)
    share = (slope * true).sum() / (true * true).sum() / 0.6
    expected = max(0.0, 1 - has / 0.6)
    assert share == pytest.approx(expected, abs=0.03)
    assert (depth * height).sum() / (height * height).sum() / 0.6 == pytest.approx(expected, abs=0.03)


def test_a_coarse_map_is_given_what_is_finer(level: TexturedSurface) -> None:
    coarse, _ = _waves(level, 2.4, 4)
    fine, height = _waves(level, 0.35, 5)
    slope, _ = added_by_photo(level, coarse, coarse + fine, height)
    assert (slope * fine).sum() / (fine * fine).sum() > 0.85
    assert abs((slope * coarse).sum() / (coarse * coarse).sum()) < 0.25  # a Gaussian of 0.25 mm lets 81 % of these waves by
