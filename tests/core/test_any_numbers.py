"""Do functions of plain numbers, points and colours keep their own laws for any input? Ways there and back, bounds, symmetry.

Inputs are drawn by hypothesis, always the same ones. Tolerances are some thousand roundings of the numbers' precision.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

pytest.importorskip("hypothesis")

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blender_addon.core import colour, memory, noise, srgb
from blender_addon.core.delivery import contact_sheet, crop_window, resampling, scale_bar
from blender_addon.core.dressing import exposure, props
from blender_addon.core.files import texture_names
from blender_addon.core.files.pictures import xmp
from blender_addon.core.mesh import planar, polygon, similarity, solids, triangles
from blender_addon.core.mesh.triangles import signed_volume
from blender_addon.core.scan import units
from blender_addon.core.shots import formats, framing, optics, turntable
from blender_addon.core.surface import normal_maps
from blender_addon.core.surface.light import light, spherical_harmonics
from scripts.bench._harmonic_light import irradiance_basis

EACH = settings(
    max_examples=60, derandomize=True, deadline=None, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)  # fmt: skip


def number(low: float, high: float) -> Any:
    return st.floats(low, high, allow_nan=False)


def points(least: int, most: int, width: int) -> Any:
    """(n, width) numbers on a coarse grid or anywhere, so that twins and straight rows occur."""
    entry = st.one_of(st.integers(-3, 3).map(float), number(-100.0, 100.0))
    return st.lists(st.tuples(*[entry] * width), min_size=least, max_size=most).map(lambda rows: np.array(rows, float))


COLOURS = st.lists(st.tuples(*[number(0.0, 1.0)] * 3), min_size=1, max_size=6).map(lambda rows: np.array(rows))


@EACH
@given(COLOURS, COLOURS)
def test_colours(some: Any, others: Any) -> None:
    assert np.abs(srgb.decode(srgb.encode(some)) - some).max() < 1e-5
    assert (srgb.luminance(some) <= some.max(axis=1) + 1e-6).all() and (srgb.luminance(some) >= some.min(axis=1) - 1e-6).all()
    first, other = colour.lab(some[:1]), colour.lab(others[:1])
    there, back = colour.delta_e_2000(first, other), colour.delta_e_2000(other, first)
    assert np.isfinite(there).all() and (there >= 0).all() and there == pytest.approx(back, abs=1e-6)
    assert colour.delta_e_2000(first, first) == pytest.approx(0.0, abs=1e-9)
    assert -1e-6 <= first[0, 0] <= 100.0 + 1e-3


@EACH
@given(number(1000.0, 15000.0), number(1e-4, 1e3), number(1e-3, 1e3))
def test_lamps_and_exposures(kelvin: float, measured: float, target: float) -> None:
    lamp = colour.blackbody(kelvin)
    assert float(srgb.luminance(lamp)) == pytest.approx(1.0, rel=1e-5)
    assert measured * 2.0 ** exposure.stops_for(measured, target=target) == pytest.approx(target, rel=1e-6)


@EACH
@given(number(4.0, 800.0), number(0.02, 5.0), number(0.5, 2.0), number(1.0, 64.0), number(0.005, 0.1))
def test_lenses(focal: float, m: float, pupil: float, fnumber: float, coc: float) -> None:
    """Magnification and distance are each other's inverse; what lies in focus has no blur; near and far end in one blur."""
    distance = optics.focus_for(focal, m, pupil_ratio=pupil)
    assert optics.magnification(focal, distance, pupil_ratio=pupil) == pytest.approx(m, rel=1e-6)
    lens = optics.Optics(focal, fnumber, distance, pupil)
    near, far = optics.limits(lens, coc)
    assert 0.0 < near <= distance * (1 + 1e-9) and far >= distance * (1 - 1e-9)
    assert float(optics.blur_disc(lens, distance)) == pytest.approx(0.0, abs=1e-9)
    if math.isfinite(far):
        assert float(optics.blur_disc(lens, near)) == pytest.approx(coc, rel=1e-4)
        assert float(optics.blur_disc(lens, far)) == pytest.approx(coc, rel=1e-4)
        assert optics.depth_of_field(lens, coc) == pytest.approx(far - near, rel=1e-6, abs=1e-9)
    assert optics.marked(optics.marked(fnumber)) == optics.marked(fnumber)
    assert optics.marked(fnumber, up=False) <= optics.marked(fnumber)


