"""Are pictures identified by what they hold? Formula pictures on a small form, each true to its role, and candidates made by
hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.surface import picture_content
from blender_addon.core.surface.cavity import cavity
from blender_addon.core.surface.normal_maps import green_down
from blender_addon.core.surface.picture_content import Fit, Pixels, fit_of, layout_of, pixels_of
from blender_addon.core.surface.picture_roles import Candidate, choose, holds_directions, holds_tangent_normals, judge
from scripts.photos.odd_folders import Form

PHOTO = Pixels(grey=False, unit=0.1, outward=0.0, spread=0.8, primaries=0.0, together=0.95, colours=60, lines=0.0, even=False)
FITS = Fit(seams=0.7, laid=0.8)


@pytest.fixture(scope="module")
def form() -> Form:
    return Form()


def seen(form: Form, what: str, on: str = "") -> Candidate:
    """A nameless candidate with what a picture of the form holds."""
    mesh = form.meshes[1][0] if not on else form.meshes[2][int(on) - 1]
    layout = layout_of(mesh, np.ones(len(mesh.faces), bool))
    assert layout is not None
    deep = np.einsum("nk,nk->n", cavity(mesh.vertices, mesh.faces)[layout.vertex], layout.weight)
    picture = form.picture(what)
    return Candidate("picture.png", pixels=pixels_of(picture), fit=fit_of(picture, layout, recess=lambda: deep))


@pytest.mark.parametrize("what", ["photo", "albedo"])
def test_a_colour_picture_without_a_telling_name_is_the_colour(form: Form, what: str) -> None:
    judged = judge(seen(form, what))
    assert judged.role == "base" and judged.odds > 1


@pytest.mark.parametrize(
    "what",
    ["normal", "bent normal", "object normal", "position", "occlusion", "thickness", "roughness", "height", "curvature",
     "layout", "holiday"],
)  # fmt: skip
def test_a_map_without_a_telling_name_is_never_the_colour(form: Form, what: str) -> None:
    """ "Sure and wrong" is the worst: none comes near even odds."""
    assert judge(seen(form, what)).odds < -1


def test_directions_in_space_are_distinguished_from_those_of_a_normal_map(form: Form) -> None:
    flat, space = seen(form, "normal"), seen(form, "object normal")
    for pixels in (flat, space):
        assert pixels.pixels is not None and holds_directions(pixels.pixels)
    assert flat.pixels and holds_tangent_normals(flat.pixels, flat.fit)
    assert space.pixels and not holds_tangent_normals(space.pixels, space.fit)
    assert judge(flat).role == "normal" and judge(space).role == "object_normal"
    assert judge(seen(form, "position")).role == "position"


def test_both_sides_of_a_seam_agree_in_what_lies_on_the_mesh_alone(form: Form) -> None:
    own, other, view = (seen(form, what).fit for what in ("photo", "albedo of fox", "holiday"))
    assert own and other and view and own.seams and own.seams > 0.5
    assert other.seams is not None and abs(other.seams) < 0.15 and view.seams is not None and abs(view.seams) < 0.15


def test_vertices_that_a_format_split_along_seams_are_one_place(form: Form) -> None:
    mesh = form.meshes[1][0]
    assert mesh.uv is not None
    split = TriangleMesh(mesh.vertices[mesh.faces].reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3), mesh.uv)
    layouts = [layout_of(shape, np.ones(len(shape.faces), bool)) for shape in (mesh, split)]
    assert layouts[0] and layouts[1] and len(layouts[0].seam_uv) == len(layouts[1].seam_uv) > 100


def test_the_layout_tells_which_of_two_materials_a_picture_is_for(form: Form) -> None:
    right, wrong = seen(form, "photo 2", on="2"), seen(form, "photo 1", on="2")
    assert judge(right).odds > judge(wrong).odds + 2


def test_which_way_green_runs_is_read_from_the_slopes(form: Form) -> None:
    up = form.picture("normal")
    down = up * (1, -1, 1) + (0, 1, 0)
    assert green_down(up) is False and green_down(down) is True
    assert green_down(np.full((64, 64, 3), (0.5, 0.5, 1.0))) is None


def test_a_name_that_lies_does_not_make_a_map_the_colour(form: Form) -> None:
    for what in ("normal", "object normal", "position"):
        lying = replace(seen(form, what), name="owl_albedo.png", named=("base",), relation=1.0)
        stated = replace(lying, stated="base")
        assert judge(lying).odds < 0 and judge(stated).odds < 0


def test_a_grey_photo_needs_a_word_or_the_noise_of_a_camera(form: Form) -> None:
    """Exactly grey is what data is; a camera's noise has colour."""
    assert judge(seen(form, "grey photo")).role == "base"
    exact = seen(form, "occlusion")
    assert judge(exact).odds < 0
    assert judge(replace(exact, named=("base",))).odds > judge(exact).odds


