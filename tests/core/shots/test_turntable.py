"""The turn closes without a double frame and never goes back."""

import numpy as np
import pytest

from blender_addon.core.shots.turntable import angle_at, angles


@pytest.mark.parametrize("pace", ["steady", "eased"])
@pytest.mark.parametrize("frames", [1, 2, 24, 97])
def test_a_loop_without_a_double_frame(pace, frames):
    turn = angles(frames, pace=pace)
    assert len(turn) == frames
    assert turn[0] == 0.0
    steps = np.diff(np.append(turn, angle_at(frames, frames, pace=pace)))
    assert steps.sum() == pytest.approx(2 * np.pi)
    assert (steps > 0).all()


def test_steady_is_even_and_eased_is_slowest_at_the_seam():
    steady, eased = (np.diff(np.append(angles(48, pace=p), 2 * np.pi)) for p in ("steady", "eased"))
    assert np.ptp(steady) < 1e-12
    assert eased.argmin() in (0, 47)
    assert eased[0] == pytest.approx(eased[-1])  # speed is continuous over the seam
    assert eased.min() < 0.5 * eased.max()


def test_wrong_wishes_are_refused():
    with pytest.raises(ValueError, match="at least one frame"):
        angles(0)
    with pytest.raises(ValueError, match="pace"):
        angles(5, pace="wobbly")
