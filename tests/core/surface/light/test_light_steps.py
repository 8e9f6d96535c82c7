"""The rate of the light's fit must not exceed what its matrix allows, or the fit runs away."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.surface.light.light import _largest_eigenvalue


@pytest.mark.parametrize("rows", [5, 60, 4000])
def test_the_largest_eigenvalue_is_not_underrated(rows: int) -> None:
    """Against LAPACK, of products of positive designs as those of a sky: off by rounding alone."""
    design = np.random.default_rng(rows).random((3, rows, 129)) ** 2
    matrix = np.einsum("kni,knj->kij", design, design)
    assert _largest_eigenvalue(matrix) == pytest.approx(np.linalg.eigvalsh(matrix)[:, -1], rel=1e-6)
