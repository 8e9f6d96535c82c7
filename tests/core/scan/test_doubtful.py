"""Is a web distinguished from an ear, and what no camera saw from what one did?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

pytest.importorskip("bpy")

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan.doubtful import Doubts, doubts, whereabouts
from blender_addon.scene.spatial import SurfaceQueries
from scripts.truth.modelling.fields import box, ellipsoid, joined, limb
from scripts.truth.pieces.stands import meshed


def man(points: Any) -> Any:
    """A standing man, 82 mm, with his hands on his hips: a gap between each arm and the body."""
    body, head = ellipsoid(points, (0, 0, 40), (14, 11, 26)), ellipsoid(points, (0, 0, 72), (9, 9, 10))
    shape = joined(body, head, 2.0)
    for side in (1.0, -1.0):
        arm = np.array([[12.0, 0, 60], [27, 0, 48], [13, -2, 32]]) * [side, 1, 1]
        leg = np.array([[6.0, 0, 22], [9, 0, 3]]) * [side, 1, 1]
        shape = joined(shape, limb(points, arm, np.array([4.5, 4.0, 3.5])), 1.0)
        shape = joined(shape, limb(points, leg, np.array([6.0, 5.0])), 1.0)
    return shape


def filled_gap(points: Any) -> Any:
    """The gap at his left closed by a film of 2.2 mm."""
    return np.minimum(man(points), np.maximum(np.abs(points[:, 1] + 0.8) - 1.1, box(points, (18, 0, 46), (9, 3, 12), 0.5)))


def eared(points: Any) -> Any:
    """With ears of 2 mm, each a disc that stands out of the head."""
    ears = [np.maximum(np.abs(points[:, 1]) - 1.0, ellipsoid(points, (x, 0, 86), (5, 30, 11))) for x in (7.0, -7.0)]
    return np.minimum(man(points), np.minimum(*ears))


def pot(points: Any) -> Any:
    """A pot of 50 mm with a wall of 2 mm."""
    away = np.hypot(points[:, 0], points[:, 1])
    wall = np.stack([np.abs(away - 25) - 1.0, np.abs(points[:, 2] - 25) - 25]).max(axis=0)
    return np.minimum(wall, np.stack([away - 25, np.abs(points[:, 2] - 1) - 1]).max(axis=0))


def jar(points: Any) -> Any:
    """A jar of two handles, its wall of 3 mm held between a crease at its foot and another at its rim."""
    away, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    outside = np.maximum(
        0.8 * (away - np.interp(z, [0, 3, 5, 20, 45, 58, 66, 80, 84], [9, 9, 5, 16, 23, 20, 9, 8, 12])), z - 84
    )
    inside = np.maximum(0.8 * (away - np.interp(z, [10, 20, 45, 58, 66, 80, 90], [4, 13, 20, 17, 6, 5.5, 9])), 10 - z)
    shape = np.maximum(np.maximum(outside, -inside), -z)
    for side in (-1.0, 1.0):
        path = np.array([[8.0, 0, 78], [21, 0, 76], [22, 0, 62], [18, 0, 56]]) * [side, 1, 1]
        shape = joined(shape, limb(points, path, np.array([2.4] * 4)), 1.2)
    return shape


def looked_at(field: Any, **marks: Any) -> tuple[Doubts, TriangleMesh]:
    mesh = TriangleMesh(*meshed(field, 1.0), face_marks=marks)
    return doubts(mesh, np.ones(len(mesh.faces), bool), SurfaceQueries(mesh.vertices, mesh.faces).cast), mesh


def test_a_film_between_arm_and_body_is_a_web() -> None:
    found, mesh = looked_at(filled_gap)
    assert len(found.webs) == 1
    assert found.webs[0][1] == pytest.approx([17.0, -0.8, 46.0], abs=3.0)
    middle = mesh.vertices[mesh.faces[found.web]].mean(axis=1)
    assert np.all((middle[:, 0] > 8.0) & (np.abs(middle[:, 1] + 0.8) < 3.0))


@pytest.mark.parametrize("field", [man, eared, pot], ids=lambda field: field.__name__)
def test_no_web_where_there_is_none(field: Any) -> None:
    found, _ = looked_at(field)
    assert not found.webs and not found.web.any()


def test_the_wall_of_a_jar_is_no_web() -> None:
    """A scan with 0.1 mm of noise, whose creases run all over: the wall is held all round, but is most of the piece."""
    vertices, faces = meshed(jar, 1.3)
    noisy = vertices + np.random.default_rng(1).normal(0.0, 0.1, vertices.shape)
    found = doubts(TriangleMesh(noisy, faces), np.ones(len(faces), bool), SurfaceQueries(noisy, faces).cast)
    assert not found.webs and found.shell


def test_a_pot_is_a_shell_and_its_wall_is_measured() -> None:
    found, _ = looked_at(pot)
    assert found.shell and found.wall == pytest.approx(2.0, abs=0.1)
    assert not looked_at(man)[0].shell


def test_what_is_hidden_from_all_sides_is_unseen() -> None:
    """A ball in a closed box but for a slit at the floor: half of all surface is the ball and the inside, seen by nobody."""

    def boxed(points: Any) -> Any:
        shell = np.maximum(box(points, (0, 0, 30), (30, 30, 30), 0.5), -box(points, (0, 0, 30), (27, 27, 27), 0.5))
        return np.minimum(shell, ellipsoid(points, (0, 0, 30), (15, 15, 15)))

    found, mesh = looked_at(boxed)
    assert 0.45 < found.unseen < 0.65
    assert looked_at(man)[0].unseen < 0.01
    everything = np.ones(len(mesh.faces), bool)
    assert looked_at(boxed, filled=everything)[0].unseen == 0.0  # known to be filled: nothing to say


def test_whereabouts_in_words() -> None:
    size = np.array([40.0, 40.0, 80.0])
    assert whereabouts(np.array([15.0, -15.0, 30.0]), np.zeros(3), size) == "30 mm up, front right"
    assert whereabouts(np.array([0.0, 1.0, 5.0]), np.zeros(3), size) == "5 mm up, in the middle"
