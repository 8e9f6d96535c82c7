"""Does a further scan find its place, and is 'sure' said only when it is right?"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.similarity import Similarity, angle_between, rotation_from_vector
from blender_addon.core.mesh.topology import submesh
from blender_addon.core.mesh.triangles import TriangleMesh, face_normals, vertex_normals
from blender_addon.core.scan.registration import SURE, from_pairs, overlay, register, sample_surfels
from blender_addon.core.scan.registration.batch import Target
from blender_addon.core.scan.registration.grid import ClosestGrid
from blender_addon.core.scan.registration.icp import firmness, loose_axis, refine
from blender_addon.core.scan.registration.near import NearPoints
from blender_addon.core.scan.registration.scans import depth_known
from blender_addon.core.scan.registration.starts import even_turns
from scripts.truth.modelling.fields import rotation
from scripts.truth.pieces.stands import TERRAZZO, meshed, subjects

STEP = 1.3


def tree(points: Any) -> Any:
    """Nearest points by brute force, in parts: no library needed here."""
    points = np.asarray(points)

    def nearest(queries: Any) -> Any:
        index, far = [], []
        for part in np.array_split(queries, max(1, len(queries) // 100)):
            square = (part**2).sum(1)[:, None] - 2.0 * part @ points.T + (points**2).sum(1)
            index.append(square.argmin(axis=1))
            far.append(np.sqrt(np.maximum(square.min(axis=1), 0.0)))
        return np.concatenate(index), np.concatenate(far)

    return nearest


@pytest.fixture(scope="module")
def shapes() -> dict[str, tuple[TriangleMesh, TriangleMesh]]:
    """Whole, and what is scanned again on another grid, of three subjects."""
    turn = rotation(("x", 17), ("y", 31), ("z", 8))
    meshes = {}
    for name in ("slab", "disc", "bare"):
        subject = subjects()[name]
        other = subject.stand or subject.piece
        meshes[name] = (TriangleMesh(*meshed(subject.whole, STEP)), TriangleMesh(*meshed(other, 0.9 * STEP, turn=turn)))
    return meshes


def seen_again(mesh: TriangleMesh, seed: int) -> tuple[TriangleMesh, Similarity]:
    """Noise of 0.04 mm, a fifth cropped away, and an unknown pose and scale; with the truth that undoes it."""
    random = np.random.default_rng(seed)
    noise = vertex_normals(mesh.vertices, mesh.faces) * random.normal(0.0, 0.04, (len(mesh.vertices), 1))
    direction = random.normal(size=3)
    along = mesh.vertices[mesh.faces].mean(axis=1) @ direction
    part = submesh(replace(mesh, vertices=mesh.vertices + noise), along > np.quantile(along, 0.2))
    scale = float(np.exp(random.uniform(-3, 3)))
    there = Similarity(scale, rotation_from_vector(random.normal(size=3) * 2.0), scale * random.normal(size=3) * 100.0)
    return replace(part, vertices=there.apply(part.vertices)), there.inverse()


@pytest.mark.parametrize(("name", "seed"), [("slab", 1), ("slab", 2), ("bare", 1), ("bare", 2)])
def test_finds_the_pose(name: str, seed: int, shapes: Any) -> None:
    """Stand alone and whole turned: a tenth of what still counts as a success (1 degree, 0.5 %)."""
    whole, again = shapes[name]
    moving, truth = seen_again(again, seed)
    found = register(whole, moving, partial=name == "slab")
    assert found.verdict == SURE, found.reason
    assert angle_between(found.best.pose.rotation, truth.rotation) < 0.1
    assert found.best.pose.scale / truth.scale == pytest.approx(1.0, abs=1e-3)
    assert found.best.evidence.rms < 0.08  # two scans' noise of 0.04 mm and the grids' own difference


def test_a_plain_disc_is_never_sure(shapes: Any) -> None:
    """A round stand has no turn to find from shape: the candidates are handed out instead."""
    whole, again = shapes["disc"]
    moving, _ = seen_again(again, 4)
    found = register(whole, moving, partial=True)
    assert found.verdict != SURE
    assert found.candidates


def test_colour_holds_a_disc(shapes: Any) -> None:
    """The same disc with its speckle under two lights."""
    subject = subjects()["disc"]
    whole, again = shapes["disc"]
    moving, truth = seen_again(again, 4)
    found = register(
        whole, moving, partial=True, fixed_colour=subject.paint(whole.vertices),
        moving_colour=0.4 * subject.paint(truth.apply(moving.vertices)) * [1.0, 0.9, 0.7],
    )  # fmt: skip
    assert found.verdict == SURE, found.reason
    assert angle_between(found.best.pose.rotation, truth.rotation) < 1.0


def hexagon(points: Any) -> Any:
    """Distance to a plate of six equal sides, 9 mm high."""
    angles = np.radians(np.arange(0, 360, 60))
    sides = (points[:, :1] * np.cos(angles) + points[:, 1:2] * np.sin(angles)).max(axis=1) - 30.0
    out = np.stack([sides + 0.8, np.abs(points[:, 2] - 4.5) - 3.7])
    return np.linalg.norm(np.maximum(out, 0), axis=0) + np.minimum(out.max(axis=0), 0) - 0.8


def test_every_way_of_a_hexagon_is_listed(shapes: Any) -> None:
    """Shape alone fits twelve ways; the true one must be among them to be picked, and is, though a fifth is cropped away."""
    figure = subjects()["slab"].piece
    whole = TriangleMesh(*meshed(lambda p: np.minimum(hexagon(p), figure(p + [0.0, 0.0, 4.0])), STEP))
    again = TriangleMesh(*meshed(hexagon, 0.9 * STEP, turn=rotation(("x", 17), ("y", 31), ("z", 8))))
    moving, truth = seen_again(again, 3)
    found = register(whole, moving, partial=True)
    assert found.verdict != SURE and found.tie == "ways"
    off = [angle_between(candidate.pose.rotation, truth.rotation) for candidate in found.candidates]
    assert min(off) < 0.2
    assert len(found.candidates) >= 6


def marked(points: Any, piece: Any) -> Any:
    """Colours (n, 3) of a speckled stand, darker where the piece stood."""
    return TERRAZZO(points) * (1.0 - 0.7 / (1.0 + np.exp((piece(points) + 0.3) / 0.4)))[:, None]


def test_the_mark_of_the_piece_turns_a_disc(shapes: Any) -> None:
    """The first scan dusted white all over: the mark on the bare stand alone says how it is turned; without it nothing does."""
    whole, again = shapes["disc"]
    moving, truth = seen_again(again, 5)
    there, white = truth.apply(moving.vertices), np.full((len(whole.vertices), 3), 0.7)
    found, unmarked = (
        register(whole, moving, partial=True, fixed_colour=white, moving_colour=colour)
        for colour in (marked(there, subjects()["disc"].piece), TERRAZZO(there))
    )
    assert angle_between(found.best.pose.rotation, truth.rotation) < 1.5  # the outline is as sharp as the surfels lie dense
    assert unmarked.verdict != SURE and unmarked.axis is not None


def test_the_mark_of_the_piece_picks_a_way() -> None:
    """A hexagon fits twelve ways; a coarse look at the mark is enough to be sure of one."""
    figure = subjects()["slab"].piece
    whole = TriangleMesh(*meshed(lambda p: np.minimum(hexagon(p), figure(p + [0.0, 0.0, 4.0])), STEP))
    again = TriangleMesh(*meshed(hexagon, 0.9 * STEP, turn=rotation(("x", 17), ("y", 31), ("z", 8))))
    moving, truth = seen_again(again, 3)
    colour = marked(truth.apply(moving.vertices), lambda p: figure(p + [0.0, 0.0, 4.0]))
    found = register(whole, moving, partial=True, moving_colour=colour)
    assert found.verdict == SURE and "mark" in found.reason
    assert angle_between(found.best.pose.rotation, truth.rotation) < 0.2


def test_a_shrunk_slab_in_a_larger_plate_is_never_sure(shapes: Any) -> None:
    """Laid flush with two of its sides, the others buried: free where a piece may hide it, not where no piece stands."""
    whole = TriangleMesh(*meshed(lambda p: np.minimum(hexagon(p), subjects()["slab"].piece(p + [0.0, 0.0, 4.0])), STEP))
    moving, _ = seen_again(shapes["slab"][1], 0)
    assert register(whole, moving, partial=True).verdict != SURE


def test_depth_is_known_to_the_far_side(shapes: Any) -> None:
    """A disc of 9 mm: 9 mm deep under its top; with the underside cut off, no more than 4 % of its size is taken for solid."""
    disc = shapes["disc"][1]
    middle, facing = disc.vertices[disc.faces].mean(axis=1), face_normals(disc.vertices, disc.faces)
    for mesh, deep in ((disc, 9.0), (submesh(disc, ~((facing[:, 2] < -0.5) | (middle[:, 2] < 3.0))), None)):
        surfels = sample_surfels(mesh, 4000, seed=1)
        depth, blind = depth_known(surfels, Target.of(surfels))
        top = (surfels.normals[:, 2] > 0.95) & (np.hypot(*surfels.points[:, :2].T) < 25.0)
        assert np.median(depth[top]) == pytest.approx(deep or 0.04 * surfels.size, abs=0.3)
        assert blind[top].mean() == pytest.approx(0.0 if deep else 1.0, abs=0.1)  # near the edge a side may be met


@pytest.mark.parametrize("seed", [1, 2])
def test_another_thing_is_never_sure(seed: int, shapes: Any) -> None:
    moving, _ = seen_again(shapes["disc"][1], seed)
    assert register(shapes["slab"][0], moving, partial=True).verdict != SURE


def test_a_ball_fits_nothing_surely(shapes: Any) -> None:
    step = np.linspace(0, np.pi, 30)
    grid = np.array([[np.sin(a) * np.cos(b), np.sin(a) * np.sin(b), np.cos(a)] for a, b in product(step, 2 * step)]) * 20.0
    faces = [[i * 30 + j, (i + 1) * 30 + j, i * 30 + j + 1] for i in range(29) for j in range(29)]
    faces += [[(i + 1) * 30 + j, (i + 1) * 30 + j + 1, i * 30 + j + 1] for i in range(29) for j in range(29)]
    found = register(shapes["slab"][0], TriangleMesh(grid, np.array(faces, np.int32)), partial=True)
    assert found.verdict != SURE


def test_same_seed_same_answer(shapes: Any) -> None:
    whole, again = shapes["slab"]
    moving, _ = seen_again(again, 1)
    first, second = (register(whole, moving, seed=3, partial=True) for _ in range(2))
    assert np.array_equal(first.best.pose.matrix, second.best.pose.matrix)


def test_picked_pairs_place_a_disc(shapes: Any) -> None:
    """Three pairs picked 0.5 mm off on a stand that shape leaves free to turn."""
    whole, again = shapes["disc"]
    moving, truth = seen_again(again, 7)
    spots = np.array([[35.0, 0, 8], [-20, 28, 8], [-18, -29, 2]])
    clicked = truth.inverse().apply(spots + np.random.default_rng(1).normal(0, 0.3, spots.shape))
    found = from_pairs(whole, moving, clicked, spots, partial=True)
    assert angle_between(found.best.pose.rotation, truth.rotation) < 1.5
    assert found.best.pose.scale / truth.scale == pytest.approx(1.0, abs=0.005)
    with pytest.raises(ValueError, match="one line"):
        from_pairs(whole, moving, clicked[[0, 0, 0]], spots[[0, 0, 0]])


def test_no_surface_is_an_error(shapes: Any) -> None:
    flat = TriangleMesh(np.zeros((3, 3)), np.array([[0, 1, 2]], np.int32))
    with pytest.raises(ValueError, match="no surface"):
        register(shapes["slab"][0], flat)


def test_refining_never_gets_worse_and_converges(shapes: Any) -> None:
    """Besl & McKay 1992 (PAMI 14(2)): iterations converge to the nearby minimum, from 8 degrees and 5 % off."""
    whole, _ = shapes["bare"]
    fixed, moving = sample_surfels(whole, 6000, seed=1), sample_surfels(whole, 1500, seed=2)
    start = Similarity(1.04, rotation_from_vector(np.radians([5.0, 4.0, 5.0])), np.array([3.0, -2.0, 2.0]))
    nearest, asked = tree(fixed.points), []
    pose, rms, matched = refine(moving, fixed, lambda points: asked.append(1) or nearest(points), start, rounds=60)
    assert len(asked) < 40, "it ends where a round moves nothing any more"
    assert angle_between(pose.rotation, np.eye(3)) < 0.1
    assert pose.scale == pytest.approx(1.0, abs=1e-3)
    assert np.linalg.norm(pose.apply(moving.points) - moving.points, axis=1).max() < 1e-3 * fixed.size
    assert rms < 0.1 and matched > 0.9


def test_what_can_slide_is_not_firm(shapes: Any) -> None:
    """A cylinder's side turns about one axis alone and slides along it (two freedoms); a rim stops the sliding."""
    angle, level = np.meshgrid(np.linspace(0, 2 * np.pi, 60, endpoint=False), np.linspace(0, 10, 20))
    side = np.stack([20 * np.cos(angle), 20 * np.sin(angle), level], -1).reshape(-1, 3) + [5.0, 7.0, 0.0]
    outward = np.stack([np.cos(angle), np.sin(angle), 0 * angle], -1).reshape(-1, 3)
    random = np.random.default_rng(1)
    spot = random.uniform(0, 2 * np.pi, 400), 20 * np.sqrt(random.random(400))
    top = np.c_[spot[1] * np.cos(spot[0]) + 5, spot[1] * np.sin(spot[0]) + 7, np.full(400, 10.0)]
    points, normals = np.concatenate([side, top]), np.concatenate([outward, np.tile([0, 0, 1.0], (400, 1))])
    bottom = np.concatenate([points, top - [0, 0, 10]]), np.concatenate([normals, np.tile([0, 0, -1.0], (400, 1))])
    assert firmness(*bottom) < 1e-6
    axis, middle = loose_axis(*bottom, firm=5e-3)
    assert abs(axis[2]) == pytest.approx(1.0, abs=1e-3)
    assert middle[:2] == pytest.approx([5.0, 7.0], abs=0.02)
    fixed = sample_surfels(shapes["slab"][0], 3000, seed=1)
    assert firmness(fixed.points, fixed.normals) > 0.01


