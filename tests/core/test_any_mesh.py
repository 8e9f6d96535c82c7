"""Does every function that takes a mesh answer for any mesh, or say in words why it can't? Small, degenerate and empty ones.

Meshes are drawn by hypothesis, always the same ones: points at few places or anywhere, faces of any of them, so that twins,
slivers, flat and closed bodies, and rims that touch themselves all occur. Warnings are errors here as in the whole suite.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

pytest.importorskip("hypothesis")
spatial = pytest.importorskip("scipy.spatial")

from hypothesis import HealthCheck, given, settings  # noqa: E402
from hypothesis import strategies as st  # noqa: E402

from blender_addon.core.mesh import clipping, components, holes, rims, sections, spikes, topology  # noqa: E402
from blender_addon.core.mesh import cut as mesh_cut  # noqa: E402
from blender_addon.core.mesh import triangles as plain  # noqa: E402
from blender_addon.core.mesh.triangles import TriangleMesh  # noqa: E402
from blender_addon.core.scan import known_length, loose, snapping, support_plane, table, units, upright  # noqa: E402
from blender_addon.core.scan.facing.choosing import facings  # noqa: E402
from blender_addon.core.scan.facing.profiles import Standing  # noqa: E402
from blender_addon.core.scan.units import COUNTABLE  # noqa: E402

EACH = settings(
    max_examples=60, derandomize=True, deadline=None, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)  # fmt: skip

PLACES = st.sampled_from([0.0, 0.0, 1.0, -1.0, 2.0, 0.5, 1e-6, 1e3])
ANYWHERE = st.floats(-1e5, 1e5, width=32).map(lambda value: 0.0 if abs(value) < 1e-8 else value)


@st.composite
def meshes(draw: Callable[..., Any], least: int = 0) -> TriangleMesh:
    """A mesh of up to 14 points and 24 faces, with or without UVs, materials, colours and marks."""
    count = draw(st.integers(max(least, 0), 14))
    numbers = draw(st.sampled_from([PLACES, ANYWHERE]))
    points = np.array(draw(st.lists(numbers, min_size=3 * count, max_size=3 * count)), np.float32).reshape(count, 3)
    most = 24 if count else 0
    corner = st.integers(0, max(count - 1, 0))
    rows = draw(st.lists(st.tuples(corner, corner, corner), min_size=min(least, most), max_size=most))
    faces = np.array(rows, np.int32).reshape(-1, 3)
    if draw(st.booleans()):
        return TriangleMesh(points, faces)
    random = np.random.default_rng(draw(st.integers(0, 99)))
    return TriangleMesh(
        points, faces, random.random((len(faces), 3, 2)).astype(np.float32), random.integers(0, 3, len(faces)).astype(np.int32),
        {"Colour": random.random((count, 4)).astype(np.float32)}, {"filled": random.random(len(faces)) < 0.3},
    )  # fmt: skip


def _corners_of_a_cube() -> Any:
    return np.array([[x, y, z] for x in (0.0, 1.0) for y in (0.0, 1.0) for z in (0.0, 2.0)], np.float32)


@st.composite
def spoilt_solids(draw: Callable[..., Any]) -> TriangleMesh:
    """A box, or two that touch or overlap, with faces dropped, doubled, turned over, and points drawn together or away."""
    points, triangles = [], []
    for number in range(draw(st.integers(1, 3))):
        corners = _corners_of_a_cube() * draw(st.sampled_from([1.0, 1.0, 0.3, 1e-4, 50.0]))
        shift = draw(st.sampled_from([(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (1.0, 1.0, 0.0), (0.5, 0.5, 0.5), (9.0, 0.0, 0.0)]))
        points.append(corners + np.array(shift, np.float32))
        triangles.append(hull(_corners_of_a_cube().astype(float)) + 8 * number)
    vertices, faces = np.concatenate(points), np.concatenate(triangles).astype(np.int32)
    random = np.random.default_rng(draw(st.integers(0, 9999)))
    change = draw(st.sampled_from(["none", "drop", "double", "turn", "all"]))
    if change in ("drop", "all"):
        faces = faces[random.random(len(faces)) < 0.7]
    if change in ("turn", "all"):
        turned = random.random(len(faces)) < 0.3
        faces[turned] = faces[turned][:, ::-1]
    if change in ("double", "all"):
        faces = np.concatenate([faces, faces[random.random(len(faces)) < 0.3]])
    if draw(st.booleans()):
        vertices[random.integers(0, len(vertices), 3)] = vertices[random.integers(0, len(vertices), 3)]
    if draw(st.booleans()):
        longest = float(np.ptp(vertices, axis=0).max())
        vertices = vertices * np.float32(draw(st.sampled_from([1e-8, 1e-3, 1e3, COUNTABLE[1]])) / longest)
    uv = random.random((len(faces), 3, 2)).astype(np.float32) if draw(st.booleans()) else None
    return TriangleMesh(vertices.astype(np.float32), faces, uv)


ANY = st.one_of(meshes(), spoilt_solids())
"""Either kind."""


def sound(mesh: TriangleMesh) -> TriangleMesh:
    """The mesh, when each of its arrays fits the others."""
    assert mesh.vertices.ndim == 2 and mesh.vertices.shape[1] == 3 and mesh.faces.ndim == 2 and mesh.faces.shape[1] == 3
    assert np.isfinite(mesh.vertices).all()
    if len(mesh.faces):
        assert 0 <= int(mesh.faces.min()) and int(mesh.faces.max()) < len(mesh.vertices)
    assert mesh.uv is None or mesh.uv.shape == (len(mesh.faces), 3, 2)
    assert mesh.material is None or mesh.material.shape == (len(mesh.faces),)
    assert all(len(values) == len(mesh.vertices) for values in mesh.colours.values())
    assert all(len(marks) == len(mesh.faces) for marks in mesh.face_marks.values())
    return mesh


def fan(points: Any, count: int) -> tuple[Any, Any]:
    """A triangulation that ignores the points inside: enough to close a rim with."""
    return points[:count], np.stack([np.zeros(count - 2, int), np.arange(1, count - 1), np.arange(2, count)], 1)


def hull(points: Any) -> Any:
    """Triangles of the convex hull, looking outwards; none where the points span no body, as Blender's own does."""
    try:
        found = spatial.ConvexHull(points)
    except (spatial.QhullError, ValueError):
        return np.zeros((0, 3), int)
    triangles = found.simplices.copy()
    a, b, c = (points[triangles[:, corner]] for corner in range(3))
    wrong = (np.cross(b - a, c - a) * found.equations[:, :3]).sum(axis=1) < 0
    triangles[wrong] = triangles[wrong][:, ::-1]
    return triangles


