"""The thin lens against its own identities; published tables are in tests/outside/test_optics_tables.py."""

import math

import numpy as np
import pytest

from blender_addon.core.shots import optics
from blender_addon.core.shots.formats import circle_of_confusion, frame_used
from blender_addon.core.shots.optics import Optics


@pytest.mark.parametrize(("f", "s", "v", "m", "effective"), [
    (60, 300, 75, 0.25, 10), (100, 300, 150, 0.5, 12), (100, 200, 200, 1, 16), (50, 2000, 51.2820513, 0.0256410256, 8.2051282),
])  # fmt: skip
def test_conjugates_of_the_thin_lens(f, s, v, m, effective):
    lens = Optics(f, 8.0, s)
    assert lens.magnification == pytest.approx(m, rel=1e-8)
    assert lens.focal_mm * (1.0 + lens.magnification) == pytest.approx(v, rel=1e-8)
    assert lens.effective_fnumber == pytest.approx(effective, rel=1e-7)
    assert (lens.magnification * f) * (s - f) == pytest.approx(f * f)  # Newton: x x' = f^2
    assert optics.focus_for(f, m) == pytest.approx(s, rel=1e-8)


@pytest.mark.parametrize("pupil", [0.6, 1.0, 1.8])
def test_blur_at_the_limits_is_the_circle_of_confusion(pupil):
    lens = Optics(85.0, 5.6, 400.0, pupil)
    near, far = optics.limits(lens, 0.03)
    assert optics.blur_disc(lens, np.array([near, far])) == pytest.approx(0.03, rel=1e-9)
    assert optics.blur_disc(lens, 400.0) == 0.0


def test_depth_with_pupils_follows_the_close_up_rule():
    """2 N c (m + p)/(p m^2), good to some 0.1 % where depth is small against distance."""
    for pupil in (0.5, 1.0, 2.0):
        m, f, n, c = 0.5, 100.0, 8.0, 0.02
        lens = Optics(f, n, optics.focus_for(f, m, pupil_ratio=pupil), pupil)
        assert optics.depth_of_field(lens, c) == pytest.approx(2 * n * c * (m + pupil) / (pupil * m * m), rel=1e-3)


def test_far_background_blurs_by_opening_times_magnification():
    assert optics.blur_disc(Optics(60.0, 8.0, 300.0), math.inf) == pytest.approx(1.875)


def test_depth_depends_on_magnification_not_on_focal_length():
    depths = [optics.depth_of_field(Optics(f, 8.0, optics.focus_for(f, 0.25)), 0.03) for f in (60.0, 100.0, 200.0)]
    assert depths == pytest.approx([9.6] * 3, rel=1e-3)


def test_near_limit_at_the_hyperfocal_distance_is_half_of_it():
    h = 50.0**2 / (8.0 * 0.03) + 50.0
    near, far = optics.limits(Optics(50.0, 8.0, h), 0.03)
    assert near == pytest.approx(h / 2, rel=1e-9)
    assert far > 1e6


def test_nothing_is_in_focus_within_the_focal_distance():
    with pytest.raises(ValueError, match="within the focal distance"):
        optics.magnification(100.0, 99.0)


def test_holding_puts_both_ends_on_the_circle_of_confusion():
    lens = optics.holding(280.0, 330.0, 90.0, 0.0288)
    assert optics.limits(lens, 0.0288) == pytest.approx((280.0, 330.0), rel=1e-9)
    again = optics.fnumber_reaching(lens, 280.0, 330.0, 0.0288)
    assert again == pytest.approx(lens.fnumber, rel=1e-9)


def test_marked_stops_round_to_the_safe_side():
    assert optics.marked(5.657) == 5.6  # the exact value that 5.6 stands for
    assert optics.marked(8.3) == 9.0
    assert optics.marked(8.3, up=False) == 8.0
    assert optics.marked(500.0) == 32.0


@pytest.mark.parametrize("m", [0.02, 0.25, 1.0, 5.0])
@pytest.mark.parametrize("frame", [(36.0, 24.0), (17.3, 13.0), (5.64, 4.23), (3.2, 2.4)])
@pytest.mark.parametrize("pupil", [1.0, 1.7])
def test_blender_camera_has_the_lens_field_and_blur(m, frame, pupil):
    """Blender's rules: half field = sensor/2/lens, opening = lens/fstop; the lens's: frame/(2 m s) and f/N."""
    lens = Optics(45.0, 4.0, optics.focus_for(45.0, m, pupil_ratio=pupil), pupil)
    written = optics.in_blender(lens, frame)
    for given, side in ((written.sensor_width, frame[0]), (written.sensor_height, frame[1])):
        assert given / written.lens == pytest.approx(side / (m * lens.focus_mm), rel=1e-12)
    assert written.lens / written.fstop == pytest.approx(45.0 / 4.0, rel=1e-12)
    assert min(written.sensor_width, written.sensor_height) >= optics.SENSOR_FLOOR * (1 - 1e-12)


def test_iris_blades_keep_the_area_of_the_round_opening():
    lens = Optics(60.0, 8.0, 300.0)
    for blades in (3, 5, 7, 9):
        written = optics.in_blender(lens, (36.0, 24.0), blades=blades)
        corner = 0.5 * written.lens / written.fstop
        area = 0.5 * blades * corner**2 * math.sin(2 * math.pi / blades)
        assert area == pytest.approx(math.pi * (0.5 * 60.0 / 8.0) ** 2, rel=1e-12)


@pytest.mark.parametrize(("size", "used"), [
    ((3000, 2000), (36.0, 24.0)), ((2000, 3000), (24.0, 36.0)), ((4000, 3000), (32.0, 24.0)), ((3000, 4000), (24.0, 32.0)),
    ((1000, 1000), (24.0, 24.0)), ((3000, 1000), (36.0, 12.0)),
])  # fmt: skip
def test_a_picture_uses_the_largest_part_of_the_sensor(size, used):
    assert frame_used(36.0, 24.0, size) == pytest.approx(used)
    assert frame_used(24.0, 36.0, size) == pytest.approx(used)


def test_circle_of_confusion_scales_with_the_format():
    assert circle_of_confusion(36.0, 24.0) == pytest.approx(0.0288, abs=5e-5)
    assert circle_of_confusion(18.0, 12.0) == pytest.approx(0.5 * circle_of_confusion(36.0, 24.0))
