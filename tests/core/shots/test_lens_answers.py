"""The lens answers: possible ones hold what was asked, impossible ones say why and offer a bracket that does."""

import math

import pytest

from blender_addon.core.shots import optics
from blender_addon.core.shots.focus_bracket import bracket, gap
from blender_addon.core.shots.lens_answers import at_focal_length, hold, read_out
from blender_addon.core.shots.optics import Optics

COC = 0.0288


@pytest.mark.parametrize("keep", [True, False])
def test_the_f_number_that_holds_from_here_to_there(keep):
    answer = hold(Optics(90.0, 8.0, 545.0), 530.0, 556.0, COC, keep_focus=keep)
    assert answer.possible
    near, far = optics.limits(answer.optics, COC * 1.016)  # a marked stop may stand for 1.5 % more
    assert near <= 530.0 and far >= 556.0
    assert (answer.optics.focus_mm == 545.0) is keep
    one_third_wider = Optics(90.0, answer.optics.fnumber / 1.3, answer.optics.focus_mm)
    near, far = optics.limits(one_third_wider, COC)
    assert near > 530.0 or far < 556.0  # and no more than needed


def test_what_no_f_number_holds_gets_a_bracket_that_does():
    answer = hold(Optics(100.0, 8.0, 200.0), 190.0, 215.0, COC)
    assert not answer.possible
    assert "focus bracket" in answer.words and "departure" in answer.words
    slices = bracket(answer.optics, 190.0, 215.0, COC)
    assert len(slices.focus_mm) == answer.slices > 1
    assert gap(slices, 190.0, 215.0) == 0.0


def test_small_stops_warn_of_diffraction():
    answer = hold(Optics(90.0, 8.0, 540.0), 520.0, 565.0, COC)
    assert answer.possible and answer.optics.fnumber > 20
    assert "diffraction" in answer.words


def test_nonsense_is_refused_in_words():
    with pytest.raises(ValueError, match="before the far end"):
        hold(Optics(90.0, 8.0, 540.0), 560.0, 550.0, COC)
    with pytest.raises(ValueError, match="step back"):
        hold(Optics(90.0, 8.0, 540.0), 80.0, 550.0, COC)


def test_another_focal_length_keeps_the_size_and_the_depth():
    lens = Optics(60.0, 8.0, 300.0)
    answer = at_focal_length(lens, 120.0)
    assert answer.optics.magnification == pytest.approx(lens.magnification)
    assert answer.optics.focus_mm == pytest.approx(600.0)
    assert optics.depth_of_field(answer.optics, 0.03) == pytest.approx(optics.depth_of_field(lens, 0.03), rel=1e-3)
    assert "farther" in answer.words and "2 times" in answer.words


def test_read_out():
    lens = Optics(60.0, 8.0, 300.0)
    seen = read_out(lens, 36.0, 0.03, nearest_mm=280.0)
    assert seen.field_width == pytest.approx(144.0)  # 180 mm for a camera without extension
    assert seen.depth == pytest.approx(9.6025, abs=1e-3)
    assert seen.background_blur == pytest.approx(1.875)
    assert seen.working_distance == 280.0
    assert not seen.diffraction_wins
    past = read_out(Optics(60.0, 1.02 * seen.diffraction_from, 300.0), 36.0, 0.03)
    assert past.diffraction_wins
    assert dict(seen.lines())[""] == f"Beyond f/{seen.diffraction_from:.3g} diffraction softens"
    assert dict(past.lines())[""].endswith("diffraction softens, as here")
    assert dict(seen.lines())["Airy disc"] == f"{1000 * seen.airy:.1f} µm"
    assert dict(seen.lines())["Counts as sharp"] == "30.0 µm"
    assert dict(read_out(Optics(65.0, 4.0, 78.0), 36.0, 0.03).lines())["Magnification"] == "5.000 (5.0:1)"
    assert dict(seen.lines())["Magnification"] == "0.250 (1:4.0)"
    assert all(math.isfinite(len(words)) and words for _, words in seen.lines())
    wide = read_out(Optics(24.0, 8.0, 3000.0), 36.0, 0.03)
    assert dict(wide.lines())["Depth"] == "to infinity"
