"""Is the noise the same wherever its directions come from?"""

from __future__ import annotations

import numpy as np

from blender_addon.core.noise import noise


def test_many_places_in_few_cells_have_the_noise_that_each_has_alone() -> None:
    """Where there are fewer lattice points than places each direction is computed once, and looked up: to the last bit the
    same."""
    x, y = np.meshgrid(np.linspace(-2.3, 4.1, 23), np.linspace(-1.2, 3.0, 17))
    together = noise(x, y, seed=5)
    alone = np.array([[noise(a, b, seed=5) for a, b in zip(*row, strict=True)] for row in zip(x, y, strict=True)])
    assert np.array_equal(together, alone) and together.std() > 0.1


def test_it_vanishes_on_the_lattice_and_differs_by_seed() -> None:
    x, y = np.meshgrid(np.arange(-3.0, 3.0), np.arange(4.0))
    assert not noise(np.repeat(x, 9), np.repeat(y, 9), seed=1).any()
    assert not np.array_equal(noise(x + 0.3, y, seed=1), noise(x + 0.3, y, seed=2))
    assert noise(np.zeros((0, 2)), 0.0).shape == (0, 2)
