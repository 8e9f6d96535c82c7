"""Does a box that was dragged over a picture become a shot of just that?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.shots import optics
from blender_addon.core.shots.crop_box import box_shot, shape_of
from blender_addon.core.shots.formats import frame_used
from blender_addon.core.shots.framing import CameraPose, half_slopes, look, pose_at, project

FORMAT = (36.0, 24.0)


@pytest.mark.parametrize("box", [(0.3, 0.35, 0.7, 0.75), (0.05, 0.5, 0.4, 0.95), (0.7, 0.75, 0.3, 0.35)])
def test_the_corners_of_the_box_become_those_of_the_frame(box: tuple[float, ...]) -> None:
    """Points in the plane of focus at the box's corners; the camera turns by a few degrees, which tilts that plane against the
    frame, so a corner may lie off by the square of that turn: 1.5 % of half a frame."""
    pose = CameraPose(np.array([150.0, -560.0, 190.0]), look(15.0, 14.0), 540.0)
    lens = optics.Optics(90.0, 11.0, 540.0)
    found = box_shot(pose, lens, FORMAT, 1.5, box)
    half = np.array(half_slopes(lens, frame_used(*FORMAT, (960, 640))))
    left, right, low, high = min(box[0], box[2]), max(box[0], box[2]), min(box[1], box[3]), max(box[1], box[3])
    corners = np.array([[x, y] for x in (left, right) for y in (low, high)]) * 2.0 - 1.0
    points = pose.position + 540.0 * np.concatenate([corners * half, -np.ones((4, 1))], axis=1) @ pose.rotation.T
    rotation = look(found.azimuth_deg, found.tilt_deg)
    own = pose_at(found.focus, rotation=rotation, focal_mm=found.focal_mm, m=found.magnification, pupil_ratio=1.0)
    assert own.position == pytest.approx(pose.position, abs=1e-6)
    longer = optics.Optics(found.focal_mm, 11.0, own.focus_mm)
    slopes, _ = project(points, own.position, own.rotation)
    reach = np.abs(slopes / half_slopes(longer, frame_used(*FORMAT, shape_of(found.aspect))))
    assert reach == pytest.approx(np.ones((4, 2)), abs=0.06)
    assert found.aspect == pytest.approx(1.5 * (right - left) / (high - low))


def test_a_click_is_no_box() -> None:
    pose = CameraPose(np.array([0.0, -500.0, 100.0]), look(0.0, 10.0), 480.0)
    with pytest.raises(ValueError, match="too small"):
        box_shot(pose, optics.Optics(90.0, 8.0, 480.0), FORMAT, 1.5, (0.5, 0.5, 0.51, 0.52))