@EACH
@given(number(-720.0, 720.0), number(-89.0, 89.0), points(3, 8, 3))
def test_cameras(azimuth: float, tilt: float, some: Any) -> None:
    rotation = framing.look(azimuth, tilt)
    assert np.allclose(rotation @ rotation.T, np.eye(3), atol=1e-9) and np.linalg.det(rotation) == pytest.approx(1.0)
    assert rotation[2, 0] == pytest.approx(0.0, abs=1e-9)  # the camera is level
    assert np.allclose(framing.look_along(-rotation[:, 2]), rotation, atol=1e-6)
    slopes, depth = framing.project(some, 1e4 * rotation[:, 2], rotation)
    assert np.isfinite(slopes).all() and (depth > 0).all()
    assert np.allclose(similarity.rotation_about("z", azimuth) @ similarity.rotation_about("z", -azimuth), np.eye(3), atol=1e-9)


@EACH
@given(st.integers(1, 400), st.sampled_from(["steady", "eased"]), number(0.1, 4.0))
def test_turntables(frames: int, pace: str, turns: float) -> None:
    angles = turntable.angles(frames, pace=pace, turns=turns)
    assert angles.shape == (frames,) and angles[0] == pytest.approx(0.0) and (np.diff(angles) >= -1e-9).all()
    assert (angles <= 2 * np.pi * turns + 1e-6).all()


@EACH
@given(st.integers(1, 300), st.integers(1, 300), st.booleans())
def test_pictures_are_resampled_with_weights_of_one(length: int, wanted: int, widen: bool) -> None:
    source, weights = resampling.taps(length, wanted, widen=widen)
    assert source.shape == weights.shape and len(source) == wanted
    assert (source >= 0).all() and (source < length).all() and np.allclose(weights.sum(axis=1), 1.0, atol=1e-6)


@EACH
@given(st.tuples(st.integers(16, 8000), st.integers(16, 8000)), number(0.2, 5.0), number(1e-3, 1e5), st.text(max_size=12))
def test_windows_bars_and_aspects(size: tuple[int, int], aspect: float, room: float, words: str) -> None:
    window = crop_window.crop_window(size, aspect)
    assert min(window.x, window.y) >= 0 and min(window.width, window.height) >= 1
    assert window.x + window.width <= size[0] and window.y + window.height <= size[1]
    bar = scale_bar.bar_length(room)
    assert bar <= room * (1 + 1e-9) and 2.5 * bar >= room * (1 - 1e-9)
    assert round(bar / 10.0 ** math.floor(math.log10(bar * (1 + 1e-9)))) in (1, 2, 5)
    try:
        assert 0.2 <= crop_window.parse_aspect(words) <= 5.0
    except ValueError as problem:
        assert str(problem)


@EACH
@given(st.lists(number(0.2, 5.0), min_size=1, max_size=14), st.integers(300, 3000))
def test_contact_sheets_keep_their_pictures_apart_and_inside(aspects: list[float], width: int) -> None:
    places, (wide, high) = contact_sheet.layout(aspects, width=width, margin=12, caption=20, row_height=120)
    assert len(places) == len(aspects)
    boxes = [(box.x, box.y, box.x + box.width, box.y + box.height) for box in places]
    for place, (left, low, right, up) in enumerate(boxes):
        assert left >= 0 and low >= 0 and right <= wide and up <= high and right > left and up > low
        for other in boxes[:place]:
            assert right <= other[0] or other[2] <= left or up <= other[1] or other[3] <= low


@EACH
@given(points(3, 24, 2), points(3, 8, 3))
def test_outlines_and_planes(flat: Any, some: Any) -> None:
    outline = planar.convex_outline(flat)
    if len(outline) >= 3 and planar.outline_area(outline) > 1e-6:
        assert all(planar.depth_inside(outline, point) >= -1e-6 for point in flat)
        assert polygon.signed_area(outline) == pytest.approx(planar.outline_area(outline), rel=1e-9)
        assert polygon.contains(outline, outline.mean(axis=0)[None])[0]
        again = planar.convex_outline(outline)
        assert planar.outline_area(again) == pytest.approx(planar.outline_area(outline), rel=1e-9)
    normal, centre = planar.fit_plane(some, np.ones(len(some)))
    assert np.linalg.norm(normal) == pytest.approx(1.0) and np.allclose(centre, some.mean(axis=0), atol=1e-9)
    off = np.square((some - centre) @ normal).sum()
    for axis in np.eye(3):  # no other plane through the centre lies nearer
        assert off <= np.square((some - centre) @ axis).sum() + 1e-6
    first, second = polygon.plane_axes(normal)
    assert np.allclose(np.cross(first, second), normal, atol=1e-9)


