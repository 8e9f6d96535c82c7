"""Is the right way to stand chosen, is doubt admitted, and do resting poses agree with an independent library?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from blender_addon.core.mesh.solids import ball, lathe
from blender_addon.core.mesh.topology import submesh, welded
from blender_addon.core.mesh.triangles import TriangleMesh, face_normals
from blender_addon.core.scan import support_plane
from blender_addon.core.scan.loose import apart
from blender_addon.core.scan.standing import evidence, file_axes
from blender_addon.core.scan.standing.body import body_of
from blender_addon.core.scan.standing.choosing import ways_to_stand
from blender_addon.core.scan.standing.poses import Pose, all_poses, looked_at
from tests.qhull import degrees_between, hull
from tests.scan_shapes import box, moved, noisy, rotation, statuette


def figure_on_open_slab() -> TriangleMesh:
    """A figure that leans over a slab longer than it is tall, the slab's underside not scanned: its head is a sphere on a
    neck."""
    slab = box((60.0, 24.0, 8.0), steps=24)
    below = slab.vertices[slab.faces][..., 2].max(axis=1) < 1e-6
    slab = submesh(slab, ~below)
    body = box((12.0, 12.0, 34.0), steps=12)
    body = TriangleMesh(body.vertices + [-14.0, 0.0, 7.5], body.faces)
    vertices = np.concatenate([slab.vertices, body.vertices])
    return TriangleMesh(vertices, np.concatenate([slab.faces, body.faces + len(slab.vertices)]))


@pytest.mark.parametrize("seed", range(8))
def test_an_open_slab_stands_right_in_every_turn(seed: int) -> None:
    """The commonest scan: the underside is missing and vertices are off by 0.16 mm; nothing is known of the file's axes."""
    turn = rotation(seed)
    mesh = moved(noisy(figure_on_open_slab(), noise=0.16, seed=seed), turn, scale=float(seed + 1))
    best = support_plane.supports(mesh, hull, file="scan.obj")[0]
    assert degrees_between(best.up, turn @ [0.0, 0.0, 1.0]) < 1.0
    assert best.chance > 0.8 and best.kind == "flat"


def test_a_cube_is_not_sure_without_axes_and_takes_the_files_with_them() -> None:
    """Six sides are as good as one another: none may be called likely; where the file's axes count, they break the tie."""
    cube = box((40.0, 40.0, 40.0))
    assert support_plane.supports(cube, hull)[0].chance < 0.5
    best = support_plane.supports(cube, hull, file="scan.obj")[0]
    assert degrees_between(best.up, np.array([0.0, 0.0, 1.0])) < 0.5 and best.axis == "z"