def test_closest_grid_is_almost_exact() -> None:
    """At most a cell's diagonal farther than the true nearest (the cell's middle asks for all that lies in it, twice)."""
    random = np.random.default_rng(3)
    points, queries = random.random((500, 3)), random.random((400, 3))
    grid = ClosestGrid(points)
    found = np.linalg.norm(queries - points[grid.nearest(queries)], axis=1)
    best = np.linalg.norm(queries[:, None] - points[None], axis=2).min(axis=1)
    assert np.all(found <= best + np.sqrt(3) * grid.cell + 1e-9)


@pytest.mark.parametrize("thickness", [20.0, 1.2])
def test_near_points_are_the_nearest(thickness: float) -> None:
    """Exact for 99 of 100 spots within half the spacing of a plate, thick or thinner than the cells are wide (by brute force).

    Far away, where nothing but 'not here' is asked of it, within a twentieth of the true distance on average.
    """
    random = np.random.default_rng(5)
    points = np.c_[random.uniform(0, 60, (4000, 2)), thickness * random.integers(0, 2, 4000)]
    near = NearPoints(points, ClosestGrid(points[:2000]), spacing=60 * np.sqrt(2 / 4000))
    spots = np.c_[random.uniform(2, 58, (1000, 2)), thickness * random.integers(0, 2, 1000) + random.normal(0, 0.3, 1000)]
    index, far = near(spots)
    assert (index == tree(points)(spots)[0]).mean() > 0.99
    assert far == pytest.approx(np.linalg.norm(spots - points[index], axis=1), abs=1e-12)
    away = random.normal(30.0, 80.0, (1000, 3))
    assert (near(away)[1] / tree(points)(away)[1] - 1.0).mean() < 0.05
    assert len(near(np.zeros((0, 3)))[0]) == 0