@EACH
@given(st.lists(number(-50.0, 50.0), min_size=1, max_size=20), st.integers(0, 99), number(0.0, 1.0))
def test_weighted_orders(values: list[float], seed: int, share: float) -> None:
    weights = np.random.default_rng(seed).uniform(0.1, 1.0, len(values))
    found = planar.weighted_quantile(np.array(values), weights, share)
    assert min(values) <= found <= max(values)
    assert min(values) <= planar.weighted_median(np.array(values), weights) <= max(values)


@EACH
@given(st.integers(0, 9999), number(0.01, 100.0), points(1, 1, 3))
def test_similarities_are_found_again(seed: int, scale: float, shift: Any) -> None:
    random = np.random.default_rng(seed)
    source = random.normal(size=(12, 3))
    turn = similarity.rotation_from_vector(random.normal(size=3))
    assert np.allclose(turn @ turn.T, np.eye(3), atol=1e-9)
    found = similarity.fit_similarity(source, scale * source @ turn.T + shift[0])
    assert found.scale == pytest.approx(scale, rel=1e-6)
    assert similarity.angle_between(found.rotation, turn) < 1e-4


@EACH
@given(number(0.1, 50.0), number(0.1, 50.0), number(0.0, 0.5), st.integers(3, 40), st.sampled_from("xyz"), number(-9.0, 9.0))
def test_solids_are_closed_and_of_the_size_asked(
    width: float, height: float, part: float, sides: int, axis: str, angle: float
) -> None:
    corners = solids.rounded_rectangle(width, height, part * min(width, height))
    assert np.ptp(corners, axis=0) == pytest.approx((width, height), rel=1e-6) and polygon.signed_area(corners) > 0
    turned = solids.lathe([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)], sides=sides)
    cylinder = 0.5 * sides * math.sin(2 * math.pi / sides) * width**2 * height
    assert signed_volume(turned.vertices.astype(float), turned.faces) == pytest.approx(cylinder, rel=1e-5)
    moved = solids.moved(turned, similarity.rotation_about(axis, angle), (1.0, 2.0, 3.0))
    assert signed_volume(moved.vertices.astype(float), moved.faces) == pytest.approx(cylinder, rel=1e-4)


@EACH
@given(number(1e-9, 1e9), st.booleans(), st.text(max_size=40), st.integers(0, 10**9), st.integers(0, 10**10))
def test_guesses_and_words(longest: float, metres: bool, words: str, triangles: int, pixels: int) -> None:
    chances = units.unit_chances(longest, metres_by_format=metres)
    assert not chances or sum(chances.values()) == pytest.approx(1.0)
    assert units.guess_unit(longest, metres_by_format=metres) is not None
    assert xmp.clean(xmp.clean(words)) == xmp.clean(words) and "\n" not in xmp.clean(words)
    assert isinstance(texture_names.series_of(words), str) and list(texture_names.words_of(words)) is not None
    need = memory.needed_mb(triangles, pixels)
    assert memory.shortage(triangles, pixels, free=need + 1.0) == "" and memory.shortage(triangles, pixels, free=need - 1.0)
    assert formats.circle_of_confusion(36.0, 24.0) == pytest.approx(math.hypot(36.0, 24.0) / 1500.0)


@settings(EACH, max_examples=2)
@given(st.integers(0, 2**31))
def test_any_individual_of_any_prop_is_a_sound_thing(seed: int) -> None:
    """Finite, of a size that lies on a bench, closed towards its inside, each face with a material."""
    for name in sorted(props.kinds()):
        prop = props.make_prop(name, seed=seed)
        mesh = prop.mesh
        assert np.isfinite(mesh.vertices).all() and 1.0 < float(mesh.size.max()) < 1000.0, name
        assert 0 <= int(mesh.faces.min()) and int(mesh.faces.max()) < len(mesh.vertices), name
        assert mesh.material is not None and 0 <= int(mesh.material.min()) <= int(mesh.material.max()) < len(prop.materials), (
            name
        )
        assert signed_volume(mesh.vertices.astype(float), mesh.faces) > 0.0, name