def test_a_ball_needs_the_files_axes() -> None:
    """A rough ball rests anywhere: the file's own vertical is taken, and it is not called sure."""
    directions = np.random.default_rng(3).normal(size=(4000, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    lumpy = directions * (20.0 + np.sin(3.0 * directions[:, :1] + 1.0) + np.cos(4.0 * directions[:, 1:2] * directions[:, 2:]))
    ball = TriangleMesh(lumpy, hull(directions))
    found = support_plane.supports(ball, hull, file="scan.obj")
    assert found[0].kind == "mount" and found[0].axis == "z"
    assert support_plane.confidence_in(found, found[0]) < 0.8


def test_the_formats_say_what_their_axes_are_worth() -> None:
    """glTF 2.0 is y up by its specification (section 3.4), so +Z after import is likelier there than in formats that say
    nothing."""
    for file in ("a.glb", "a.obj", "a.ply", "a.unknown"):
        assert sum(file_axes.chances(file).values()) == pytest.approx(1.0)
    assert file_axes.chances("a.GLB")["z"] > file_axes.chances("a.obj")["z"] > file_axes.chances("a.stl")["z"]
    assert file_axes.chances("a.ply")["y"] > file_axes.chances("a.obj")["y"]


def test_chances_add_up_and_fall() -> None:
    ways = ways_to_stand(body_of(noisy(statuette(), noise=0.05, seed=1), hull), file="a.obj")
    chances = [way.chance for way in ways]
    assert sum(chances) <= 1.0 + 1e-9 and chances == sorted(chances, reverse=True)


def test_light_from_above_is_read_and_plain_colour_is_not() -> None:
    """Lambert's law under one distant light (Basri and Jacobs 2003): the direction comes back; a grey or spotted thing has
    none."""
    mesh = statuette(open_bottom=False)
    light = np.array([0.3, -0.2, 0.93]) / np.linalg.norm([0.3, -0.2, 0.93])
    normals = face_normals(mesh.vertices, mesh.faces)
    random = np.random.default_rng(1)

    def lit(faces: np.ndarray, weights: np.ndarray) -> np.ndarray:
        shade = 0.35 + 0.3 * np.clip(normals[faces] @ light, 0.0, None)
        return np.repeat((shade * random.uniform(0.9, 1.1, len(faces)))[:, None], 3, axis=1) ** (1 / 2.2)

    def spotted(faces: np.ndarray, weights: np.ndarray) -> np.ndarray:
        return np.repeat(random.uniform(0.2, 0.8, (len(faces), 1)), 3, axis=1)

    found = evidence.light_of(body_of(mesh, hull, colours=lit))
    assert found is not None and degrees_between(found / np.linalg.norm(found), light) < 20.0
    assert evidence.light_of(body_of(mesh, hull, colours=spotted)) is None
    assert evidence.light_of(body_of(mesh, hull)) is None


def test_an_open_mesh_balances_as_the_closed_one() -> None:
    """The centre of mass is that of what is enclosed, openings closed: half a percent of the height from the closed
    figure's."""
    open_one, closed = (body_of(welded(statuette(open_bottom=open_)), hull).mass for open_ in (True, False))
    assert np.linalg.norm(open_one - closed) < 0.35


def stable_truth(mesh: TriangleMesh) -> Iterator[tuple[np.ndarray, float]]:
    trimesh = pytest.importorskip("trimesh")
    transforms, chances = trimesh.poses.compute_stable_poses(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False))
    for matrix, chance in zip(transforms, chances, strict=True):
        yield matrix[2, :3], float(chance)


@pytest.mark.parametrize("size", [(40.0, 30.0, 90.0), (50.0, 20.0, 20.0), (60.0, 50.0, 10.0)])
def test_resting_poses_agree_with_another_library(size: tuple[float, float, float]) -> None:
    """Each stable pose of trimesh's `compute_stable_poses` is among ours within 5 degrees, and ours that it lacks would
    fall."""
    mesh = moved(box(size, steps=8), rotation(5))
    poses = all_poses(body_of(mesh, hull))
    truth = [up for up, chance in stable_truth(mesh) if chance > 0.01]
    assert truth
    for up in truth:
        assert min(degrees_between(pose.up, up) for pose in poses) < 5.0
    for pose in poses:
        if pose.tip_deg > 2.0:
            assert min(degrees_between(pose.up, up) for up in truth) < 8.0


@pytest.mark.parametrize("askew", [0.0, 25.0])
def test_a_neck_cut_askew_is_a_doubt_and_a_straight_one_is_none(askew: float) -> None:
    """A round post of 30 mm cut off at an angle: its cut fits a wall as well as a table."""
    mesh = statuette(open_bottom=False)
    low = mesh.vertices[:, 2] < 8.0 + 1e-6
    vertices = mesh.vertices.copy()
    vertices[low, :2] *= np.minimum(16.0 / np.maximum(np.hypot(*vertices[low, :2].T), 1e-9), 1.0)[:, None]
    vertices[:, 2] += np.tan(np.radians(askew)) * vertices[:, 0] * np.clip(1.0 - vertices[:, 2] / 30.0, 0.0, 1.0)
    found = support_plane.supports(TriangleMesh(vertices, mesh.faces), hull)[0]
    assert found.kind == "flat" and found.cut == (askew > 0.0)


def turned_shell(profile: list[tuple[float, float]]) -> TriangleMesh:
    """A solid of revolution with rings a millimetre apart along its profile of (radius, z)."""
    outline = np.array(profile)
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(outline, axis=0), axis=1))]
    fine = np.arange(0.0, along[-1], 1.0)
    return lathe(np.stack([np.interp(fine, along, outline[:, k]) for k in (0, 1)], axis=1), sides=96)


def hollow_bust() -> TriangleMesh:
    """A cast 6 mm thick, open below: a round socle that widens to shoulders broader than deep, and a head set forward. The
    arms and the back are cut flat, as busts are. The whole is one closed surface, outside and inside."""
    outside = [(17.0, 0.0), (17.0, 8.0), (14.0, 14.0), (14.0, 18.0), (27.0, 26.0), (29.0, 40.0), (20.0, 48.0), (8.0, 52.0)]
    outside += [(8.0, 58.0), (13.0, 64.0), (14.0, 74.0), (9.0, 82.0), (0.01, 84.0)]
    inside = [(0.01, 60.0), (3.0, 54.0), (15.0, 44.0), (22.0, 38.0), (23.0, 28.0), (13.0, 20.0), (13.0, 13.0), (16.4, 7.0)]
    inside += [(16.4, 0.0)]
    mesh = turned_shell(outside + inside + outside[:1])
    vertices = mesh.vertices.copy()
    over = np.clip((vertices[:, 2] - 16.0) / 10.0, 0.0, 1.0)
    vertices[:, 0] *= 1.0 + 0.25 * over * (vertices[:, 2] < 54.0)
    vertices[:, 1] *= 1.0 - 0.35 * over * (vertices[:, 2] < 54.0)
    vertices[:, 1] -= 8.0 * np.clip((vertices[:, 2] - 54.0) / 8.0, 0.0, 1.0)
    chest = (vertices[:, 2] > 20.0) & (vertices[:, 2] < 50.0)
    vertices[chest, 0] = np.clip(vertices[chest, 0], -24.0, 24.0)
    vertices[chest, 1] = np.minimum(vertices[chest, 1], 12.0)
    return TriangleMesh(vertices, mesh.faces)


