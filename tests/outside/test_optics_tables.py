"""Depth of field, blur and diffraction against published tables and worked examples.

Each test names its source. Tolerances follow the rounding of the printed value unless a reason is given. Values marked
"own arithmetic" were worked out by hand from the formula of the source named.
"""

import math

import numpy as np
import pytest

from blender_addon.core.shots import optics
from blender_addon.core.shots.focus_bracket import bracket
from blender_addon.core.shots.optics import Optics

FOOT = 304.8


@pytest.mark.parametrize(("f", "n", "c", "s", "near", "far"), [
    (60, 8, 0.030, 300, 295.2756, 304.8780), (60, 8, 0.020, 300, 296.8338, 303.2345),
    (100, 11, 0.030, 300, 298.0330, 301.9932), (100, 16, 0.030, 200, 199.0446, 200.9646),
    (50, 2.8, 0.030, 1000, 969.0674, 1032.9725), (50, 8, 0.030, 3000, 2337.905, 4185.268),
])  # fmt: skip
def test_limits_by_greenleaf(f, n, c, s, near, far):
    """near, far = s(H - f)/(H +- (s - 2f), s), H = f^2/(Nc) + f: Greenleaf, Photographic Optics (1950); own arithmetic."""
    assert optics.limits(Optics(f, n, s), c) == pytest.approx((near, far), abs=1e-3)


@pytest.mark.parametrize(("distance", "ratio", "depths"), [
    (390, 1.95, {45: 11}), (500, 3.48, {8: 6, 16: 12, 45: 36}), (700, 5.95, {8: 19, 16: 37, 45: 107}),
    (1000, 9.5, {8: 48, 16: 97, 45: 278}), (2000, 21.3, {8: 242, 16: 493, 45: 1580}),
])  # fmt: skip
def test_nikon_pc_micro_nikkor_depth_table(distance, ratio, depths):
    """Nikon, PC Micro-Nikkor Instruction Manual, p. 84: total depth (mm) at distances from the film plane.

    The lens is taken as 85 mm, c as 1/30 mm (both fitted to the table, not printed beside it) and the table's f-number as the
    effective one; tolerance max(1.2 mm, 1.5 %) covers metres printed to the millimetre at both ends.
    """
    m = 1.0 / ratio
    for effective, printed in depths.items():
        lens = Optics(85.0, effective / (1 + m), optics.focus_for(85.0, m))
        depth = optics.depth_of_field(lens, 1 / 30)
        assert depth == pytest.approx(printed, abs=max(1.2, 0.015 * printed)), (distance, effective)


@pytest.mark.parametrize(("m", "stop", "depth"), [(1.0, 8, 2.24), (5.0, 3, 0.048), (5.0, 8, 0.269)])
def test_canon_mp_e_65_depth(m, stop, depth):
    """Canon, MP-E 65 mm f/2.8 instructions, depth of field: 2.240 mm at 1x f/16, 0.048 and 0.269 mm at 5x f/2.8 and f/16.

    Read at second hand, in reviews of the lens that quote the table. c = 0.035 mm is fitted to all three; f-numbers are the
    exact 2^(k/2); 2 % for c and for the rounding of 0.048.
    """
    lens = Optics(65.0, 2 ** (stop / 2), optics.focus_for(65.0, m))
    assert optics.depth_of_field(lens, 0.035) == pytest.approx(depth, rel=0.02)


def test_hyperfocal_distance():
    """Focused at H = f^2/(N c) + f the far limit is infinite, and just nearer it is not: Greenleaf, Photographic Optics (1950).

    50 mm and c = 0.0254 mm (0.001 inch); the distances are own arithmetic from that formula.
    """
    for n, metres in ((1.4, 70.3540), (2.8, 35.2020), (8, 12.3532), (22, 4.5240)):
        beyond, nearer = (optics.limits(Optics(50.0, n, 1000.0 * metres * share), 0.0254)[1] for share in (1.001, 0.999))
        assert math.isinf(beyond) and math.isfinite(nearer)


def test_pentax_scale():
    """50 mm f/8 at 3 m: about 2.3 to 4.5 m on the lens's scale, Pentax K1000 manual p. 18 (c 1/30); 5 %, read off a scale."""
    assert np.array(optics.limits(Optics(50.0, 8.0, 3000.0), 1 / 30)) / 1000 == pytest.approx((2.3, 4.5), rel=0.05)


