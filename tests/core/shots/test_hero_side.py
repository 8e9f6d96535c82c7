"""Is the hero taken from the side from which its face is not hidden? A ball as head, a rod before it."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.scan.standing.body import fibonacci_directions
from blender_addon.core.shots.framing import look
from blender_addon.core.shots.hero_side import clearer_side
from blender_addon.core.shots.subject import Subject

FACE = np.array([0.0, -10.0, 60.0])


def head_with_rod(*places: tuple[float, float]) -> Subject:
    """A ball of 10 mm at a height of 60 mm on the ground by a thin neck, and upright rods of 3 mm at places (x, y)."""
    ways = fibonacci_directions(12_000)
    turn, height = np.random.default_rng(1).uniform(0.0, [[2.0 * np.pi], [75.0]], (2, 30_000))
    around = np.stack([np.cos(turn), np.sin(turn), 0.0 * turn], axis=1)
    parts = [(10.0 * ways + [0.0, 0.0, 60.0], ways)]
    parts += [(3.0 * around + np.stack([0.0 * turn + x, 0.0 * turn + y, height], axis=1), around) for x, y in places]
    points, normals = (np.concatenate(rows) for rows in zip(*parts, strict=True))
    return Subject(points, points, normals, np.ones(len(points)))


def before(azimuth_deg: float) -> tuple[float, float]:
    """A place 16 mm before the face, on the way to a camera."""
    x, y, _ = FACE + 16.0 * look(azimuth_deg, 0.0)[:, 2]
    return float(x), float(y)


@pytest.mark.parametrize("azimuth", [22.0, -22.0, 40.0])
def test_a_rod_before_the_face_turns_the_hero_to_the_other_side(azimuth: float) -> None:
    assert clearer_side(head_with_rod(before(azimuth)), FACE, azimuth, 12.0) == -azimuth
    assert clearer_side(head_with_rod(before(-azimuth)), FACE, azimuth, 12.0) == azimuth


def test_the_usual_side_stays_where_both_show_as_much_and_where_there_is_no_face() -> None:
    assert clearer_side(head_with_rod((0.0, 30.0)), FACE, 22.0, 12.0) == 22.0
    assert clearer_side(head_with_rod(before(22.0), before(-22.0)), FACE, 22.0, 12.0) == 22.0
    assert clearer_side(head_with_rod(before(22.0)), np.array([0.0, 10.0, 60.0]), 22.0, 12.0) == 22.0
