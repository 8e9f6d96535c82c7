"""Which lobe is the head, how is it framed, and what does no close look show? Forms whose parts are known."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.cut import FILLED
from blender_addon.core.mesh.topology import submesh
from blender_addon.core.mesh.triangles import TriangleMesh, vertex_normals
from blender_addon.core.shots.close_looks.choosing import close_looks, reordered
from blender_addon.core.shots.close_looks.crops import UNSHOWN, worth_of
from blender_addon.core.shots.close_looks.detail_spots import detail_magnification
from blender_addon.core.shots.close_looks.head import _upper, find_head
from blender_addon.core.shots.close_looks.head_view import Lens, head_look
from blender_addon.core.shots.close_looks.lobes import _walked, lobes_of, solid_of
from blender_addon.core.shots.close_looks.unshown import openness, unshown
from blender_addon.core.shots.framing import project
from blender_addon.core.shots.subject import Subject, cells_of, richness_of
from blender_addon.core.shots.visible import visible
from scripts.truth.modelling.fields import box, ellipsoid, limb
from scripts.truth.pieces.footings import footing
from scripts.truth.pieces.stands import meshed

LENS = Lens((36.0, 24.0), 90.0)


def subject_of(mesh: TriangleMesh) -> Subject:
    points = np.asarray(mesh.vertices, float)
    normals = vertex_normals(points, mesh.faces)
    hidden = unshown(mesh, np.arange(len(points)), points, normals)
    return Subject(points, points, normals, richness_of(points, normals), hidden)


def standing(field: Any, step: float = 1.2) -> TriangleMesh:
    vertices, faces = meshed(field, step, low=-46.0, high=92.0)
    return TriangleMesh(vertices - [0.0, 0.0, vertices[:, 2].min()], faces)


def dumbbell(points: Any) -> Any:
    """Balls of 14 and 9 mm on a rod of 4 mm between their middles, 40 mm apart."""
    rod = np.maximum(np.hypot(points[:, 0], points[:, 1]) - 4.0, np.abs(points[:, 2] - 34.0) - 20.0)
    return np.minimum(np.minimum(ellipsoid(points, (0, 0, 14), (14,) * 3), ellipsoid(points, (0, 0, 54), (9,) * 3)), rod)


def test_a_dumbbell_falls_into_its_balls() -> None:
    """The neck is as wide as the rod over the ball, 4 / 9, to a cell of 0.7 mm; the lobe has the small ball's volume at least.

    With it goes half of the rod (850 of 3,050 mm3), and cells that the surface cuts count as inside.
    """
    solid = solid_of(standing(dumbbell))
    lobes = lobes_of(solid)
    total = lobes.volume.sum()
    ball = [neck for neck in lobes.necks if 0.1 < lobes.volume[neck.basins].sum() / total < 0.4]
    assert ball
    narrow = min(ball, key=lambda neck: neck.width)
    assert narrow.width == pytest.approx(4.0 / 9.0, abs=0.7 / 9.0)
    volume = lobes.volume[narrow.basins].sum() * solid.cell**3
    assert 4.19 * 9.0**3 < volume < 1.55 * 4.19 * 9.0**3
    assert lobes.radius[narrow.basins].max() == pytest.approx(9.0, abs=0.8)


def test_depth_is_the_distance_to_the_surface() -> None:
    """In the middle of a box 20 mm thick: 10 mm, to a cell."""
    solid = solid_of(standing(lambda p: box(p, (0, 0, 10), (30, 18, 10), 0.5)))
    assert solid.depth.max() * solid.cell == pytest.approx(10.0, abs=1.5 * solid.cell)


@pytest.mark.parametrize("kind", ["skirt", "shoes", "haunches", "cut_bust"])
def test_the_head_is_found_and_wholly_framed(kind: str) -> None:
    """Of made-up figures whose head's middle is known: the head found lies round it, and all of it that faces us is in the
    frame.

    The middles are those of the ellipsoids that the heads are modelled from, in shares of the height.
    """
    mesh = standing(footing(kind, 3).whole)
    subject = subject_of(mesh)
    head = find_head(mesh, subject, worth_of(subject))
    assert head is not None and head.neck
    height = float(mesh.vertices[:, 2].max())
    middle = {"skirt": 54.5 / 60, "shoes": 54.5 / 60, "haunches": 49.0 / 62, "cut_bust": 38.0 / 49}[kind]
    assert head.middle[2] / height == pytest.approx(middle, abs=0.06)
    look = close_looks(subject, mesh, LENS, 1)[0].look
    magnification = look.grown * detail_magnification(subject, LENS.frame_mm)
    rotation = np.asarray(_rotation(look))
    eye = look.middle + rotation[:, 2] * LENS.distance(magnification)
    slopes, _ = project(subject.points[head.points], eye, rotation)
    share = np.abs(slopes) * LENS.distance(magnification) * magnification / (0.5 * np.asarray(LENS.frame_mm))
    assert (share <= 1.0).all(axis=1).mean() > 0.99
    assert np.linalg.norm(subject.points[head.points] - look.spot, axis=1).min() < 1e-6  # sharp on the head itself


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_raised_arm_does_not_hide_the_face(side: float) -> None:
    """A figure with its fore-arm held before one side of its face: it is viewed from the other side."""
    whole = footing("skirt", 3).whole

    def shading_its_eyes(points: Any) -> Any:
        arm = limb(points, [(side * 14, -4, 54), (side * 15, -18, 62), (side * 4, -20, 74.5)], [2.6, 2.4, 2.4], 0.5)
        hand = ellipsoid(points, (side * 4, -20, 74.5), (6.0, 2.5, 7.0))
        return np.minimum(np.minimum(whole(points), arm), hand)

    plain, hidden = (standing(field) for field in (whole, shading_its_eyes))
    subject = subject_of(hidden)
    look = close_looks(subject, hidden, LENS, 1)[0].look
    alone = close_looks(subject_of(plain), plain, LENS, 1)[0].look
    assert look.spot == pytest.approx(alone.spot, abs=12.0)  # the head, and not the hand
    assert _bare(subject, look) > 0.85  # the view of the figure without the arm shows 0.34 on the one side


def _bare(subject: Subject, look: Any) -> float:
    """The share of what is nearest on the figure's head and faces the lens that nothing else stands before."""
    rotation = np.asarray(_rotation(look))
    eye = look.middle + rotation[:, 2] * 300.0
    mine = np.linalg.norm(subject.points - [0.5, -2.5, 74.5], axis=1) < 9.0
    mine &= subject.normals @ rotation[:, 2] > 0.3
    both = visible(subject.points, subject.normals, position=eye, rotation=rotation, cells=100)
    return float(both[mine].mean())