def candidate(name: str, **facts: Any) -> Candidate:
    return Candidate(name, **({"pixels": PHOTO, "fit": FITS} | facts))


def test_nothing_that_can_be_the_colour_means_none() -> None:
    choice = choose([candidate("owl_thickness.png", named=("thickness",)), candidate("x.png", named=("bent_normal",))])
    assert choice.base is None and choice.confidence > 0.8
    assert choose([]).base is None


def test_two_equal_candidates_are_no_sure_choice() -> None:
    choice = choose([candidate("owl_colour_1.png", named=("base",)), candidate("owl_colour_2.png", named=("base",))])
    assert choice.base is not None and choice.confidence == pytest.approx(0.5, abs=0.01)


def test_the_material_s_word_beats_names() -> None:
    choice = choose([candidate("a.png", stated="base"), candidate("owl_albedo.png", named=("base",), relation=1.0)])
    assert choice.base is not None and choice.base.candidate.name == "a.png"


def test_one_of_many_photos_of_a_series_is_not_its_texture() -> None:
    lone = choose([candidate("IMG_2031.jpg", fit=None)])
    many = choose([candidate("IMG_2031.jpg", fit=None, alike=199)])
    assert lone.base is not None and many.base is None


def test_another_mesh_s_picture_is_left_to_it() -> None:
    assert choose([candidate("fox_albedo.png", named=("base",), relation=-1.0, fit=Fit(seams=0.0))]).base is None


def test_vertices_at_one_place_are_found_to_the_last_bit() -> None:
    """numpy's own unique rows are the yardstick; -0 and 0 are one place, the nearest other number is another."""
    random = np.random.default_rng(4)
    vertices = random.integers(-3, 4, (500, 3)).astype(np.float32) * np.float32(0.1)
    vertices[::7] *= np.float32(-0.0)
    vertices[1::50, 0] = np.nextafter(vertices[1::50, 0], np.float32(9))
    first, place = picture_content.same_places(vertices)
    wanted, inverse = np.unique(vertices, axis=0, return_inverse=True)
    assert len(first) == len(wanted)
    assert (vertices[first][place] == vertices).all()
    assert len({*zip(place.tolist(), inverse.reshape(-1).tolist(), strict=True)}) == len(wanted)
    assert (np.diff(first) > 0).all()


def test_seams_are_the_edges_whose_faces_lie_apart_in_the_layout() -> None:
    """Four triangles of a square round its middle, each in an island of its own: four seams, each shown twice."""
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.5, 0.5]])
    faces = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
    together = 0.3 * square[faces]
    assert len(picture_content._seams(faces, together, 1)) == 0
    apart = together + np.arange(4)[:, None, None] * (1.0, 0.5)
    found = picture_content._seams(faces, apart, 1)
    assert found.shape == (4, 2, 2)
    middles = apart.mean(axis=1)
    for pair in found:  # a little inside of each face: between its middle and the middle of the edge to the square's middle
        owners = [int(np.argmin(np.linalg.norm(middles - place, axis=1))) for place in pair]
        assert abs(owners[0] - owners[1]) in (1, 3)
        for owner, place in zip(owners, pair, strict=True):
            spots = [0.35 * (apart[owner, end] + apart[owner, 2]) + 0.3 * middles[owner] for end in (0, 1)]
            assert min(np.linalg.norm(spot - place) for spot in spots) < 1e-9