@EACH
@given(ANY)
def test_plain_facts(mesh: TriangleMesh) -> None:
    assert (plain.face_areas(mesh.vertices, mesh.faces) >= 0).all() and mesh.size.shape == (3,)
    areas = plain.face_areas(mesh.vertices, mesh.faces)
    if areas.sum() > 0:
        assert (areas[plain.faces_by_area(np.cumsum(areas), np.linspace(0.0, 0.999, 50))] > 0).all()
    for normals in (plain.face_normals(mesh.vertices, mesh.faces), plain.vertex_normals(mesh.vertices, mesh.faces)):
        length = np.linalg.norm(normals, axis=1)
        assert ((np.abs(length - 1.0) < 1e-3) | (length == 0)).all()
    assert np.isfinite(plain.signed_volume(mesh.vertices.astype(float), mesh.faces))
    edges, counts = plain.edges(mesh.faces)
    assert counts.sum() == 3 * len(mesh.faces) and len(edges) == len(counts)
    assert units.texels_per_unit(mesh, {0: (64, 64)}) >= 0.0


@EACH
@given(ANY)
def test_topology(mesh: TriangleMesh) -> None:
    keep = np.arange(len(mesh.faces)) % 3 != 0
    assert len(sound(topology.submesh(mesh, keep)).faces) == int(keep.sum())
    assert len(sound(topology.joined([mesh, mesh, topology.submesh(mesh, keep)])).vertices) >= 2 * len(mesh.vertices)
    welded = sound(topology.welded(mesh))
    assert len(welded.vertices) <= len(mesh.vertices) and len(welded.faces) == len(mesh.faces)
    bad = topology.degenerate_faces(welded)
    assert bad.shape == (len(welded.faces),)
    edges, faces = topology.rim_edges(mesh.faces, len(mesh.vertices))
    assert len(faces) == len(edges) and edges.shape == (len(edges), 2)
    assert ((edges >= 0) & (edges < max(len(mesh.vertices), 1))).all()
    for at, (start, end) in zip(faces, edges, strict=True):
        assert {start, end} <= set(mesh.faces[at].tolist())
    vertices = set(np.unique(edges).tolist())
    open_rims, _, _ = rims.open_edges(mesh)
    assert all(set(loop.tolist()) <= vertices for loop, _ in open_rims.loops)


