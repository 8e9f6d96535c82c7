"""Do faces come to look one way, and are rims found though faces run crosswise, rims touch themselves or are torn?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.mesh import holes
from blender_addon.core.mesh.rims import _neighbours, followed, oriented
from blender_addon.core.mesh.topology import degenerate_faces, joined, submesh, welded
from blender_addon.core.mesh.triangles import TriangleMesh, edges, face_normals, signed_volume
from tests.scan_shapes import box, noisy, statuette


def sound(mesh: TriangleMesh) -> TriangleMesh:
    mesh = welded(mesh)
    return submesh(mesh, ~degenerate_faces(mesh))


def flipped(mesh: TriangleMesh, which: np.ndarray) -> TriangleMesh:
    faces = mesh.faces.copy()
    faces[which] = faces[which][:, ::-1]
    return replace(mesh, faces=faces)


def test_two_loops_that_share_a_vertex_come_apart() -> None:
    edge = np.array([[0, 1], [1, 2], [2, 0], [2, 3], [3, 4], [4, 2]])
    assert sorted(sorted(vertices.tolist()) for vertices, _ in followed(edge).loops) == [[0, 1, 2], [2, 3, 4]]


def test_edges_that_run_against_the_others_are_followed() -> None:
    """A ring of 12 of which four edges run the wrong way is one loop of 12, run as the eight do."""
    ring = np.stack([np.arange(12), (np.arange(12) + 1) % 12], axis=1)
    ring[[2, 5, 6, 9]] = ring[[2, 5, 6, 9]][:, ::-1]
    found = followed(ring)
    ((vertices, numbers),) = found.loops
    assert found.left == 0 and sorted(numbers.tolist()) == list(range(12))
    assert (np.diff(vertices) % 12 == 1).all()


def test_a_torn_rim_is_closed_across_a_small_gap_and_a_wide_one_is_counted() -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 40, endpoint=False)
    points = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    ring = np.stack([np.arange(40), (np.arange(40) + 1) % 40], axis=1)
    small = followed(ring[:-2], points)
    assert small.bridged == 1 and small.left == 0 and len(small.loops[0][0]) == 39
    wide = followed(ring[:25], points)
    assert not wide.loops and wide.left == 25


@pytest.mark.parametrize("seed", range(3))
def test_faces_turned_by_chance_come_to_agree(seed: int) -> None:
    mesh = sound(statuette(rows=40, columns=48, open_bottom=False))
    wrong = np.random.default_rng(seed).random(len(mesh.faces)) < 0.3
    found, turned = oriented(flipped(mesh, wrong))
    assert turned == wrong.sum()
    assert np.array_equal(np.sort(found.faces, axis=1), np.sort(mesh.faces, axis=1))
    assert signed_volume(found.vertices, found.faces) == pytest.approx(signed_volume(mesh.vertices, mesh.faces))


def test_a_mesh_that_agrees_is_left_as_it_is() -> None:
    mesh = sound(statuette())
    assert oriented(mesh)[0] is mesh


def test_uvs_go_with_the_corners_of_a_turned_face() -> None:
    mesh = sound(statuette(rows=40, columns=48))
    mesh = replace(mesh, uv=mesh.vertices[mesh.faces][..., :2])
    wrong = np.arange(len(mesh.faces)) % 7 == 3
    start = flipped(mesh, wrong)
    start = replace(start, uv=start.vertices[start.faces][..., :2])
    found, _ = oriented(start)
    assert np.array_equal(found.uv, found.vertices[found.faces][..., :2])


def test_a_patch_that_looks_inwards_does_not_hide_the_rim() -> None:
    """A tenth of the base's side looks inwards, as in a scan put together of parts: its rim is found whole and closed."""
    mesh = sound(noisy(statuette(), noise=0.16, seed=3))
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    wrong = (middle[:, 2] < 6.0) & (middle[:, 0] > 24.0)
    rims = holes.openings(flipped(mesh, wrong)).rims
    assert max(len(rim.vertices) for rim in rims) == 160
    agreed, turned = oriented(flipped(mesh, wrong))
    assert turned == wrong.sum()
    vertices, faces = holes.fans(agreed, holes.rims(agreed))
    truth = statuette(open_bottom=False)
    assert signed_volume(vertices, faces) == pytest.approx(signed_volume(truth.vertices, truth.faces), rel=5e-3)


def test_a_rim_that_touches_itself_is_closed_as_two() -> None:
    """A sheet of paper's worth of faces taken out of a box so that two openings meet in one vertex."""
    mesh = box((40.0, 40.0, 40.0), steps=8)
    centres, up = mesh.vertices[mesh.faces].mean(axis=1), face_normals(mesh.vertices, mesh.faces)[:, 2] > 0.5
    quarter = up & (centres[:, 0] > 0) & (centres[:, 1] > 0)
    two = up & (centres[:, 0] < 0) & (centres[:, 1] < 0)
    torn = submesh(mesh, ~(quarter | two))
    found = holes.openings(torn)
    assert len(found.rims) == 2 and found.left_edges == 0
    assert [rim.area for rim in found.rims] == pytest.approx([400.0, 400.0])


def test_an_edge_of_three_faces_on_the_rim_is_no_end() -> None:
    """A flap that hangs on an edge of the rim takes that edge out of it; the rest still closes, and nothing is lost unsaid."""
    mesh = sound(statuette())
    whole = holes.openings(mesh).rims[0]
    a, b = whole.vertices[0], whole.vertices[1]
    tip = len(mesh.vertices)
    flap = TriangleMesh(
        np.concatenate([mesh.vertices, mesh.vertices[[a]] + [0.0, 0.0, -3.0], mesh.vertices[[a]] + [0.5, 0.5, -3.0]]),
        np.concatenate([mesh.faces, [[a, b, tip], [b, a, tip + 1]]]),
    )
    found = holes.openings(flap)
    assert found.rims[0].area == pytest.approx(whole.area, rel=0.02)
    assert (edges(flap.faces)[1] > 2).any()


def test_loose_parts_keep_their_own_side() -> None:
    first, second = box((10.0, 10.0, 10.0)), box((4.0, 4.0, 4.0))
    both = joined([first, replace(second, vertices=second.vertices + [30.0, 0.0, 0.0])])
    assert oriented(both)[1] == 0


def test_neighbours_are_the_faces_of_an_edge_that_two_share() -> None:
    """Against a dictionary of all edges, on random triangles of few vertices, of whose edges many belong to one or three."""
    faces = np.random.default_rng(5).integers(0, 12, (40, 3))
    faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
    of_edge: dict[frozenset[int], list[tuple[int, bool]]] = {}
    for number, face in enumerate(faces.tolist()):
        for start, end in zip(face, face[1:] + face[:1], strict=True):
            of_edge.setdefault(frozenset((start, end)), []).append((number, start < end))
    wanted = sorted((a, b, way == other) for (a, way), (b, other) in (found for found in of_edge.values() if len(found) == 2))
    first, second, against = _neighbours(faces, 12)
    pairs = zip(first.tolist(), second.tolist(), against.tolist(), strict=True)
    assert len(wanted) > 10 and sorted((min(a, b), max(a, b), way) for a, b, way in pairs) == wanted
