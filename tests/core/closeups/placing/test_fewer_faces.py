"""Is the piece on fewer faces still the piece, for looks that can't show more?"""

from __future__ import annotations

from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera
from blender_addon.core.closeups.placing import search
from blender_addon.core.closeups.placing.fewer_faces import with_fewer_faces
from blender_addon.core.closeups.placing.look import Skin, Texture, look
from blender_addon.core.closeups.seen import Form
from blender_addon.core.mesh.triangles import shading_normals, signed_volume

RADIUS = 20.0


def _ball(rings: int = 120) -> Form:
    polar, turn = np.meshgrid(np.linspace(1e-3, np.pi - 1e-3, rings), 2 * np.pi * np.arange(rings) / rings, indexing="ij")
    vertices = RADIUS * np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], 2).reshape(-1, 3)
    row, column = np.meshgrid(np.arange(rings - 1), np.arange(rings), indexing="ij")
    a, b = (row * rings + column).ravel(), (row * rings + (column + 1) % rings).ravel()
    faces = np.concatenate([np.stack([a, a + rings, b], 1), np.stack([b, a + rings, b + rings], 1)])
    return Form(vertices, faces, shading_normals(vertices, faces))


def test_a_ball_on_fewer_faces_keeps_its_size_its_outside_and_its_tone() -> None:
    form = _ball()
    grey = 0.4 + 0.01 * form.vertices[:, 2]
    cell = 3.0
    coarser, tone = with_fewer_faces(form, grey, cell)
    assert len(coarser.faces) < 0.3 * len(form.faces)
    # a mean of points of a sphere lies within it by a sagitta: (cell's half diagonal)^2 / 2 r
    far = RADIUS - np.linalg.norm(coarser.vertices, axis=1)
    assert far.min() > -1e-9 and far.max() < 0.75 * cell**2 / (2 * RADIUS) + 1e-9
    ways = coarser.vertices / np.linalg.norm(coarser.vertices, axis=1, keepdims=True)
    assert np.einsum("ij,ij->i", ways, coarser.normals).min() > 0.98
    # whole and turned outwards: the volume of the polyhedron, less what the sagittas take at the most
    whole = 4 / 3 * np.pi * RADIUS**3
    assert 0.9 * whole < signed_volume(coarser.vertices, coarser.faces) < whole
    np.testing.assert_allclose(tone, 0.4 + 0.01 * coarser.vertices[:, 2], atol=1e-12)  # linear in the place: kept by the means


def test_the_two_sides_of_a_thin_wall_stay_apart() -> None:
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(40.0), np.arange(40.0)))
    front, back = np.stack([x, y, 0 * x], 1), np.stack([x, y, 0 * x - 0.3], 1)
    up = np.tile((0.1, 0.1, 0.99), (len(x), 1))
    place = np.arange(1600).reshape(40, 40)
    a, b, c = place[:-1, :-1].ravel(), place[:-1, 1:].ravel(), place[1:, :-1].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), 1600 + np.stack([a, c, b], 1)])
    form = Form(np.concatenate([front, back]), faces, np.concatenate([up, -up]))
    coarser, _ = with_fewer_faces(form, np.ones(3200), 2.0)
    assert set(np.round(coarser.vertices[:, 2], 6)) == {0.0, -0.3}
    assert ((coarser.vertices[:, 2] == 0) == (coarser.normals[:, 2] > 0)).all()


def test_a_coarse_look_at_fewer_faces_shows_what_all_of_them_show() -> None:
    form = _ball(260)
    uv = np.zeros((len(form.faces), 3, 2), np.float32)
    tall = form.vertices[form.faces][..., 2] / (2 * RADIUS) + 0.5
    uv[..., 0], uv[..., 1] = 0.5, np.clip(tall, 0.01, 0.99)
    picture = np.repeat(np.repeat(np.linspace(0.1, 0.8, 256)[:, None, None], 256, axis=1), 3, axis=2).astype(np.float32)
    skin = Skin(form, texel_mm=0.3, texture=Texture(uv, picture))
    pixel = skin.reach / 100
    assert skin.fewer(0.001 * pixel) is skin
    few = skin.fewer(pixel)
    assert len(few.form.faces) < 0.5 * len(form.faces)
    assert skin.fewer(pixel) is few
    rotation = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])
    camera = PhotoCamera(rotation, np.array([0, -100.0, 0]), 100.0 / pixel, 0.0, (96, 96))
    all_of_it, less = look(skin, camera), look(few, camera)
    assert all_of_it is not None and less is not None
    both = all_of_it.mask() & less.mask()
    assert both.sum() > 0.97 * (all_of_it.mask() | less.mask()).sum()
    shown = [seen.raster(seen.albedo)[both] for seen in (all_of_it, less)]
    assert np.abs(shown[0] - shown[1]).max() < 0.03  # a cell is 1 % of the diagonal, over which the tone changes by 0.012


def test_what_a_model_explains_is_what_solving_its_equations_gives() -> None:
    rng = np.random.default_rng(4)
    design, values = rng.normal(size=(7, 30, 4)), rng.normal(size=(7, 30))
    pairs = [(i, j) for i in range(4) for j in range(i, 4)]
    products = np.stack([np.einsum("ns,ns->n", design[..., i], design[..., j]) for i, j in pairs])
    right = np.einsum("nsk,ns->kn", design, values)
    found: Any = search._explained(products, right, pairs)
    for row in range(7):
        matrix = design[row].T @ design[row]
        matrix += 1e-3 * np.trace(matrix) / 4 * np.eye(4)  # the same little on the diagonal
        expected = right[:, row] @ np.linalg.solve(matrix, right[:, row])
        assert abs(found[row] - expected) < 1e-9 * abs(expected)
