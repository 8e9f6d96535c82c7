"""Cuts of a surface by planes, on a sphere whose cuts are circles known in closed form."""

import numpy as np
import pytest

from blender_addon.core.mesh.sections import clipped_lines, hatching, level_lines


def sphere(rows=60, columns=120):
    v, u = np.meshgrid(np.linspace(0.01, np.pi - 0.01, rows), np.linspace(0, 2 * np.pi, columns, endpoint=False), indexing="ij")
    points = np.stack([np.sin(v) * np.cos(u), np.sin(v) * np.sin(u), np.cos(v)], axis=-1).reshape(-1, 3)
    faces = []
    for row in range(rows - 1):
        for column in range(columns):
            a, b = row * columns + column, row * columns + (column + 1) % columns
            faces += [[a, a + columns, b], [b, a + columns, b + columns]]
    return points, np.array(faces)


@pytest.mark.parametrize("level", [-0.6, 0.0, 0.5])
@pytest.mark.parametrize("axis", [[0, 0, 1.0], [0.6, 0.0, 0.8]])
def test_a_cut_of_a_sphere_is_a_closed_circle(level, axis):
    points, faces = sphere()
    axis = np.array(axis)
    lines = level_lines(points, faces, points @ axis, level)
    assert lines.reshape(-1, 3) @ axis == pytest.approx(level, abs=1e-9)
    around = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum()
    assert around == pytest.approx(2 * np.pi * np.sqrt(1 - level**2), rel=5e-3)
    ends = np.round(lines.reshape(-1, 3), 7)
    _, shared = np.unique(ends, axis=0, return_counts=True)
    assert (shared % 2 == 0).all()  # every end meets another: no gap


def test_a_plane_that_misses_gives_nothing():
    points, faces = sphere()
    assert level_lines(points, faces, points[:, 2], 2.0).shape == (0, 2, 3)


def test_clipping_keeps_what_lies_between():
    lines = np.array([[[0, 0, 0], [0, 0, 4.0]], [[0, 0, 5.0], [1, 0, 5.0]], [[1, 0, 1.5], [0, 1, 1.5]]])
    cut = clipped_lines(lines, np.array([0, 0, 1.0]), 1.0, 2.0)
    assert cut[0] == pytest.approx(np.array([[0, 0, 1.0], [0, 0, 2.0]]))
    assert len(cut) == 2 and cut[1] == pytest.approx(lines[2])


def test_hatching_stays_within_the_sharp_zone_and_on_the_surface():
    points, faces = sphere()
    axis, across = np.array([0, 1.0, 0]), np.array([1.0, 0, 0])
    lines = hatching(points, faces, axis=axis, across=across, depths=(-0.8, -0.3), spacing=0.05)
    depth = lines.reshape(-1, 3) @ axis
    assert depth.min() >= -0.8 - 1e-9 and depth.max() <= -0.3 + 1e-9
    assert np.linalg.norm(lines.reshape(-1, 3), axis=1) == pytest.approx(1.0, abs=3e-3)
    assert len(lines) > 100
    assert not len(hatching(points, faces, axis=axis, across=across, depths=(2.0, 3.0), spacing=0.05))


def test_hatching_is_straight_and_even_seen_along_the_axis():
    points, faces = sphere()
    axis, across = np.array([0, 1.0, 0]), np.array([0.6, 0, 0.8])
    lines = hatching(points, faces, axis=axis, across=across, depths=(-1.0, 0.0), spacing=0.05)
    side = lines @ across
    assert side[:, 0] == pytest.approx(side[:, 1], abs=1e-9)
    assert np.diff(np.unique(np.round(side[:, 0], 6))) == pytest.approx(0.05, abs=1e-6)
