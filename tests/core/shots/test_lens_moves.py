"""Where the camera would stand: the outline fills what was asked, what was in focus stays so, impossible places are
reported."""

import numpy as np
import pytest

from blender_addon.core.shots.framing import CameraPose, half_slopes, look, outline_share, pose_at, project
from blender_addon.core.shots.lens_moves import fill_height, other_focal
from blender_addon.core.shots.optics import Optics

FRAME = (36.0, 24.0)


def egg(wide: float = 1.0, high: float = 80.0) -> np.ndarray:
    """Points (n, 3) mm on an egg that stands on z = 0, as wide as `wide` times its height."""
    v, u = np.meshgrid(np.linspace(0, np.pi, 60), np.linspace(0, 2 * np.pi, 90))
    ball = np.stack([np.sin(v) * np.cos(u) * wide, np.sin(v) * np.sin(u) * wide, 1 + np.cos(v)], axis=-1)
    return 0.5 * high * ball.reshape(-1, 3)


def standing(focal: float, distance: float, tilt: float = 12.0, *, aside: float = 0.0) -> tuple[CameraPose, Optics]:
    lens = Optics(focal, 8.0, distance)
    return pose_at(np.array([aside, -15.0, 45.0]), rotation=look(20.0, tilt), focal_mm=focal, m=lens.magnification), lens


@pytest.mark.parametrize("share", [0.3, 0.8, 0.95])
@pytest.mark.parametrize("aside", [0.0, 25.0])
def test_the_outline_fills_the_share_and_the_focus_stays(share, aside):
    pose, lens = standing(90.0, 700.0, aside=aside)
    move = fill_height(egg(0.5), pose, lens, FRAME, share=share)
    assert move.answer.possible
    left, right, low, high = outline_share(egg(0.5), move.pose, half_slopes(move.answer.optics, FRAME))
    assert 0.5 * (high - low) == pytest.approx(share, abs=1e-6)
    assert -1.0 < left < right < 1.0
    before = project(np.array([[aside, -15.0, 45.0]]), pose.position, pose.rotation)[1] - pose.focus_mm
    after = project(np.array([[aside, -15.0, 45.0]]), move.pose.position, move.pose.rotation)[1] - move.pose.focus_mm
    assert after == pytest.approx(before, abs=1e-6)
    assert move.answer.optics.focus_mm == move.pose.focus_mm


def test_a_composition_beside_the_middle_is_kept_while_it_fits():
    pose, lens = standing(90.0, 900.0, aside=30.0)
    left, right, low, high = outline_share(egg(0.5), pose, half_slopes(lens, FRAME))
    move = fill_height(egg(0.5), pose, lens, FRAME, share=0.5)
    new = outline_share(egg(0.5), move.pose, half_slopes(move.answer.optics, FRAME))
    assert new[0] + new[1] == pytest.approx(left + right, abs=1e-6)
    assert (1 - new[3]) / (1 + new[2]) == pytest.approx((1 - high) / (1 + low), rel=1e-6)


def test_too_wide_for_the_share_says_what_can_be_had():
    pose, lens = standing(90.0, 900.0)
    move = fill_height(egg(2.0), pose, lens, FRAME, share=0.8)
    assert not move.answer.possible and "as wide as the picture" in move.answer.words
    left, right, low, high = outline_share(egg(2.0), move.pose, half_slopes(move.answer.optics, FRAME))
    assert -1.0 <= left < right <= 1.0
    assert f"{50 * (high - low):.0f} % of the height is the most" in move.answer.words


def test_too_small_a_thing_and_too_short_a_lens():
    pose, lens = standing(90.0, 900.0)
    tiny = egg(1.0, 2.0) + [0.0, -15.0, 44.0]
    assert "microscope" in fill_height(tiny, pose, lens, FRAME, share=0.9).answer.words
    short = other_focal(egg(1.0), pose, lens, focal_mm=2.0)
    assert not short.answer.possible and "touch" in short.answer.words and short.pose is pose


def test_another_focal_length_keeps_what_is_in_focus_the_same_size():
    pose, lens = standing(60.0, 500.0)
    move = other_focal(egg(), pose, lens, focal_mm=120.0)
    assert move.answer.possible
    edge = np.array([[0.0, -15.0, 45.0]]) + pose.rotation[:, 0] * 10.0
    for place, optics in ((pose, lens), (move.pose, move.answer.optics)):
        slopes, _ = project(edge, place.position, place.rotation)
        share = slopes[0, 0] / half_slopes(optics, FRAME)[0]
        assert share == pytest.approx(10.0 * lens.magnification / 18.0, rel=1e-9)


def test_never_under_the_table():
    pose, lens = standing(60.0, 300.0, tilt=-8.0)
    assert pose.position[2] < 45.0
    move = other_focal(egg(), pose, lens, focal_mm=200.0)
    assert not move.answer.possible and "under the table" in move.answer.words