def test_a_raised_tail_is_no_head() -> None:
    """A long body, its head low in front without a neck, and a thin tail that rises behind and ends in a ball."""

    def creature(points: Any) -> Any:
        tail = limb(points, [(0, 22, 8), (0, 32, 24), (0, 26, 42), (0, 20, 48)], [3.4, 2.6, 2.4, 2.4], 0.5)
        return np.minimum(np.minimum(ellipsoid(points, (0, 0, 8), (10, 28, 8)), tail), ellipsoid(points, (0, 18, 50), (4,) * 3))

    mesh = standing(creature)
    subject = subject_of(mesh)
    head = find_head(mesh, subject, worth_of(subject))
    assert head is None or (head.middle[1] < 0.0 and not head.neck)


def test_raised_hands_are_no_heads() -> None:
    """A figure with a head that no neck sets off and both hands raised to its ears: neither hand is what is shown."""

    def greeting(points: Any) -> Any:
        body = np.minimum(ellipsoid(points, (0, 0, 28), (14, 10, 30)), ellipsoid(points, (0, 0, 60), (12, 10, 15)))
        for side in (-1.0, 1.0):
            arm = limb(points, [(10 * side, 0, 44), (26 * side, -3, 46), (30 * side, -6, 54)], [3.4, 2.8, 2.6], 0.5)
            body = np.minimum(np.minimum(body, arm), ellipsoid(points, (30 * side, -6, 57), (5,) * 3))
        return body

    mesh = standing(greeting)
    subject = subject_of(mesh)
    head = find_head(mesh, subject, worth_of(subject))
    assert head is not None and abs(head.middle[0]) < 6.0


