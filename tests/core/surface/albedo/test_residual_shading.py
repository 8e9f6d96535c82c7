"""Light that was not read as such, in a cut and at large, and paint that only looks like it."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.surface.albedo.hollows import open_weights
from blender_addon.core.surface.albedo.residual import residual_at_large, residual_shading
from tests.core.surface.test_paint import DARK, LIGHT, _grained, _lit, _noisy, _surface


@pytest.mark.parametrize("scratched", [False, True])
def test_shading_that_was_read_too_faint_is_found_by_the_paint_beside_it(scratched: bool) -> None:
    """A scratch as dark as the cut that was not read as shading at all stays the paint's, and raises doubt elsewhere."""
    surface = _surface()
    dark = _grained(surface)
    cut = np.abs(surface.position[:, 0] - 15) < 0.5
    scratch = (np.abs(surface.position[:, 0] - 5) < 0.5) & scratched
    colours = _noisy(np.where(dark[:, None], DARK, LIGHT) * np.exp(-0.6 * (cut | scratch))[:, None])
    read = np.where(cut, -0.4, 0.0).astype(np.float32)
    shading = np.repeat(np.exp(read)[:, None], 3, axis=1)
    more = residual_shading(surface, colours, _lit(surface, colours), shading, read)
    middle = np.abs(surface.position[:, 0] - 15) < 0.3
    assert -0.21 < more[middle].mean() < (-0.05 if scratched else -0.15)  # of 0.2 that is missed
    assert not scratched or abs(more[scratch].mean()) < 0.005
    # where the 6 mm round the scratch, darker by it as a whole, reach those round the cut, a third of that may be light
    assert abs(more[~cut & ~scratch]).mean() < (0.01 if scratched else 0.005)


@pytest.mark.parametrize("varied", [False, True])
def test_light_that_dense_relief_took_at_large_is_found_by_an_even_paint(varied: bool) -> None:
    """Half of a sheet is worked all over, and darker there as a whole by more than was read. varied: so is the paint."""
    surface, lost = _surface(), 0.12
    worked = surface.position[:, 0] > 15
    relief = np.where(worked, 0.25 * np.sin(2 * np.pi * surface.position[:, 0] / 1.5), 0).astype(np.float32)
    large = 0.4 * varied * np.sin(2 * np.pi * surface.position[:, 1] / 20.0)
    bright = (np.random.default_rng(5).normal(0, 0.1, len(surface)) + large - lost * worked).astype(np.float32)
    found = residual_at_large(surface, [bright], relief, open_weights(relief))
    middle = worked & (np.abs(surface.position[:, 0] - 24) < 4)
    step = float(found[middle].mean() - found[surface.position[:, 0] < 6].mean())
    assert (-1.05 * lost < step < -0.6 * lost) if not varied else (-0.4 * lost < step < 0)
    assert np.abs(found[surface.position[:, 0] < 6]).max() < 0.02  # where nothing was read, nothing is left over
    by_hue = bright - large.astype(np.float32)  # where the hue tells the paint it counts, as what it leaves varies less
    known = residual_at_large(surface, [bright, by_hue], relief, open_weights(relief))
    assert np.corrcoef(known, -lost * worked)[0, 1] > 0.9


def test_a_stain_where_there_is_no_relief_stays() -> None:
    surface = _surface()
    stain = np.hypot(*(surface.position[:, :2] - 15).T) < 7
    none = np.zeros(len(surface), np.float32)
    assert not residual_at_large(surface, [(-0.5 * stain).astype(np.float32)], none, none + 1).any()
