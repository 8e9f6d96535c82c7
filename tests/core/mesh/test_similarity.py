"""Does the closed form bring points back exactly, and refuse what leaves the pose open?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.similarity import Similarity, angle_between, fit_similarity, rotation_from_vector


def random_pose(seed: int) -> Similarity:
    random = np.random.default_rng(seed)
    turn = rotation_from_vector(random.normal(size=3) * 2.0)
    return Similarity(float(np.exp(random.uniform(-3, 3))), turn, random.normal(size=3) * 50.0)


def test_umeyama_worked_example() -> None:
    """Umeyama 1991 (PAMI 13(4)), three points in the plane; values by own arithmetic, to their five digits.

    A solution without the determinant's sign would mirror here.
    """
    source = np.array([[0, 0], [1, 0], [0, 2]], float)
    target = np.array([[0, 0], [-1, 0], [0, 2]], float)
    found = fit_similarity(source, target)
    assert found.rotation == pytest.approx(np.array([[0.83205, 0.55470], [-0.55470, 0.83205]]), abs=1e-5)
    assert found.scale == pytest.approx(0.721110, abs=1e-6)
    assert found.translation == pytest.approx([-0.8, 0.4], abs=1e-5)
    assert np.mean(((found.apply(source) - target) ** 2).sum(axis=1)) == pytest.approx(0.533333, abs=1e-6)


@pytest.mark.parametrize("seed", range(20))
def test_round_trip(seed: int) -> None:
    """Four points that span space bring any pose back to 1e-9 of its own size: double precision leaves 1e-13."""
    pose = random_pose(seed)
    source = np.random.default_rng(seed + 100).normal(size=(4, 3))
    found = fit_similarity(source, pose.apply(source))
    assert found.matrix == pytest.approx(pose.matrix, abs=1e-9 * np.abs(pose.matrix).max())


def test_three_points_in_space_are_enough() -> None:
    pose = random_pose(3)
    source = np.array([[0, 0, 0], [1, 0, 0], [0, 2, 0]], float)
    assert fit_similarity(source, pose.apply(source)).matrix == pytest.approx(pose.matrix, rel=1e-9, abs=1e-9)


def test_points_on_a_line_leave_the_turn_open() -> None:
    line = np.outer(np.arange(5.0), [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="one line"):
        fit_similarity(line, line)


def test_weights_silence_an_outlier() -> None:
    pose = random_pose(5)
    source = np.random.default_rng(1).normal(size=(6, 3))
    target = pose.apply(source)
    target[0] += 10.0
    found = fit_similarity(source, target, weights=np.array([0, 1, 1, 1, 1, 1.0]))
    assert found.matrix == pytest.approx(pose.matrix, rel=1e-9, abs=1e-9)


def test_algebra() -> None:
    first, second = random_pose(7), random_pose(8)
    points = np.random.default_rng(2).normal(size=(5, 3))
    assert second.after(first).apply(points) == pytest.approx(second.apply(first.apply(points)), rel=1e-9, abs=1e-9)
    assert first.inverse().apply(first.apply(points)) == pytest.approx(points, abs=1e-9)
    assert Similarity.from_matrix(first.matrix).matrix == pytest.approx(first.matrix, rel=1e-9, abs=1e-9)
    with pytest.raises(ValueError, match="mirrors"):
        Similarity.from_matrix(np.diag([1.0, 1.0, -1.0, 1.0]))


def test_small_angles_are_exact() -> None:
    """arccos of the trace would give 0 or 1e-8 for a turn of 1e-9; the sine does not."""
    turn = rotation_from_vector(np.array([0.0, 0.0, 1e-9]))
    assert angle_between(np.eye(3), turn) == pytest.approx(np.degrees(1e-9), rel=1e-6)
