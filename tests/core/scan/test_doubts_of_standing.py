"""Is what a piece rests on told from what it was made to stand on, and is it asked where form can't tell?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.solids import ball, lathe
from blender_addon.core.mesh.topology import joined
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan import support_plane
from blender_addon.core.scan.facing.choosing import SEVERAL, facings
from blender_addon.core.scan.facing.profiles import Standing
from blender_addon.core.scan.roughness import rough_side
from blender_addon.core.scan.standing import file_axes, rising
from blender_addon.core.scan.standing.body import body_of, fibonacci_directions
from blender_addon.core.scan.standing.poses import facet_directions
from blender_addon.core.scan.symmetry import part_profile, turns_alike
from tests.qhull import degrees_between, hull
from tests.scan_shapes import box, moved, noisy, rotation

UP = np.array([0.0, 0.0, 1.0])
BOX = np.array([-10.0, -7.0, 0.0]), np.array([12.0, 6.0, 30.0])


def shifted(mesh: TriangleMesh, *by: float) -> TriangleMesh:
    return replace(mesh, vertices=np.asarray(mesh.vertices, float) + by)


def ellipsoid(middle: tuple[float, float, float], radii: tuple[float, float, float], level: int = 5) -> TriangleMesh:
    round_one = ball(level)
    return replace(round_one, vertices=np.asarray(round_one.vertices, float) * radii + np.array(middle))


def table(legs: int = 4, *, thick: float = 4.0) -> TriangleMesh:
    """A round body of 30 mm that stands on legs 12 mm long."""
    angles = 2.0 * np.pi * (np.arange(legs) + 0.5) / legs
    feet = [shifted(box((thick, thick, 16.0), steps=6), 9.0 * np.cos(a), 9.0 * np.sin(a), 0.0) for a in angles]
    body = ellipsoid((0.0, 0.0, 22.0), (15.0, 15.0, 10.0))
    return joined([body, *feet])


@pytest.mark.parametrize("axis", ["z", "-z", "y", "-y", "x", "-x"])
def test_the_ground_at_the_files_origin_speaks_for_its_axis(axis: str) -> None:
    """A box whose lowest side along an axis lies at zero, the others anywhere: no other axis gains."""
    up = file_axes.AXES[axis]
    place = int(np.abs(up).argmax())
    low, high = (np.roll(end, (place + 1) % 3) for end in BOX)
    if up[place] < 0:
        low, high = low.copy(), high.copy()
        low[place], high[place] = -high[place], -low[place]
    found = file_axes.on_the_ground(low, high)
    assert found[axis] > 10.0 and all(value < 1.0 for name, value in found.items() if name != axis)


def test_a_box_that_a_program_placed_says_nothing() -> None:
    """Centred on the origin, or with a corner there, whatever its pose; and one without any size."""
    low, high = BOX
    centred, corner = 0.5 * (high - low), high - low
    for ends in ((-centred, centred), (np.zeros(3), corner), (np.zeros(3), np.zeros(3))):
        assert set(file_axes.on_the_ground(*ends).values()) == {1.0}
    off = file_axes.on_the_ground(low + [0.0, 0.0, 5.0], high + [0.0, 0.0, 5.0])
    assert set(off.values()) == {file_axes.OFF_THE_GROUND}


def test_a_lump_whose_ground_is_the_files_is_sure_and_one_off_it_is_not() -> None:
    """The same rough ball, which rests anywhere: on the file's ground, and somewhere in space."""
    directions = fibonacci_directions(4000)
    lumpy = directions * (20.0 + np.sin(3.0 * directions[:, :1] + 1.0) + np.cos(4.0 * directions[:, 1:2] * directions[:, 2:]))
    lump = TriangleMesh(lumpy, hull(directions))
    on = shifted(lump, 3.0, 5.0, -float(lumpy[:, 2].min()))
    sure = [
        support_plane.confidence_in(found, found[0])
        for found in (support_plane.supports(mesh, hull, file="scan.obj") for mesh in (on, shifted(on, 0.0, 0.0, 9.0)))
    ]
    assert sure[0] > 0.8 > sure[1]


