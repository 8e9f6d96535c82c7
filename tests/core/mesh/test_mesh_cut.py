"""Is a mesh cut in two clean, closed halves that lose nothing?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.mesh.cut import FILLED, closed, cut, seated
from blender_addon.core.mesh.polygon import fill_loops
from blender_addon.core.mesh.topology import submesh
from blender_addon.core.mesh.triangles import TriangleMesh, edges, signed_volume
from tests.scan_shapes import box


def is_closed(mesh: TriangleMesh) -> bool:
    return bool(np.all(edges(mesh.faces)[1] == 2))


def with_everything(mesh: TriangleMesh) -> TriangleMesh:
    uv = np.asarray(mesh.vertices)[mesh.faces][..., :2] * 0.01 + 0.4
    colour = np.c_[np.asarray(mesh.vertices) * 0.01, np.ones(len(mesh.vertices))]
    return replace(mesh, uv=uv.astype(np.float32), colours={"Col": colour}, material=np.zeros(len(mesh.faces), np.int32))


@pytest.mark.parametrize("tilt", [(0.0, 0.0), (0.3, -0.2), (1.0, 0.7)])
def test_halves_are_closed_and_share_the_volume(tilt: tuple[float, float]) -> None:
    """A plane through a box: both halves watertight, their volumes sum to the box's (1e-9: the caps are the same triangles)."""
    mesh = with_everything(box((40.0, 30.0, 20.0)))
    points = np.asarray(mesh.vertices)
    halves = cut(mesh, points[:, 2] - 9.37 + tilt[0] * points[:, 0] + tilt[1] * points[:, 1], snap=0.0)
    assert is_closed(halves.above) and is_closed(halves.below)
    volumes = [signed_volume(np.asarray(half.vertices), half.faces) for half in (halves.above, halves.below)]
    assert min(volumes) > 0
    assert sum(volumes) == pytest.approx(40 * 30 * 20, rel=1e-9)
    if tilt == (0.0, 0.0):
        assert volumes[1] == pytest.approx(40 * 30 * 9.37, rel=1e-9)


def test_attributes_run_through_the_cut() -> None:
    """UV and colour are linear in place here, so on every face that is no cap they must still be."""
    mesh = with_everything(box((40.0, 30.0, 20.0)))
    halves = cut(mesh, np.asarray(mesh.vertices)[:, 2] - 9.37)
    for half, cap in ((halves.above, halves.above_cap), (halves.below, halves.below_cap)):
        where = np.asarray(half.vertices)[half.faces[~cap]]
        assert half.uv[~cap] == pytest.approx(where[..., :2] * 0.01 + 0.4, abs=1e-5)
        assert half.colours["Col"][:, :3] == pytest.approx(np.asarray(half.vertices) * 0.01, abs=1e-9)
        assert np.array_equal(half.face_marks[FILLED], cap) and cap.any()
        assert set(half.colours) == {"Col"}


def test_caps_are_no_sliver_of_the_atlas() -> None:
    """A cap's texture comes from one spot: wider than nothing, so that tangents exist, and narrower than a texel of 8 K."""
    halves = cut(with_everything(box((40.0, 30.0, 20.0))), np.asarray(box((40.0, 30.0, 20.0)).vertices)[:, 2] - 9.37)
    spread = np.ptp(halves.below.uv[halves.below_cap], axis=1)
    assert spread.min() > 0 and spread.max() < 1 / 8192


def test_a_ring_is_capped_as_a_ring() -> None:
    """A tube cut across: the hole stays a hole. Area of the cap is the square's less the bore's."""
    outer, inner = box((20.0, 20.0, 20.0)), box((10.0, 10.0, 10.0))
    inner_points = np.asarray(inner.vertices) * [1, 1, 3.0] + [0, 0, -5.0]
    vertices = np.concatenate([np.asarray(outer.vertices), inner_points])
    tube = TriangleMesh(vertices, np.concatenate([outer.faces, inner.faces[:, ::-1] + len(outer.vertices)]))
    halves = cut(tube, vertices[:, 2] - 9.9)
    corners = np.asarray(halves.below.vertices)[halves.below.faces[halves.below_cap]]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
    assert area == pytest.approx(300.0, rel=1e-9)


def test_earlier_openings_are_closed_too() -> None:
    mesh = box((40.0, 30.0, 20.0))
    top = np.asarray(mesh.vertices)[mesh.faces][..., 2].min(axis=1) > 19.0
    halves = cut(submesh(mesh, ~top), np.asarray(submesh(mesh, ~top).vertices)[:, 2] - 9.37)
    assert is_closed(halves.above)
    whole, lid = closed(submesh(mesh, ~top))
    assert is_closed(whole) and signed_volume(np.asarray(whole.vertices), whole.faces) == pytest.approx(24000.0)
    assert lid.sum() > 0 and np.array_equal(whole.face_marks[FILLED], lid)


def test_a_bent_outline_is_filled_exactly() -> None:
    """A comb, which no fan fills: the triangles' areas, all counter-clockwise, sum to the outline's (shoelace formula)."""
    teeth = np.array([[x, y] for k in range(9) for x, y in ((k, 0 if k % 2 else 5.0), (k + 0.6, 0 if k % 2 else 5.0))], float)
    outline = np.concatenate([teeth, [[10.0, 8.0], [-1.0, 8.0], [-1.0, -1.0]]])[::-1]
    points = np.c_[outline, np.zeros(len(outline))]
    x, y = outline.T
    signed = 0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)
    faces = fill_loops([np.arange(len(points))], points, np.array([0, 0, np.sign(signed)]))
    a, b, c = (points[faces[:, corner]] for corner in range(3))
    areas = 0.5 * np.cross(b - a, c - a)[:, 2] * np.sign(signed)
    assert len(faces) == len(points) - 2
    assert areas.sum() == pytest.approx(abs(signed)) and areas.min() > -1e-12


def test_seating_moves_the_rim_and_fades() -> None:
    halves = cut(box((40.0, 30.0, 20.0), steps=20), np.asarray(box((40.0, 30.0, 20.0), steps=20).vertices)[:, 2] - 9.37)
    piece, cap = halves.above, halves.above_cap
    rim = np.unique(piece.faces[cap])
    target = np.asarray(piece.vertices)[rim] - [0, 0, 0.5]
    sat, most = seated(piece, cap, target, reach=3.0, most=1.0)
    moved = np.asarray(sat.vertices) - np.asarray(piece.vertices)
    assert moved[rim] == pytest.approx(np.tile([0, 0, -0.5], (len(rim), 1))) and most == pytest.approx(0.5)
    far = np.asarray(piece.vertices)[:, 2] > 9.37 + 3.0
    assert np.abs(moved[far]).max() == 0.0
