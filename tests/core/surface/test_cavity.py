"""Are recesses and raised parts found by form alone, whatever size and mesh?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.surface.cavity import cavity


def plate(depth: float, *, spacing: float, half: float = 20.0, width: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """A plate with one straight furrow (depth > 0) or ridge along y, in mm."""
    steps = int(2 * half / spacing) + 1
    x, y = np.meshgrid(np.linspace(-half, half, steps), np.linspace(-half, half, steps), indexing="ij")
    z = -depth * np.exp(-((x / (0.5 * width)) ** 2))
    index = np.arange(steps * steps).reshape(steps, steps)
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    faces = np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    return np.stack([x, y, z], -1).reshape(-1, 3), faces


@pytest.mark.parametrize("spacing", [0.25, 0.5, 0.8])
def test_a_furrow_is_a_recess_and_a_ridge_is_raised(spacing: float) -> None:
    for depth in (0.4, -0.4):
        points, faces = plate(depth, spacing=spacing)
        found = cavity(points, faces) * np.sign(depth)
        inner = np.abs(points[:, 1]) < 12
        floor = found[inner & (np.abs(points[:, 0]) < 0.3 + 0.5 * spacing)]
        away = found[inner & (np.abs(points[:, 0]) > 9) & (np.abs(points[:, 0]) < 14)]
        assert floor.mean() > 0.3
        assert np.abs(away).max() < 0.08


def test_a_ball_is_even_all_over() -> None:
    """A smooth ball has neither recess nor edge; uneven triangles of a UV ball may show, but less than a tenth."""
    rows, columns = 60, 120
    v, u = np.meshgrid(np.linspace(0.05, 0.95, rows), np.arange(columns) / columns, indexing="ij")
    points = 20 * np.stack(
        [np.sin(np.pi * v) * np.cos(2 * np.pi * u), np.sin(np.pi * v) * np.sin(2 * np.pi * u), -np.cos(np.pi * v)], -1
    )
    a = np.arange((rows - 1) * columns).reshape(rows - 1, columns)
    b = np.roll(a.reshape(rows - 1, columns), -1, axis=1)
    faces = np.concatenate([np.stack([a, b, b + columns], -1), np.stack([a, b + columns, a + columns], -1)]).reshape(-1, 3)
    found = cavity(points.reshape(-1, 3), faces).reshape(rows, columns)
    assert np.abs(found[15:45]).max() < 0.12


def test_deeper_means_more_and_values_stay_in_range() -> None:
    middles = []
    for depth in (0.1, 0.3, 1.0, 4.0):
        points, faces = plate(depth, spacing=0.5)
        found = cavity(points, faces)
        assert np.abs(found).max() <= 1.0
        middles.append(found[np.abs(points[:, 0]) < 0.3].mean())
    assert middles == sorted(middles)


def test_nothing_in_gives_nothing_out() -> None:
    assert cavity(np.zeros((0, 3)), np.zeros((0, 3), int)).shape == (0,)
    assert (cavity(np.zeros((3, 3)), np.zeros((0, 3), int)) == 0).all()
