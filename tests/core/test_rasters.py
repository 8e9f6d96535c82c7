"""Is a raster read where it should be, between its pixels and at its rim?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.rasters import bilinear, colours_at, corner_shares, nearest_pixel

ndimage = pytest.importorskip("scipy.ndimage")


def test_between_pixels_it_reads_as_scipy_does() -> None:
    """scipy.ndimage.map_coordinates of order 1, whose mode "nearest" lets the rim go on as ours does."""
    rng = np.random.default_rng(3)
    raster, x, y = rng.random((7, 5)), rng.uniform(-2, 7, 400), rng.uniform(-2, 9, 400)
    assert np.allclose(bilinear(raster, x, y), ndimage.map_coordinates(raster, [y, x], order=1, mode="nearest"))


def test_four_shares_read_what_bilinear_reads() -> None:
    rng = np.random.default_rng(4)
    raster, column, row = rng.random((6, 9)), rng.uniform(0, 7.99, 300), rng.uniform(0, 4.99, 300)
    corners = corner_shares(column, row, 9)
    assert np.allclose(sum(share for _, share in corners), 1.0)
    assert np.allclose(sum(raster.ravel()[flat] * share for flat, share in corners), bilinear(raster, column, row))


def test_the_nearest_pixel_holds_the_place_and_uvs_repeat() -> None:
    row, column = nearest_pixel(np.array([[0.0, 0.0], [0.2499, 0.5], [1.0, 1.0], [-0.1, 2.0]]), (2, 4))
    assert column.tolist() == [0, 0, 3, 0] and row.tolist() == [0, 1, 1, 1]
    picture = np.arange(24.0).reshape(2, 4, 3)
    assert np.array_equal(colours_at(picture, np.array([[0.3, 0.6], [-0.7, 3.6]])), picture[[1, 1], [1, 1]])
