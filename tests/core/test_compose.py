"""Do things lie where they look as if they rested?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.compose import LEVEL, Thing, compose, spread_points
from blender_addon.core.solids import rounded_rectangle, slab

ROD = slab(rounded_rectangle(110.0, 8.0, 2.0, 3), 8.0)


def _slab_on_a_bench(xy: np.ndarray) -> np.ndarray:
    """A stone 9 mm thick that ends 70 mm to either side."""
    return np.where((np.abs(xy) < 70.0).all(axis=1), 9.0, 0.0)


@pytest.mark.parametrize("seed", range(6))
def test_a_long_thing_lies_on_a_slab_or_beside_it_but_not_over_its_edge(seed: int) -> None:
    points = spread_points(ROD.vertices, ROD.faces)
    spots = compose(
        [Thing("rod", points, False)], [], outside=lambda xy: np.linalg.norm(xy, axis=1) - 20.0, reach=20.0,
        half=np.array([300.0, 300.0]), seed=seed, heights=_slab_on_a_bench,
    )  # fmt: skip
    assert spots[0] is not None
    c, s = np.cos(spots[0].turn), np.sin(spots[0].turn)
    at = points[:, :2] @ np.array([[c, s], [-s, c]]) + spots[0].place
    assert np.ptp(_slab_on_a_bench(at)) < LEVEL