@EACH
@given(ANY)
def test_components(mesh: TriangleMesh) -> None:
    """Faces that share a vertex get one label, and labels count from 0."""
    labels, count = components.connected_faces(mesh.faces, len(mesh.vertices))
    assert set(labels.tolist()) == set(range(count))
    of_vertex = components.connected_vertices(mesh.faces, len(mesh.vertices))
    for corner in range(3):
        assert (of_vertex[mesh.faces[:, corner]] == of_vertex[mesh.faces[:, 0]]).all()


@EACH
@given(ANY)
def test_holes(mesh: TriangleMesh) -> None:
    mesh = topology.submesh(mesh, ~topology.degenerate_faces(mesh))
    found = holes.rims(mesh)
    safe = [rim for rim in found if holes.closable(mesh, rim, most=1e9)]
    for tessellate in (fan, lambda points, count: None):
        closed = sound(holes.closed(mesh, safe, tessellate, small=1.0))
        assert len(closed.faces) >= len(mesh.faces)
        assert not safe or closed.face_marks["filled"][len(mesh.faces) :].all()


@EACH
@given(ANY, st.integers(0, 99), st.booleans())
def test_cuts(mesh: TriangleMesh, seed: int, with_tone: bool) -> None:
    """Along any field; both halves have no open edge left where the whole had none."""
    random = np.random.default_rng(seed)
    field = random.normal(size=len(mesh.vertices)) * (random.random(len(mesh.vertices)) < 0.8)
    tone = random.random(len(mesh.vertices)) if with_tone else None
    mesh = topology.submesh(mesh, ~topology.degenerate_faces(mesh))
    field = field[: len(mesh.vertices)]
    whole, above, _ = mesh_cut.split(mesh, field)
    assert len(above) == len(sound(whole).faces)
    done = mesh_cut.cut(mesh, field, tone=None if tone is None else tone[: len(mesh.vertices)])
    for half, cap in ((done.above, done.above_cap), (done.below, done.below_cap)):
        assert len(cap) == len(sound(half).faces)
    sealed, caps = mesh_cut.closed(mesh)
    assert len(caps) == len(sound(sealed).faces)
    target = done.above.vertices[np.unique(done.above.faces[done.above_cap])]
    moved, most = mesh_cut.seated(done.above, done.above_cap, target, reach=1.0, most=1.0)
    assert most <= 1.0 and len(sound(moved).faces) == len(done.above.faces)


@EACH
@given(ANY, st.sampled_from([(0.0, 0.0, 1.0), (0.6, 0.8, 0.0), (0.0, -1.0, 0.0)]), st.floats(-2.0, 2.0))
def test_clipping(mesh: TriangleMesh, normal: tuple[float, float, float], offset: float) -> None:
    part = sound(clipping.clipped(mesh, np.array(normal), offset))
    used = part.vertices[np.unique(part.faces)] if len(part.faces) else np.zeros((0, 3))
    slack = 1e-5 * (1.0 + float(np.abs(mesh.vertices).max(initial=0.0)))  # a rounding of 32-bit coordinates
    assert (used @ np.array(normal) >= offset - slack).all()
    sound(clipping.cropped(mesh, np.array([-0.5] * 3), np.array([0.7] * 3)))


