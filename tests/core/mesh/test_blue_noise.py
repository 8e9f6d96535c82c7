"""Blue noise on a surface: distances kept exactly, the same for a seed, density followed."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.blue_noise import accepted, conflicts
from blender_addon.core.mesh.solids import ball
from blender_addon.core.mesh.triangles import face_areas
from scripts.bench._poisson_points import ROOM, poisson_points


def square(side: float = 100.0, parts: int = 20) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.linspace(0, side, parts + 1), np.linspace(0, side, parts + 1))
    place = np.arange((parts + 1) ** 2).reshape(parts + 1, -1)
    a, b, c, d = place[:-1, :-1], place[:-1, 1:], place[1:, 1:], place[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    return np.stack([x, y, 0 * x], -1).reshape(-1, 3), faces


def distances(points: np.ndarray) -> np.ndarray:
    gap = np.linalg.norm(points[:, None] - points[None], axis=2)
    np.fill_diagonal(gap, np.inf)
    return gap


@pytest.mark.parametrize("shape", ["square", "ball"])
def test_count_is_met_and_no_two_are_nearer_than_promised(shape: str) -> None:
    vertices, faces = square() if shape == "square" else (50 * ball(4).vertices, ball(4).faces)
    spread = poisson_points(vertices, faces, 1500, seed=4)
    assert len(spread.points) == 1500
    radius = ROOM * np.sqrt(2 * face_areas(vertices, faces).sum() / (np.sqrt(3) * 1500))
    assert spread.reach == pytest.approx(radius, rel=1e-12)
    assert distances(spread.points).min() >= radius * (1 - 1e-9)


def test_points_lie_on_their_faces() -> None:
    vertices, faces = 50 * ball(3).vertices, ball(3).faces
    spread = poisson_points(vertices, faces, 300, seed=2)
    rebuilt = np.einsum("nk,nkd->nd", spread.weights, vertices[faces[spread.faces]])
    assert np.abs(rebuilt - spread.points).max() < 1e-9
    assert (spread.weights >= 0).all() and spread.weights.sum(axis=1) == pytest.approx(1.0)


def test_a_seed_gives_one_arrangement_and_another_seed_another() -> None:
    mesh = square()
    first, same, other = (poisson_points(*mesh, 200, seed=seed).points for seed in (1, 1, 2))
    assert np.array_equal(first, same) and not np.array_equal(first, other)


def test_a_density_is_followed_and_each_keeps_the_greater_distance() -> None:
    vertices, faces = square()
    density = np.clip(vertices[:, 0] / 100.0, 0.0, 1.0)
    spread = poisson_points(vertices, faces, 1200, seed=3, density=density)
    assert len(spread.points) > 1000
    apart = distances(spread.points)
    assert (apart >= np.maximum(spread.reach[:, None], spread.reach[None]) * (1 - 1e-9)).all()
    left, right = (spread.points[:, 0] < 50).sum(), (spread.points[:, 0] >= 50).sum()
    assert right / left == pytest.approx(3.0, rel=0.2)  # the integral of x over the two halves; spread of the count ~ 5 %


def test_an_empty_wish_and_a_surface_without_density_give_nothing() -> None:
    vertices, faces = square()
    assert len(poisson_points(vertices, faces, 0).points) == 0
    assert len(poisson_points(vertices, faces, 50, density=np.zeros(len(vertices))).points) == 0
    assert len(poisson_points(vertices, faces[:0], 50).points) == 0


def test_a_full_surface_gives_what_fits() -> None:
    vertices, faces = square(1.0, 1)
    spread = poisson_points(vertices, faces, 2, seed=1)
    assert 1 <= len(spread.points) <= 2


@pytest.mark.parametrize("together", [True, False])
def test_conflicts_are_those_of_the_whole_table(together: bool) -> None:
    rng = np.random.default_rng(8)
    points, reach = rng.uniform(0, 40, (400, 3)) * [1, 1, 0.05], rng.lognormal(0.0, 0.8, 400)
    others, others_reach = rng.uniform(0, 40, (300, 3)) * [1, 1, 0.05], rng.lognormal(0.0, 0.8, 300)
    limit = (lambda a, b: a + b) if together else np.maximum
    gap = np.linalg.norm(points[:, None] - others[None], axis=2)
    want = {tuple(pair) for pair in np.argwhere(gap < limit(reach[:, None], others_reach[None])).tolist()}
    assert (
        set(zip(*(ends.tolist() for ends in conflicts(points, reach, others, others_reach, together=together)), strict=True))
        == want
    )
    gap = np.linalg.norm(points[:, None] - points[None], axis=2)
    want = {(i, j) for i, j in np.argwhere(gap < limit(reach[:, None], reach[None])).tolist() if i < j}
    found = list(zip(*(ends.tolist() for ends in conflicts(points, reach, None, None, together=together)), strict=True))
    assert {(min(pair), max(pair)) for pair in found} == want and len(found) == len(want)


def test_accepting_is_what_taking_them_one_by_one_gives() -> None:
    rng = np.random.default_rng(9)
    points, reach = rng.uniform(0, 20, (500, 3)) * [1, 1, 0], rng.uniform(0.2, 1.6, 500)
    taken, taken_reach = rng.uniform(0, 20, (20, 3)) * [1, 1, 0], rng.uniform(0.2, 1.6, 20)
    kept: list[int] = []
    for i in range(500):
        clear = (np.linalg.norm(taken - points[i], axis=1) >= taken_reach + reach[i]).all()
        if clear and (np.linalg.norm(points[kept] - points[i], axis=1) >= reach[kept] + reach[i]).all():
            kept.append(i)
    assert np.flatnonzero(accepted(points, reach, taken, taken_reach, together=True)).tolist() == kept