@EACH
@given(number(8.0, 400.0), number(1.0, 32.0), number(60.0, 900.0), number(1.01, 4.0), number(0.005, 0.1), number(0.5, 2.0))
def test_depth_of_field_that_is_asked_for_is_held(
    focal: float, fnumber: float, near: float, deeper: float, coc: float, pupil: float
) -> None:
    """The setting that holds near to far has just these limits; so has the stop that reaches them from where the focus is."""
    near, far = near + focal * (1.0 + 1.0 / pupil), (near + focal * (1.0 + 1.0 / pupil)) * deeper
    lens = optics.holding(near, far, focal, coc, pupil_ratio=pupil)
    assert optics.limits(lens, coc) == pytest.approx((near, far), rel=1e-6)
    assert optics.fnumber_reaching(lens, near, far, coc) == pytest.approx(lens.fnumber, rel=1e-6)
    m = optics.magnification(focal, near, pupil_ratio=pupil)
    stop = optics.diffraction_fnumber(m, coc, pupil_ratio=pupil)
    effective = optics.Optics(focal, stop, near, pupil).effective_fnumber
    assert optics.airy_disc(effective) == pytest.approx(coc, rel=1e-6)
    wide, high = formats.frame_used(36.0, 24.0, (640, 480))
    assert wide / high == pytest.approx(640 / 480) and wide <= 36.0 + 1e-9 and high <= 24.0 + 1e-9


@EACH
@given(points(4, 12, 3), st.integers(0, 9999))
def test_directions_and_normals_stay_unit(some: Any, seed: int) -> None:
    random = np.random.default_rng(seed)
    normals = random.normal(size=(len(some), 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    assert np.allclose(normal_maps.decode(normal_maps.encode(normals)), normals, atol=1e-6)
    up = np.where(normals[:, 2:] < 0.0, -normals, normals)
    flat = np.zeros_like(up) + (0.0, 0.0, 1.0)
    assert np.allclose(normal_maps.reoriented(flat[None], up[None])[0], up, atol=1e-6)  # a flat base changes no detail
    basis = irradiance_basis(normals, 2)
    assert basis.shape == (len(some), 9) and np.isfinite(basis).all()
    for directions in (spherical_harmonics.sphere_directions(64), light.half_sphere(64)):
        assert np.linalg.norm(directions, axis=1) == pytest.approx(1.0, abs=1e-6)
    faces = np.array([[0, 1, 2], [1, 2, 3]])
    lengths = np.linalg.norm(triangles.shading_normals(some, faces), axis=1)
    assert ((np.abs(lengths - 1.0) < 1e-3) | (lengths == 0.0)).all()
    value = noise.layered(some, seed=seed)
    assert np.isfinite(value).all() and (value == noise.layered(some, seed=seed)).all()
    eased = noise.smoothstep(-1.0, 2.0, some[:, 0])
    assert ((eased >= 0.0) & (eased <= 1.0)).all()


@EACH
@given(st.integers(0, 9999), st.sampled_from(["round", "square", "row", "grid", "few places"]), number(1e-3, 1e3))
def test_the_outline_of_many_points_is_that_of_another_library(seed: int, shape: str, size: float) -> None:
    """SciPy's Qhull has the same area, and no point lies outside of ours."""
    spatial = pytest.importorskip("scipy.spatial")
    random = np.random.default_rng(seed)
    many = random.normal(size=(400, 2)) if shape == "round" else random.uniform(-1.0, 1.0, (400, 2))
    if shape == "row":
        many[:, 1] = 0.3 * many[:, 0]
    elif shape == "grid":
        many = np.round(3.0 * many)
    elif shape == "few places":
        many = many[random.integers(0, 5, 400)]
    many = size * many
    outline = planar.convex_outline(many)
    if shape == "row":
        assert planar.outline_area(outline) == pytest.approx(0.0, abs=1e-9 * size**2)
        return
    assert planar.outline_area(outline) == pytest.approx(spatial.ConvexHull(many).volume, rel=1e-9)
    assert planar.depths_inside(outline, many).min() >= -1e-9 * size