@EACH
@given(ANY, st.integers(0, 99))
def test_borders_and_spots(mesh: TriangleMesh, seed: int) -> None:
    inside = np.random.default_rng(seed).random(len(mesh.faces)) < 0.5
    lines = sections.border_lines(mesh.vertices, mesh.faces, inside)
    assert lines.shape == (len(lines), 2, 3)
    if inside.any():
        assert len(lines) == len(topology.rim_edges(mesh.faces[inside], len(mesh.vertices))[0])
    for reach in (1e-3, 1.0, 100.0) if len(mesh.vertices) else ():
        place = np.asarray(mesh.vertices[seed % len(mesh.vertices)], float)
        spot, caught = snapping.snapped(place, mesh.vertices, reach)
        if np.isfinite(place).all():
            assert np.linalg.norm(spot - place) <= reach * 1.001 and (caught or np.array_equal(spot, place))


def as_a_step_gets_it(mesh: TriangleMesh) -> TriangleMesh | None:
    """What cleanup lets through: welded, no face without an area, four faces or more, not as thin as a line."""
    mesh = topology.welded(mesh)
    mesh = topology.submesh(mesh, ~topology.degenerate_faces(mesh))
    if len(mesh.faces) < 4:
        return None
    middle = mesh.vertices.astype(float) - mesh.vertices.mean(axis=0, dtype=float)
    spread = np.linalg.eigvalsh(middle.T @ middle)
    return None if spread[1] < 1e-8 * spread[2] else mesh


@EACH
@given(st.one_of(meshes(least=5), spoilt_solids()))
def test_cleanups_parts(mesh: TriangleMesh) -> None:
    ready = as_a_step_gets_it(mesh)
    if ready is None:
        return
    good = spikes.steady_vertices(ready) | spikes.in_their_plane(ready)
    assert good.shape == (len(ready.vertices),)
    sound(spikes.settled_among_neighbours(ready, ~good))
    assert np.isfinite(spikes.ring_medians(ready)).all()
    flat, count = spikes.unfolded(ready)
    assert count == spikes.folded_faces(ready).sum()
    sound(flat)
    for percent in (0.0, 1.0, 30.0):
        found = loose.parts(ready, small_percent=percent)
        lone = loose.apart(ready, small_percent=percent)
        assert lone.shape == (len(ready.vertices),) and not lone[ready.faces[found.labels == found.areas.argmax()]].any()
        assert found.keep.any() and len(found.keep_faces) == len(ready.faces) and (percent or found.keep.all())
    stood_on = table.find_table(ready)
    if stood_on is not None:
        sound(table.without_table(ready, stood_on))


@EACH
@given(st.one_of(meshes(least=5), spoilt_solids()))
def test_orientations_parts(mesh: TriangleMesh) -> None:
    """Ways to stand, the front, the known lengths: finite numbers and unit vectors, or words why there are none."""
    ready = as_a_step_gets_it(mesh)
    if ready is None:
        return
    for way in support_plane.supports(ready, hull, file="scan.obj"):
        assert (
            np.linalg.norm(way.up) == pytest.approx(1.0, abs=1e-6) and np.isfinite(way.point).all() and np.isfinite(way.chance)
        )
        turn = upright.rotation_between(way.up, np.array([0.0, 0.0, 1.0]))
        assert np.allclose(turn @ turn.T, np.eye(3), atol=1e-6)
    points = ready.vertices[ready.faces].mean(axis=1).astype(float)
    points -= points.min(axis=0)
    found = facings(Standing(points, plain.face_normals(ready.vertices, ready.faces), 0.0), file="scan.obj")
    assert found and all(np.isfinite(facing.angle_deg) and 0.0 <= facing.chance <= 1.0 + 1e-9 for facing in found)
    on_ground = ready.vertices - ready.vertices.min(axis=0) * np.array([0, 0, 1], np.float32)
    standing = known_length.Standing(replace(ready, vertices=on_ground), on_ground.astype(float), np.eye(4))
    for measure in (
        known_length.whole_height, known_length.piece_height, known_length.width, known_length.stand_length,
        known_length.disc_diameter, known_length.longest_side,
    ):  # fmt: skip
        try:
            assert np.isfinite(measure(standing))
        except known_length.NotMeasurable as problem:
            assert ";" in str(problem)  # ends in what to do
