"""How near may a lens go, and does a close look stand where a close-up was taken?

A line as wide as the circle of confusion is the finest that looks sharp (common practice): full frame's is 43.27 mm / 1500.
"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.shots.close_looks.carried import CloseupPlace, as_ratio, at_closeups, carried

COC = float(np.hypot(36.0, 24.0)) / 1500.0


def test_detail_of_a_macro_photo_carries_life_size_and_a_scans_a_quarter() -> None:
    assert carried(2 * COC, COC) == pytest.approx(1.0)  # half a wavelength of 0.058 mm is one circle of confusion
    assert carried(0.23, COC) == pytest.approx(0.25, abs=0.002)


@pytest.mark.parametrize(("m", "words"), [(1.0, "1:1"), (0.25, "1:4"), (2.0, "2:1"), (0.4, "1:2.5"), (1.5, "1.5:1")])
def test_ratios_are_written_as_photographers_write_them(m: float, words: str) -> None:
    assert as_ratio(m) == words


def test_a_close_look_stands_square_before_the_largest_close_up_as_near_as_it_carries() -> None:
    side = CloseupPlace(np.array([10.0, 0, 20]), np.array([1.0, 0, 0]), 6.0, 0.06)
    front = CloseupPlace(np.array([0, -10.0, 30]), np.array([0, -np.cos(0.5), np.sin(0.5)]), 12.0, 0.30)
    first, second = at_closeups([side, front], (36.0, 24.0), COC, usual=0.15)
    assert (first.look.azimuth_deg, first.look.tilt_deg) == pytest.approx((0.0, np.degrees(0.5)))
    assert first.look.grown * 0.15 == pytest.approx(carried(0.30, COC))  # the frame would be filled at 0.9
    assert second.look.azimuth_deg == pytest.approx(90.0) and second.look.grown * 0.15 == pytest.approx(carried(0.06, COC))


def test_noise_in_a_close_up_takes_a_close_look_no_further_away_than_without_it() -> None:
    front = CloseupPlace(np.array([0, -10.0, 30]), np.array([0, -1.0, 0]), 12.0, 0.30)
    (usual,) = at_closeups([front], (36.0, 24.0), COC, usual=0.5)
    assert usual.look.grown == pytest.approx(1.0)  # 1:2, though the data carry 1:5
    (filled,) = at_closeups([front], (36.0, 24.0), COC, usual=2.0)
    assert filled.look.grown * 2.0 == pytest.approx(0.9 * 24.0 / 24.0)  # a close-up of 24 mm in a frame of 24 mm
