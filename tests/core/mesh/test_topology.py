"""Joining, sub-meshes, welding with UVs kept, degenerate faces, rims and loops, cutting by planes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.mesh import topology
from blender_addon.core.mesh.clipping import clipped, cropped
from blender_addon.core.mesh.components import connected_faces, connected_vertices
from blender_addon.core.mesh.topology import degenerate_faces, joined, rim_edges, submesh, welded
from blender_addon.core.mesh.triangles import TriangleMesh, edges, face_areas, signed_volume
from tests.scan_shapes import box, statuette


def split(mesh: TriangleMesh) -> TriangleMesh:
    """Every face with corners of its own, as STL and some exporters write."""
    corners = mesh.faces.reshape(-1)
    return replace(mesh, vertices=mesh.vertices[corners], faces=np.arange(len(corners), dtype=np.int32).reshape(-1, 3))


def test_welding_undoes_splitting_and_keeps_corner_uvs() -> None:
    mesh = statuette(open_bottom=True)
    torn = split(mesh)
    again = welded(torn)
    used = len(np.unique(np.round(mesh.vertices[np.unique(mesh.faces)], 9), axis=0))
    assert len(again.vertices) == used
    assert np.array_equal(again.uv, mesh.uv)
    assert np.allclose(again.vertices[again.faces], mesh.vertices[mesh.faces])
    solid = box((40.0, 30.0, 20.0))
    assert signed_volume(welded(split(solid)).vertices, welded(split(solid)).faces) == pytest.approx(24000.0, rel=1e-9)


def test_welding_joins_roundings_across_cell_borders_and_no_more() -> None:
    """Points a tenth of the distance apart weld wherever they lie; points at three times the distance never do."""
    random = np.random.default_rng(4)
    places = random.uniform(0.0, 100.0, (4000, 3))
    near = places + np.array([0.001, 0.0, 0.0])
    faces = np.arange(8000 - 8000 % 3, dtype=np.int32).reshape(-1, 3)
    close = welded(TriangleMesh(np.concatenate([places, near]), faces), distance=0.01)
    assert len(close.vertices) == 4000
    apart = welded(TriangleMesh(np.concatenate([places, places + [0.03, 0.0, 0.0]]), faces), distance=0.01)
    assert len(apart.vertices) == 8000


def test_degenerate_faces_are_the_bad_ones_alone() -> None:
    vertices = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [2, 0, 0], [0, 0, 1]])
    faces = np.array([[0, 1, 2], [0, 1, 3], [1, 1, 2], [2, 0, 1], [0, 2, 4]])
    assert degenerate_faces(TriangleMesh(vertices, faces)).tolist() == [False, True, True, True, False]


@pytest.mark.parametrize("seed", range(3))
def test_components_agree_with_scipy(seed: int) -> None:
    """Against scipy.sparse.csgraph.connected_components, an independent implementation."""
    csgraph = pytest.importorskip("scipy.sparse.csgraph")
    sparse = pytest.importorskip("scipy.sparse")
    random = np.random.default_rng(seed)
    count = 20_000
    faces = random.integers(0, count, (9000, 3))
    graph = sparse.coo_matrix(
        (np.ones(2 * len(faces)), (faces[:, [0, 1]].T.ravel(), faces[:, [1, 2]].T.ravel())), shape=(count, count)
    )
    number, labels = csgraph.connected_components(graph, directed=False)
    ours = connected_vertices(faces, count)
    assert ours.max() + 1 == number
    pairs = np.unique(np.stack([ours, labels], axis=1), axis=0)
    assert len(pairs) == number  # one to one


def test_components_of_a_long_chain() -> None:
    """A strip of 200,000 triangles is one part: the worst case for propagation without pointer jumping."""
    start = np.arange(200_000)
    labels, count = connected_faces(np.stack([start, start + 1, start + 2], axis=1), 200_002)
    assert count == 1 and not labels.any()


def test_rims_of_an_open_statuette() -> None:
    mesh = statuette(columns=160)
    found, faces = rim_edges(mesh.faces, len(mesh.vertices))
    bottom = np.abs(mesh.vertices[found].reshape(-1, 3)[:, 2]) < 1e-6
    assert bottom.sum() == 2 * 160
    assert all((mesh.faces[face][:, None] == edge).any() for face, edge in zip(faces, found, strict=True))


def test_joined_counts_and_fills_what_is_missing() -> None:
    first = replace(box((1.0, 1.0, 1.0), steps=1), colours={"Colour": np.full((8, 4), 0.5)})
    both = joined([first, statuette()])
    assert len(both.vertices) == 8 + len(statuette().vertices)
    assert both.uv is not None and not both.uv[: len(first.faces)].any()
    assert (both.colours["Colour"][8:] == 1.0).all()
    assert both.faces.max() == len(both.vertices) - 1


def test_clipping_a_box_gives_the_right_volume_surface_and_uvs() -> None:
    """A 40 x 30 x 20 box cut at a third of its height loses its top and a third of its sides (elementary geometry)."""
    mesh = box((40.0, 30.0, 20.0), steps=7)
    mesh = replace(mesh, uv=mesh.vertices[mesh.faces][..., :2].astype(np.float32))
    below = clipped(mesh, np.array([0.0, 0.0, -1.0]), -7.0)
    assert face_areas(below.vertices, below.faces).sum() == pytest.approx(40 * 30 + 2 * (40 + 30) * 7.0, rel=1e-6)
    assert below.vertices[:, 2].max() == pytest.approx(7.0, abs=1e-9)
    assert np.allclose(below.uv, below.vertices[below.faces][..., :2], atol=1e-4)
    _, counts = edges(below.faces)
    assert set(counts.tolist()) == {1, 2}  # the cut is one clean rim, the rest closed
    top = clipped(mesh, np.array([0.0, 0.0, 1.0]), 7.0)
    total = face_areas(below.vertices, below.faces).sum() + face_areas(top.vertices, top.faces).sum()
    assert total == pytest.approx(face_areas(mesh.vertices, mesh.faces).sum(), rel=1e-9)


def test_cropping_keeps_the_inside() -> None:
    kept = cropped(box((40.0, 30.0, 20.0)), np.array([-10.0, -100.0, -1.0]), np.array([10.0, 100.0, 30.0]))
    assert np.allclose(kept.vertices.min(axis=0), [-10.0, -15.0, 0.0])
    assert np.allclose(kept.vertices.max(axis=0), [10.0, 15.0, 20.0])


def test_submesh_keeps_layers_in_step() -> None:
    mesh = statuette()
    colours = {"Colour": np.repeat(mesh.vertices[:, :1], 4, axis=1)}
    mesh = replace(mesh, colours=colours, face_marks={"filled": mesh.faces[:, 0] % 2 == 0})
    part = submesh(mesh, mesh.faces[:, 0] % 3 == 0)
    assert np.allclose(part.colours["Colour"][:, 0], part.vertices[:, 0])
    assert (part.face_marks["filled"] == mesh.face_marks["filled"][mesh.faces[:, 0] % 3 == 0]).all()


def _random_meshes(count: int) -> Iterator[TriangleMesh]:
    """Small meshes with every fault: vertices at one place, faces of one vertex, edges of three faces, all by chance."""
    random = np.random.default_rng(5)
    for number in range(count):
        vertices, faces = int(random.integers(1, 30)), int(random.integers(0, 50))
        places = random.integers(0, 3, (vertices, 3)) if number % 2 else random.random((vertices, 3))
        yield TriangleMesh(places.astype(np.float32), random.integers(0, vertices, (faces, 3)).astype(np.int32))


@pytest.mark.parametrize("clashing", [False, True])
def test_rows_rims_and_faces_are_those_found_by_looking_at_each(monkeypatch: pytest.MonkeyPatch, clashing: bool) -> None:
    if clashing:  # all keys the same: only the comparison of the rows is left
        monkeypatch.setattr(topology, "_mixed", lambda triples: np.zeros(len(triples), np.int64))
    for mesh in _random_meshes(120):
        rows = mesh.faces.tolist()
        first = topology.first_alike(len(rows), lambda chosen, mesh=mesh: mesh.faces[chosen].astype(np.int64))
        assert first.tolist() == [rows.index(row) for row in rows]
        sets = [sorted(row) for row in rows]
        repeated = [sets.index(row) < place for place, row in enumerate(sets)]
        assert topology._repeated(mesh.faces).tolist() == repeated
        edges = [(row[side], row[(side + 1) % 3], face) for side in range(3) for face, row in enumerate(rows)]
        ends = [frozenset(edge[:2]) for edge in edges]
        alone = [edge for edge, pair in zip(edges, ends, strict=True) if ends.count(pair) == 1]
        found, owner = rim_edges(mesh.faces, len(mesh.vertices))
        assert [(*edge, face) for edge, face in zip(found.tolist(), owner.tolist(), strict=True)] == alone
        again = welded(mesh)
        place = [tuple(point) for point in mesh.vertices.tolist()]
        assert len(again.vertices) == len(set(place)) and np.array_equal(again.vertices[again.faces], mesh.vertices[mesh.faces])