def test_deep_eye_sockets_do_not_count_against_a_face() -> None:
    """A front whose lower half tells twice as much as its upper one, but for an eighth of it that no close look should show,
    as the deep sockets of a skull: the part that tells most is that half."""
    height = (np.arange(4000) + 0.5) / 4000.0
    points = np.stack([np.zeros(4000), np.zeros(4000), 100.0 * height], axis=1)
    subject = Subject(points, points, np.tile([0.0, -1.0, 0.0], (4000, 1)), np.zeros(4000))
    worth = np.where(height < 0.6, 1.0, 0.5)
    worth[(height < 0.6) & (np.arange(4000) % 8 == 0)] = UNSHOWN
    part = _upper(subject, worth, height)
    assert height[part].max() < 0.8


def _rotation(look: Any) -> Any:
    from blender_addon.core.shots.framing import look as rotation_of

    return rotation_of(look.azimuth_deg, look.tilt_deg)


def test_a_bowl_has_no_head_and_its_inside_is_not_shown() -> None:
    """A deep turned pot, 3 mm thick: what looks to its axis is left out, what looks outwards is not."""

    def hollow(points: Any) -> Any:
        radius = np.hypot(points[:, 0], points[:, 1])
        outer = np.maximum(radius - 20.0, np.abs(points[:, 2] - 25.0) - 25.0)
        inner = np.maximum(radius - 17.0, 3.0 - points[:, 2])
        return np.maximum(outer, -inner)

    mesh = standing(hollow)
    subject = subject_of(mesh)
    assert find_head(mesh, subject, worth_of(subject)) is None
    radius = np.hypot(*subject.points[:, :2].T)
    deep = (radius < 17.5) & (subject.points[:, 2] > 6.0) & (subject.points[:, 2] < 44.0)
    outside = (radius > 19.5) & (subject.points[:, 2] > 6.0) & (subject.points[:, 2] < 44.0)
    assert subject.unshown[deep].mean() > 0.95 and subject.unshown[outside].mean() < 0.02


def test_what_was_filled_or_is_open_is_not_shown() -> None:
    """A filled patch of 8 mm on a block's side, and the edge of one that is missing: they and 1.5 % beside them."""
    mesh = standing(lambda p: box(p, (0, 0, 20), (18, 14, 20), 0.5))
    middle = np.asarray(mesh.vertices)[mesh.faces].mean(axis=1)
    patch = (middle[:, 1] < -13.0) & (np.abs(middle[:, 0]) < 4.0) & (np.abs(middle[:, 2] - 20.0) < 4.0)
    for changed in (replace(mesh, face_marks={FILLED: patch}), submesh(mesh, ~patch)):
        subject = subject_of(changed)
        near = np.linalg.norm(subject.points - [0.0, -14.0, 20.0], axis=1)
        assert subject.unshown[(near > 3.0) & (near < 4.3)].mean() > 0.9
        assert not subject.unshown[near > 10.0].any()


def test_openness_of_a_plane_and_of_a_pit() -> None:
    """A block's faces are seen from all the directions that they face (a few grazing ones aside)."""
    mesh = standing(lambda p: box(p, (0, 0, 20), (18, 14, 20), 0.5))
    points = np.asarray(mesh.vertices, float)
    assert np.median(openness(points, vertex_normals(points, mesh.faces))) > 0.9


def test_what_no_close_look_is_to_show_is_no_head() -> None:
    """A figure all of whose head was filled (a scan that missed it): the close looks go elsewhere, or there is none."""
    mesh = standing(footing("skirt", 3).whole)
    subject = subject_of(mesh)
    head = find_head(mesh, subject, worth_of(subject))
    assert head is not None
    assert head_look(subject, head, LENS, worth_of(subject)) is not None
    missed = replace(subject, unshown=head.points)
    assert head_look(missed, head, LENS, worth_of(missed)) is None
    assert all(proposal.shows != "head" for proposal in close_looks(missed, mesh, LENS, 3))