def basket() -> TriangleMesh:
    """A square basket with walls 3 mm thick and an uneven bottom, which is no base; it is not turned."""
    outside = [(0.01, 0.0), (26.0, 2.0), (32.0, 10.0), (40.0, 60.0)]
    mesh = turned_shell(outside + [(37.0, 60.0), (29.0, 11.0), (24.0, 6.0), (0.01, 5.0)])
    vertices = mesh.vertices.copy()
    way = np.arctan2(vertices[:, 1], vertices[:, 0])
    square = 1.0 / np.maximum(np.abs(np.cos(way)), np.abs(np.sin(way)))
    vertices[:, :2] *= square[:, None] * [1.3, 0.9]
    low = np.clip(1.0 - vertices[:, 2] / 8.0, 0.0, 1.0)
    vertices[:, 2] += 1.5 * low * np.sin(0.7 * vertices[:, 0]) * np.sin(0.6 * vertices[:, 1])
    return TriangleMesh(vertices, mesh.faces)


def test_the_rim_of_a_square_basket_is_no_base() -> None:
    """The rim is where a vessel is broadest, so that it is known for one without being turned and without a foot."""
    pose = upright_pose(noisy(basket(), noise=0.05, seed=1), np.array([0.0, 0.0, -1.0]))
    assert pose.spread > 0.9 and pose.hollow > 0.4 and pose.flat < 0.3


def upright_pose(mesh: TriangleMesh, up: np.ndarray) -> Pose:
    """The pose nearest to a direction (3,), looked at as a whole."""
    body = body_of(mesh, hull)
    return looked_at(body, min(all_poses(body), key=lambda pose: degrees_between(pose.up, up)))


@pytest.mark.parametrize("seed", range(2))
def test_the_rim_of_a_hollow_cast_is_its_base(seed: int) -> None:
    """Its flat ring is 5 % of what it encloses; nothing is known of the file's axes. A hollow is no sign of a vessel upside
    down where neither the form is turned nor the other end is a base."""
    mesh, turn = noisy(hollow_bust(), noise=0.05, seed=seed), rotation(seed)
    pose = upright_pose(mesh, np.array([0.0, 0.0, 1.0]))
    assert pose.flat > 0.5 and pose.base > 0.5 and pose.hollow < 0.1
    best = support_plane.supports(moved(mesh, turn), hull)[0]
    assert degrees_between(best.up, turn @ [0.0, 0.0, 1.0]) < 2.0 and best.chance > 0.8


@pytest.mark.parametrize("seed", range(2))
def test_the_rim_of_a_bowl_is_no_base(seed: int) -> None:
    """The rim of a turned bowl is a level ring as well, but it opens upwards."""
    outside = [(0.01, 0.0), (14.0, 0.0), (16.0, 2.0), (30.0, 14.0), (38.0, 30.0)]
    mesh = noisy(turned_shell(outside + [(36.5, 30.0), (27.0, 15.0), (14.0, 6.0), (0.01, 5.0)]), noise=0.05, seed=seed)
    pose = upright_pose(mesh, np.array([0.0, 0.0, -1.0]))
    assert pose.hollow > 0.4 and pose.flat < 0.3
    turn = rotation(seed)
    best = support_plane.supports(moved(mesh, turn), hull)[0]
    assert degrees_between(best.up, turn @ [0.0, 0.0, 1.0]) < 2.0


def test_a_bead_below_the_base_is_nothing_to_stand_on() -> None:
    """A closed speck in the air below a figure, of which a scan may show some, hides its base from the hull."""
    figure = noisy(statuette(open_bottom=False), noise=0.03, seed=2)
    bead = ball(2)
    vertices = np.concatenate([figure.vertices, bead.vertices * 1.2 + [14.0, 3.0, -4.0]])
    mesh = TriangleMesh(vertices, np.concatenate([figure.faces, bead.faces + len(figure.vertices)]))
    lone = apart(mesh)
    assert lone[len(figure.vertices) :].all() and not lone[: len(figure.vertices)].any()
    best = support_plane.supports(mesh, hull, good=~lone)[0]
    assert degrees_between(best.up, np.array([0.0, 0.0, 1.0])) < 1.0 and best.kind == "flat"
    assert abs(float(best.point[2])) < 0.2