def test_even_turns_leave_no_gap() -> None:
    """Every rotation has one of 240 within 45 degrees (an even cover of that many has about 34), and all are rotations."""
    turns = even_turns(240)
    assert np.einsum("nij,nkj->nik", turns, turns) == pytest.approx(np.tile(np.eye(3), (240, 1, 1)), abs=1e-12)
    for seed in range(200):
        turn = rotation_from_vector(np.random.default_rng(seed).normal(size=3) * 2.0)
        trace = np.einsum("nij,ij->n", turns, turn).max()
        assert np.degrees(np.arccos(np.clip(0.5 * (trace - 1.0), -1, 1))) < 45.0


def test_overlay_shows_both(shapes: Any) -> None:
    fixed = sample_surfels(shapes["slab"][0], 4000, seed=1)
    picture = overlay(fixed, replace(fixed, points=fixed.points + [10.0, 0, 0]), pixels=120)
    assert picture.shape == (120, 240, 3) and picture.min() >= 0.0 and picture.max() <= 1.0
    ochre = (picture[..., 0] - picture[..., 2]) > 0.15
    grey = np.ptp(picture, axis=-1) < 1e-6
    assert ochre.mean() > 0.02 and grey.mean() > 0.02


def test_overlay_to_choose_from_shows_the_further_scans_own_colours(shapes: Any) -> None:
    """Green all over, laid on the plain first scan: green wherever it lies on it, though a hair beneath it."""
    fixed = sample_surfels(shapes["slab"][0], 6000, seed=1)
    green = np.tile([0.1, 0.6, 0.1], (6000, 1))
    under = replace(fixed, points=fixed.points - 0.1 * fixed.normals, colour=green)
    picture = overlay(fixed, under, pixels=120, laid_over=True)
    thing = np.ptp(picture, axis=-1) > 0.04  # neither the ground nor the plain grey
    assert (picture[thing, 1] > picture[thing, 0]).mean() > 0.98
    assert thing.mean() > 0.2