def test_exposure_at_close_focus():
    """A meter's f/8 at m = 0.5 is set as f/5.3: B. Brown, Cinematography: Theory and Practice, p. 282."""
    lens = Optics(100.0, 8 / 1.5, optics.focus_for(100.0, 0.5))
    assert lens.effective_fnumber == pytest.approx(8.0)
    assert 8 / 1.5 == pytest.approx(5.3, abs=0.05)


def test_close_up_rule():
    """2 N c (1 + m)/m^2, Brown p. 282, holds to 0.1 % at macro distances, up to five times life size."""
    for m, n in ((0.25, 8.0), (0.5, 11.0), (1.0, 16.0), (2.0, 8.0), (3.0, 5.6), (5.0, 4.0)):
        lens = Optics(100.0, n, optics.focus_for(100.0, m))
        assert optics.depth_of_field(lens, 0.03) == pytest.approx(2 * n * 0.03 * (1 + m) / m**2, rel=1e-3)


def test_subject_to_film_of_macro_lenses():
    """Subject to film at 1:1 is four focal lengths, common practice; 375 and 450 mm own arithmetic from f(2 + m + 1/m)."""
    for focal, m, film in ((100.0, 1.0, 400.0), (60.0, 0.25, 375.0), (100.0, 0.5, 450.0)):
        assert optics.focus_for(focal, m) + focal * (1.0 + m) == pytest.approx(film)


def test_mp_e_65_angle_of_view():
    """Canon MP-E 65 at 1x: 15 deg 40', 10 deg 35', 18 deg 40' (Canon's specification of the lens, read at second hand).

    Makers count the angle from the image distance. 1.5 % since the lens is not thin; from the focal length alone it would be
    30.9 degrees, twice as much.
    """
    lens = Optics(65.0, 2.8, optics.focus_for(65.0, 1.0))
    written = optics.in_blender(lens, (36.0, 24.0))
    angles = [2 * math.degrees(math.atan(side / 2 / written.lens)) for side in (
        written.sensor_width, written.sensor_height, math.hypot(written.sensor_width, written.sensor_height))]  # fmt: skip
    assert angles == pytest.approx([15 + 40 / 60, 10 + 35 / 60, 18 + 40 / 60], rel=0.015)


def test_airy_disc():
    """First dark ring at the first zero of J1: scipy.special as the oracle; 10.74 um at f/8 and 550 nm, own arithmetic."""
    special = pytest.importorskip("scipy.special")
    factor = 2 * special.jn_zeros(1, 1)[0] / math.pi
    assert optics.airy_disc(8.0, wavelength_mm=550e-6) == pytest.approx(factor * 550e-6 * 8, rel=1e-6)
    assert 1000 * optics.airy_disc(8.0, wavelength_mm=550e-6) == pytest.approx(10.74, abs=0.01)
    # At life size f/8 works as f/16.
    life_size = Optics(100.0, 8.0, 200.0).effective_fnumber
    assert 1000 * optics.airy_disc(life_size, wavelength_mm=550e-6) == pytest.approx(21.47, abs=0.01)


def test_marked_f_numbers():
    """Full stops as CIPA DC-008 (Exif), annex C, tables them for Av 0 to 10; third stops as engraved on lenses (common
    practice). Rounded as they are, they lie within 6 % of 2^(k/6)."""
    full = {1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32}
    assert full <= set(optics.THIRD_STOPS)
    exact = [2 ** (k / 6) for k in range(len(optics.THIRD_STOPS))]
    assert np.array(optics.THIRD_STOPS) == pytest.approx(np.array(exact), rel=0.06)


def test_bracket_covers_the_depth_with_the_stated_overlap():
    """Steps of depth of field times (1 - overlap), the depth by Brown's close-up rule 2 N c (1 + m)/m^2 (p. 282): 1:1, f/5.6,
    c 0.020 and 30 % overlap a slice is 0.448 mm and a step 0.3136 mm; 5 mm need ceil((5 - 0.448)/0.3136) + 1 = 16 slices, since
    the first already covers its own depth (own arithmetic). Steps may differ by 3 %: the true depth grows along the bracket.
    """
    lens = Optics(100.0, 5.6, 200.0)
    assert optics.depth_of_field(lens, 0.02) == pytest.approx(0.448, abs=5e-4)
    slices = bracket(lens, 197.5, 202.5, 0.02, overlap=0.3)
    assert len(slices.focus_mm) == 16
    assert np.diff(slices.focus_mm).max() <= 0.3136 * 1.03
