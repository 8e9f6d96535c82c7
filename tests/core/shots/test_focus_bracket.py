"""The bracket covers its depth by an independent ladder of distances, at the overlap stated, with no slice too many."""

import numpy as np
import pytest

from blender_addon.core.shots import focus_bracket, optics
from blender_addon.core.shots.optics import Optics


def lens_at(f, n, m, pupil=1.0):
    return Optics(f, n, optics.focus_for(f, m, pupil_ratio=pupil), pupil)


@pytest.mark.parametrize(("f", "n", "m", "deep"), [
    (90, 8, 0.2, 60), (100, 5.6, 1, 5), (65, 4, 5, 1), (60, 2.8, 0.5, 40), (90, 16, 0.1, 3),
])  # fmt: skip
@pytest.mark.parametrize("overlap", [0.0, 0.3, 0.6])
def test_every_distance_is_sharp_in_some_slice(f, n, m, deep, overlap):
    lens, coc = lens_at(f, n, m), 0.0288
    near, far = lens.focus_mm - 0.4 * deep, lens.focus_mm + 0.6 * deep
    slices = focus_bracket.bracket(lens, near, far, coc, overlap=overlap)
    ladder = np.linspace(near, far, 5001)
    # Blur by similar triangles in the plane of focus, scaled by the field of view that the picture keeps.
    blur = [lens.aperture_mm * abs(ladder - s) / ladder * (lens.magnification * lens.focus_mm / s) for s in slices.focus_mm]
    assert np.min(blur, axis=0).max() <= coc * (1 + 1e-9)
    assert focus_bracket.gap(slices, near, far) == 0.0
    assert slices.overlap >= overlap - 1e-9
    if len(slices.focus_mm) > 2:  # one slice fewer would not do
        fewer = len(slices.focus_mm) - 1
        stretch = 2 * focus_bracket.reach(lens, coc)
        assert 1 - (1 / near - 1 / far - stretch) / (fewer - 1) / stretch < overlap


def test_at_the_set_distance_blur_is_the_lens_blur():
    lens = lens_at(85, 4, 0.3, 1.4)
    d = np.array([200.0, 400.0, 900.0])
    assert focus_bracket.blur_px(lens, lens.focus_mm, d, px_per_mm=1.0) == pytest.approx(optics.blur_disc(lens, d))


def test_gap_is_measured():
    lens = lens_at(100, 8, 0.5)
    slices = focus_bracket.bracket(lens, 290.0, 310.0, 0.03)
    holed = focus_bracket.Bracket(slices.focus_mm[::3], slices.near_mm[::3], slices.far_mm[::3], 0.0)
    ladder = np.linspace(290.0, 310.0, 20001)
    covered = np.zeros(len(ladder), bool)
    for near, far in zip(holed.near_mm, holed.far_mm, strict=True):
        covered |= (ladder >= near) & (ladder <= far)
    assert focus_bracket.gap(holed, 290.0, 310.0) == pytest.approx((~covered).mean() * 20.0, abs=0.01)


def test_wrong_wishes_are_refused():
    lens = lens_at(100, 8, 0.5)
    for near, far in ((310.0, 290.0), (0.0, 10.0), (290.0, np.inf)):
        with pytest.raises(ValueError, match="near end before"):
            focus_bracket.bracket(lens, near, far, 0.03)
    with pytest.raises(ValueError, match="overlap"):
        focus_bracket.bracket(lens, 290.0, 310.0, 0.03, overlap=1.0)
    with pytest.raises(ValueError, match="more than 200"):
        focus_bracket.bracket(lens_at(100, 1.0, 5), 118.0, 124.0, 0.001)