def test_walls_rise_from_the_ground_and_a_belly_curves_away_from_it() -> None:
    """A block has none of its surface facing down over the ground; of a ball much does (all of it below 45 degrees)."""
    block = body_of(box((30.0, 30.0, 40.0), steps=30), hull)
    round_one = body_of(ellipsoid((0.0, 0.0, 20.0), (20.0, 20.0, 20.0)), hull)
    ground = np.zeros(3)
    assert rising.belly(block, UP, ground) < 0.02
    assert rising.belly(round_one, UP, ground) > 0.9
    assert rising.legs(block, UP, ground) == rising.legs(round_one, UP, ground) == 0.0


@pytest.mark.parametrize(("count", "least"), [(2, 0.4), (3, 0.9), (4, 0.9)])
def test_legs_are_counted_by_the_ground_between_them(count: int, least: float) -> None:
    """Of two legs 4 mm thick and 18 mm apart 36 % of the outline is leg: half of what two can count."""
    body = body_of(table(count), hull)
    found = rising.legs(body, UP, np.zeros(3))
    assert found >= least and (count > 2 or found <= rising.OF_TWO)
    assert rising.legs(body_of(table(4, thick=17.0), hull), UP, np.zeros(3)) < 0.2, "legs without a gap are a plinth"


def test_points_that_touch_are_one_island() -> None:
    """Two patches three cells apart, each of points half a cell apart; and the numbers do not depend on the order."""
    near = np.stack(np.meshgrid(np.arange(0.0, 3.0, 0.5), np.arange(0.0, 2.0, 0.5)), axis=-1).reshape(-1, 2)
    plan = np.concatenate([near, near + [6.0, 0.0]])
    order = np.random.default_rng(1).permutation(len(plan))
    for rows in (np.arange(len(plan)), order):
        island = rising.islands(plan[rows], 1.0)
        far = plan[rows][:, 0] > 4.0
        assert len(set(island[far])) == len(set(island[~far])) == 1 and len(set(island)) == 2


@pytest.mark.parametrize("seed", range(3))
def test_an_animal_stands_on_its_legs_in_every_turn(seed: int) -> None:
    """A round body whose flat end could carry it as well: four legs that end in one level are what it stands on."""
    turn = rotation(seed)
    mesh = moved(noisy(table(), noise=0.1, seed=seed), turn, scale=float(seed + 1))
    found = support_plane.supports(mesh, hull)
    assert degrees_between(found[0].up, turn @ UP) < 2.0
    assert support_plane.confidence_in(found, found[0]) > 0.8


def two_handled(angle: float) -> Floats:
    """Points of a jar with two handles at opposite sides, turned by an angle in degrees."""
    directions = fibonacci_directions(30_000)
    parts = [directions * [15.0, 15.0, 22.0]]
    parts += [directions[::6] * [5.0, 1.5, 6.0] + [17.0 * side, 0.0, 6.0] for side in (-1.0, 1.0)]
    turn = np.radians(angle)
    spin = np.array([[np.cos(turn), -np.sin(turn), 0.0], [np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]])
    return np.concatenate(parts) @ spin.T + [0.0, 0.0, 22.0]


def test_a_jar_of_two_handles_has_two_fronts_and_shows_both_handles() -> None:
    """It looks the same after half a turn, so nothing is asked, and its broad side is shown."""
    points = two_handled(50.0)
    assert turns_alike(points) == pytest.approx([180.0], abs=4.0)
    normals = points - [0.0, 0.0, 22.0]
    best = facings(Standing(points, normals / np.linalg.norm(normals, axis=1, keepdims=True), 0.0))[0]
    assert abs((best.angle_deg - 50.0 + 90.0) % 180.0 - 90.0) < 12.0
    assert best.chance > 0.8 and SEVERAL in best.words


def test_what_has_a_front_looks_the_same_in_no_other_turn() -> None:
    """One handle: no turn is alike. A tripod: 120 and 240. A ball, and a few points: none, since nothing stands out."""
    directions = fibonacci_directions(20_000)
    pot = np.concatenate([directions * [15.0, 15.0, 22.0], directions[::6] * [5.0, 1.5, 6.0] + [17.0, 0.0, 6.0]])
    assert not len(turns_alike(pot))
    feet = [directions[::8] * [2.0, 2.0, 8.0] + [14.0 * np.cos(a), 14.0 * np.sin(a), -20.0] for a in np.radians([10, 130, 250])]
    assert turns_alike(np.concatenate([directions[::4] * 15.0, *feet])) == pytest.approx([120.0, 240.0], abs=4.0)
    assert not len(turns_alike(directions)) and not len(turns_alike(directions[:3]))


