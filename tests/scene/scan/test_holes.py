"""Are holes closed so that the mesh is watertight, marked, and coloured from beside the rim?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.mesh import holes
from blender_addon.core.mesh.topology import degenerate_faces, submesh, welded
from blender_addon.core.mesh.triangles import TriangleMesh, edges, face_areas, face_normals, signed_volume
from tests.scan_shapes import box, noisy, statuette

pytest.importorskip("bpy")
from blender_addon.scene.scan.tessellate import tessellate


def sound(mesh: TriangleMesh) -> TriangleMesh:
    mesh = welded(mesh)
    return submesh(mesh, ~degenerate_faces(mesh))


def watertight(mesh: TriangleMesh) -> bool:
    return bool((edges(mesh.faces)[1] == 2).all())


@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_an_open_bottom_is_closed_to_the_true_volume(noise: float) -> None:
    """Volume and watertightness also by trimesh, an independent library; the truth is the same figure made closed."""
    trimesh = pytest.importorskip("trimesh")
    mesh = sound(noisy(statuette(), noise=noise, seed=1))
    closed = holes.closed(mesh, holes.rims(mesh), tessellate)
    assert watertight(closed)
    other = trimesh.Trimesh(closed.vertices, closed.faces, process=False)
    assert other.is_watertight and other.is_winding_consistent
    whole = statuette(open_bottom=False)
    truth = signed_volume(whole.vertices, whole.faces)
    assert other.volume == pytest.approx(truth, rel=2e-3)  # noise of 0.05 mm on a 16 mm radius
    assert signed_volume(closed.vertices, closed.faces) == pytest.approx(other.volume, rel=1e-9)


def test_caps_are_marked_and_look_outwards() -> None:
    mesh = sound(statuette())
    closed = holes.closed(mesh, holes.rims(mesh), tessellate)
    filled = closed.face_marks[holes.FILLED]
    assert filled.sum() == len(closed.faces) - len(mesh.faces)
    assert not filled[: len(mesh.faces)].any()
    bottom = filled & (closed.vertices[closed.faces][..., 2].max(axis=1) < 1e-6)
    assert face_normals(closed.vertices, closed.faces)[bottom][:, 2].max() < -0.999
    assert face_areas(closed.vertices, closed.faces)[bottom].sum() == pytest.approx(holes.rims(mesh)[0].area, rel=1e-9)


def test_filled_uvs_point_beside_the_rim_and_have_an_area() -> None:
    mesh = sound(statuette())
    rim = holes.rims(mesh)[0]
    closed = holes.closed(mesh, [rim], tessellate)
    uv = closed.uv[closed.face_marks[holes.FILLED]]
    allowed = mesh.uv[rim.faces].mean(axis=1)
    gap = np.linalg.norm(uv.mean(axis=1)[:, None] - allowed, axis=2).min(axis=1)
    assert gap.max() < 1e-4  # a tenth of a texel of a 1K picture
    first, second = uv[:, 1] - uv[:, 0], uv[:, 2] - uv[:, 0]
    turn = first[:, 0].astype(float) * second[:, 1] - first[:, 1].astype(float) * second[:, 0]
    assert (np.abs(turn) > 0).mean() > 0.95
    assert np.ptp(uv.reshape(-1, 2), axis=0).max() < 1e-4


def test_a_bent_rim_gets_a_smooth_cap_between_its_heights() -> None:
    """A cap follows its rim: mean value coordinates are an average of the rim's own points near it (Floater 2003)."""
    mesh = sound(statuette())
    vertices = mesh.vertices.copy()
    low = vertices[:, 2] < 1e-6
    vertices[low, 2] = 1.5 * np.cos(2 * np.arctan2(vertices[low, 1], vertices[low, 0]))
    mesh = replace(mesh, vertices=vertices)
    closed = holes.closed(mesh, [holes.rims(mesh)[0]], tessellate)
    new = closed.vertices[len(mesh.vertices) :]
    assert len(new) > 50
    assert np.abs(new[:, 2]).max() < 1.5
    # the saddle r^2 cos 2t is harmonic: the membrane over a circle is known (potential theory)
    radius, angle = np.hypot(new[:, 0], new[:, 1]) / 30.0, np.arctan2(new[:, 1], new[:, 0])
    assert np.abs(new[:, 2] - 1.5 * radius**2 * np.cos(2 * angle)).max() < 0.15


def test_mean_value_weights_reproduce_linear_functions() -> None:
    """Floater 2003, proposition 1: the coordinates of any simple polygon have linear precision."""
    angle = np.linspace(0, 2 * np.pi, 37, endpoint=False)
    outline = np.stack([(3 + np.cos(5 * angle)) * np.cos(angle), (2 + np.sin(3 * angle) / 2) * np.sin(angle)], axis=1)
    inside = np.random.default_rng(1).uniform(-1, 1, (50, 2))
    weights = holes.mean_value_weights(outline, inside)
    assert np.allclose(weights.sum(axis=1), 1.0)
    assert np.allclose(weights @ outline, inside, atol=1e-9)


def test_a_rim_that_crosses_itself_still_closes() -> None:
    mesh = box((30.0, 30.0, 30.0), steps=8)
    centres = mesh.vertices[mesh.faces].mean(axis=1)
    mesh = submesh(mesh, ~((centres[:, 2] > 29.9) & (np.abs(centres[:, 0]) < 9) & (np.abs(centres[:, 1]) < 9)))
    rim = holes.rims(mesh)[0]
    vertices = mesh.vertices.copy()
    shaken = np.random.default_rng(2).normal(scale=3.0, size=(len(rim.vertices), 3))
    vertices[rim.vertices] = vertices[np.roll(rim.vertices, 3)] + shaken
    mesh = replace(mesh, vertices=vertices)
    assert watertight(holes.closed(mesh, holes.rims(mesh), tessellate))


def test_a_sheet_keeps_its_outline_open() -> None:
    """Closing a sheet would double it; the cap would be as large as all that was scanned."""
    mesh = box((60.0, 50.0, 10.0), steps=10)
    sheet = submesh(mesh, mesh.vertices[mesh.faces][..., 2].min(axis=1) > 9.9)
    (rim,) = holes.rims(sheet)
    assert not holes.closable(sheet, rim)
    statue = sound(statuette())
    assert all(holes.closable(statue, rim) for rim in holes.rims(statue))


def test_colours_and_materials_go_on_over_the_cap() -> None:
    mesh = sound(statuette())
    colours = np.clip(np.concatenate([mesh.vertices / 100.0 + 0.5, np.ones((len(mesh.vertices), 1))], axis=1), 0, 1)
    mesh = replace(mesh, colours={"Colour": colours}, material=np.full(len(mesh.faces), 2, np.int32))
    closed = holes.closed(mesh, holes.rims(mesh), tessellate)
    new = slice(len(mesh.vertices), None)
    assert np.allclose(closed.colours["Colour"][new, :2], closed.vertices[new, :2] / 100.0 + 0.5, atol=1e-6)  # linear precision
    assert (closed.material == 2).all()