def test_another_place_can_be_shown_first() -> None:
    mesh = standing(footing("skirt", 3).whole)
    found = close_looks(subject_of(mesh), mesh, LENS, 3)
    assert found[0].shows == "head" and len(found) == 3
    assert [proposal.look.spot.tolist() for proposal in reordered(found, 2)] == [found[k].look.spot.tolist() for k in (1, 0, 2)]
    assert reordered(found, None) == list(found) and reordered(found, 9) == list(found)


def test_what_hangs_on_a_neck_is_all_that_lies_beyond_it() -> None:
    """A chain of four balls on a rod: cut in its middle, each lobe holds two whole balls, and at each end one."""
    places = np.array([9.0, 33.0, 57.0, 81.0])

    def chain(points: Any) -> Any:
        rod = np.maximum(np.hypot(points[:, 0], points[:, 1]) - 3.0, np.abs(points[:, 2] - 45.0) - 36.0)
        return np.minimum.reduce([rod, *(ellipsoid(points, (0, 0, z), (9,) * 3) for z in places)])

    lobes = lobes_of(solid_of(standing(chain)))
    share = {}
    for between, wanted in ((21.0, {1, 3}), (45.0, {2}), (69.0, {1, 3})):
        necks = [neck for neck in lobes.necks if abs(neck.place[2] - between) < 8.0 and neck.width < 0.7]
        share[between] = [4.0 * lobes.volume[neck.basins].sum() / lobes.volume.sum() for neck in necks]
        assert {round(part) for part in share[between]} == wanted, share


def test_points_share_a_cell_when_one_cube_of_the_asked_edge_holds_them() -> None:
    """A line of points a millimetre apart in cubes of 4 mm: four a cube; the same in each direction."""
    for axis in np.eye(3):
        number, count = cells_of(np.arange(20.0)[:, None] * axis + 7.0, 4.0)
        assert count == 5 and np.array_equal(number, np.arange(20) // 4)
    number, count = cells_of(np.array([[0.0, 0, 0], [0, 5, 0], [0, 0, 5], [5, 0, 0], [0.1, 0.2, 0.3]]), 4.0)
    assert count == 4 and number[0] == number[4] and len(set(number.tolist())) == 4


def test_what_lies_behind_a_node_follows_it_in_the_walk():
    """Against a flood from each side of each edge, on trees of chance."""
    rng = np.random.default_rng(4)
    for count in (1, 2, 40):
        edges = [(node, int(rng.integers(node))) for node in range(1, count) if rng.uniform() < 0.9]
        beside = [[] for _ in range(count)]
        for number, (first, second) in enumerate(edges):
            beside[first].append((second, number))
            beside[second].append((first, number))
        order, size, from_edge, part = _walked(beside)
        assert sorted(order) == list(range(count))
        for number, ends in enumerate(edges):
            (child,) = (end for end in ends if from_edge[end] == number)
            flood, todo = {child}, [child]
            while todo:
                new = [other for other, edge in beside[todo.pop()] if edge != number and other not in flood]
                flood.update(new)
                todo += new
            place = list(order).index(child)
            assert set(order[place : place + size[child]]) == flood and len({part[node] for node in flood}) == 1


def test_where_the_front_is_not_sure_a_head_is_no_surer_and_shows_from_both_sides() -> None:
    """The face is where the bust's front is, so that a wrong front shows the back of a head: asked, with the other side."""
    mesh = standing(dumbbell)
    subject = subject_of(mesh)
    sure = close_looks(subject, mesh, LENS, 3)
    unsure = close_looks(subject, mesh, LENS, 3, front_chance=0.5)
    assert sure[0].shows == unsure[0].shows == "head"
    assert sure[0].other is None and sure[0].turned() is sure[0] and sure[0].sure > 0.5
    other = unsure[0].other
    assert unsure[0].sure == 0.5 and other is not None
    apart = abs((other.azimuth_deg - unsure[0].look.azimuth_deg + 180.0) % 360.0 - 180.0)
    assert apart >= 80.0  # half round, and up to 50 degrees back on either side
    assert unsure[0].turned().look is other and unsure[0].turned().turned().look is unsure[0].look
    assert [proposal.sure for proposal in unsure[1:]] == [proposal.sure for proposal in sure[1:]]