def test_the_halves_of_a_head_match_however_few_points_show_it() -> None:
    """A head with a nose and two ears, 1500 random points: alike from before and behind, and not from a side."""
    random = np.random.default_rng(4)

    def lump(middle: tuple[float, float, float], size: tuple[float, float, float], count: int) -> Floats:
        ways = random.normal(size=(count, 3))
        return ways / np.linalg.norm(ways, axis=1, keepdims=True) * size + np.array(middle)

    ears = [lump((9.0 * side, 0.0, 1.0), (1.5, 2.0, 4.0), 100) for side in (-1.0, 1.0)]
    head = np.concatenate(
        [lump((0.0, 0.0, 0.0), (8.0, 10.0, 11.0), 1150), lump((0.0, -11.0, 0.0), (1.6, 3.0, 3.0), 150), *ears]
    )
    profile = part_profile(head, np.array([0.0, 45.0, 90.0, 180.0]))
    assert profile[0] == pytest.approx(profile[3]) and profile[0] > 0.5
    assert max(profile[1], profile[2]) < profile[0] - 0.3


def test_a_rough_side_hardly_depends_on_how_the_piece_is_turned() -> None:
    """A ball rough on one side, in six turns: within a twentieth of its length (with one grid of cubes a fifth)."""
    random = np.random.default_rng(2)
    points = 20.0 * fibonacci_directions(24_000)
    normals = points / 20.0 + np.where(points[:, 1:2] < -4.0, random.normal(0.0, 0.5, points.shape), 0.0)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    found = np.array(
        [rotation(seed).T @ rough_side(points @ rotation(seed).T, normals @ rotation(seed).T, 5.0) for seed in range(6)]
    )
    assert np.linalg.norm(found - found.mean(axis=0), axis=1).max() < 0.05 * np.linalg.norm(found.mean(axis=0))


def test_the_small_foot_of_a_jar_is_among_the_facets() -> None:
    """Many small triangles of the hull make up the foot, a few large ones each wall beside it."""
    profile = np.array([[9.0, 0.0], [23.0, 45.0], [9.0, 66.0], [12.0, 84.0]])
    height = np.arange(0.0, 84.5, 1.0)
    outline = np.stack([np.interp(height, profile[:, 1], profile[:, 0]), height], axis=1)
    jar = noisy(lathe(np.concatenate([[[0.0, 0.0]], outline, [[0.0, 84.0]]]), sides=96), noise=0.15, seed=1)
    body = body_of(jar, hull)
    downs = [down for down, _, _ in facet_directions(body.extremes, body.hull, body.diagonal)]
    assert min(degrees_between(down, -UP) for down in downs) < 5.0


def test_a_mask_on_its_back_is_asked_about_and_a_plate_is_not() -> None:
    """Both lie flat and surely; but a mask may be meant to hang. A plate is a form of revolution."""
    half = ellipsoid((0.0, 0.0, 0.0), (28.0, 40.0, 20.0))
    flat = np.asarray(half.vertices, float).copy()
    flat[:, 2] = np.maximum(flat[:, 2], 0.0)
    nose = ellipsoid((0.0, 4.0, 19.0), (4.0, 9.0, 6.0), 3)
    mask = moved(joined([TriangleMesh(flat, half.faces), nose]), rotation(3))
    found = support_plane.supports(mask, hull)
    assert found[0].lying and support_plane.confidence_in(found, found[0]) < 0.8
    plate = moved(
        lathe(np.array([[0.0, 0.0], [20.0, 0.0], [40.0, 9.0], [39.0, 10.5], [19.0, 2.0], [0.0, 2.0]]), sides=96), rotation(3)
    )
    assert not support_plane.supports(plate, hull)[0].lying


def test_a_figure_on_its_toes_does_not_fall_onto_its_heels() -> None:
    """A block on two short feet under its fore part: its centre of mass lies just over them, and rolling would tip it far."""
    feet = [shifted(box((5.0, 9.0, 4.0), steps=6), side, -3.0, 0.0) for side in (-6.0, 6.0)]
    body = shifted(box((14.0, 10.0, 60.0), steps=12), 0.0, 0.6, 3.5)
    found = support_plane.supports(noisy(joined([*feet, body]), noise=0.05, seed=2), hull, file="scan.obj")
    assert degrees_between(found[0].up, UP) < 3.0
