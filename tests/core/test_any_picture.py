"""Do functions of pictures and texture layouts keep their own laws for any picture, however small, flat or damaged its UVs?

Inputs are drawn by hypothesis, always the same ones.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

pytest.importorskip("hypothesis")

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blender_addon.core.delivery import bits, contact_sheet, cutout_shadow, marks
from blender_addon.core.files.pictures.colour_profile import as_srgb, into_srgb, profile_of
from blender_addon.core.files.pictures.icc import P3D65, REC2020, profile
from blender_addon.core.files.pictures.picture_files import looks_whole
from blender_addon.core.files.pictures.picture_headers import check_picture_bytes
from blender_addon.core.files.pictures.png8 import png8, read_png8
from blender_addon.core.files.pictures.png16 import png16
from blender_addon.core.mesh import preview, sections
from blender_addon.core.mesh.triangles import TriangleMesh, face_areas
from blender_addon.core.surface import normal_maps, picture_content, texels
from blender_addon.core.surface.bandpass import band_pass, gaussian_blur
from tests.core.test_any_mesh import ANY

EACH = settings(
    max_examples=50, derandomize=True, deadline=None, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)  # fmt: skip


@st.composite
def pictures(draw: Any, channels: int = 3, least: int = 1) -> Any:
    """(h, w, channels) of 0 to 1: flat, of few colours, steep, or noise; a side may be a single pixel."""
    height, width = draw(st.integers(least, 24)), draw(st.integers(least, 24))
    random = np.random.default_rng(draw(st.integers(0, 9999)))
    noise = random.random((height, width, channels))
    match draw(st.sampled_from(["flat", "few", "steep", "noise"])):
        case "flat":
            return np.full((height, width, channels), float(random.random())).astype(np.float32)
        case "few":
            return np.round(2.0 * noise).astype(np.float32) / 2.0
        case "steep":
            return (noise > 0.5).astype(np.float32)
    return noise.astype(np.float32)


@EACH
@given(pictures(channels=4))
def test_a_tidied_shadow_changes_nothing_of_the_subject_and_grows_no_darker_than_it_was(picture: Any) -> None:
    before = (255.0 * picture).astype(np.uint8)
    before[::2, :, :3] = 0
    after = cutout_shadow.tidied(before)
    factors = cutout_shadow.fading(*before.shape[:2])
    subject = (before[..., :3].max(axis=-1) > cutout_shadow.BLACK) | (before[..., 3] == 255)
    assert (after[subject] == before[subject]).all() and (after[..., :3] == before[..., :3]).all()
    assert after[..., 3][~subject].max(initial=0) <= before[..., 3][~subject].max(initial=0)
    assert factors.min() == 0.0 and factors.max() <= 1.0


@settings(EACH, max_examples=200)
@given(
    pictures(), st.sampled_from([P3D65, REC2020]), st.lists(st.tuples(st.integers(0, 900), st.integers(0, 255)), max_size=12)
)
def test_a_damaged_profile_leaves_colours_that_can_be_shown(picture: Any, gamut: Any, changes: list[tuple[int, int]]) -> None:
    """The profile stands in a JPEG's second application segment (ICC.1:2022, annex B.4)."""
    wide = bytearray(profile(gamut))
    for place, value in changes:
        wide[place % len(wide)] = value
    segment = b"ICC_PROFILE\0\1\1" + bytes(wide)
    data = b"\xff\xd8\xff\xe2" + (len(segment) + 2).to_bytes(2, "big") + segment + b"\xff\xd9"
    found, shown = profile_of(data), as_srgb(picture, data)
    assert changes or found is not None
    assert shown.shape == picture.shape and ((shown >= 0) & (shown <= 1)).all()
    if found is not None and not found.is_srgb:
        assert (shown == into_srgb(picture, found)).all()


@EACH
@given(pictures())
def test_files_hold_what_was_put_in(picture: Any) -> None:
    shown = np.round(255.0 * picture).astype(np.uint8)
    eight, sixteen = png8(shown), png16(picture)
    assert (read_png8(eight) == shown).all()
    for data in (eight, sixteen):
        size = check_picture_bytes(data)
        assert (size.height, size.width) == picture.shape[:2] and looks_whole(data, ".png")
        assert not looks_whole(data[: len(data) - 13], ".png")
    for depth in (8, 16):
        numbers = bits.to_numbers(picture, depth)
        assert np.abs(numbers / (2.0**depth - 1.0) - picture).max() <= 1.5 / (2**depth - 1)


@EACH
@given(pictures(channels=1), st.sampled_from([0.0, 0.4, 1.5, 7.0, 60.0]))
def test_a_blur_stays_between_the_darkest_and_the_brightest(picture: Any, sigma: float) -> None:
    plain = picture[..., 0]
    blurred = gaussian_blur(plain, sigma)
    assert blurred.shape == plain.shape
    assert blurred.min() >= plain.min() - 1e-3 and blurred.max() <= plain.max() + 1e-3  # it may overshoot a little
    flat = np.full_like(plain, 0.37)
    assert np.abs(gaussian_blur(flat, sigma) - 0.37).max() < 1e-4
    assert np.abs(band_pass(flat, 0.7, 3.0)).max() < 1e-4


@EACH
@given(pictures(), st.integers(1, 40), st.integers(1, 40))
def test_pictures_fit_and_marks_are_laid(picture: Any, width: int, height: int) -> None:
    fitted = contact_sheet.fitted(picture, width, height)
    assert fitted.shape == (height, width, 3)
    assert fitted.min() >= picture.min() - 1e-6 and fitted.max() <= picture.max() + 1e-6
    tone = marks.tone_on(picture)
    assert 0.0 <= tone <= 1.0
    strip = picture.copy()
    for mark in marks.with_halo(np.ones((3, 4), np.float32), 2, 2, tone, reach=2):
        marks.lay(strip, 0, [mark])
    assert strip.shape == picture.shape and np.isfinite(strip).all() and strip.min() >= 0.0 and strip.max() <= 1.0


@EACH
@given(pictures(channels=4, least=4), ANY)
def test_what_a_picture_holds(picture: Any, mesh: TriangleMesh) -> None:
    found = picture_content.pixels_of(picture)
    assert all(0.0 <= value <= 1.0 + 1e-6 for value in (found.unit, found.spread, found.primaries, found.lines))
    assert 1 <= found.colours <= 64 and -1.0 - 1e-6 <= found.together <= 1.0 + 1e-6
    assert normal_maps.green_down(picture[..., :3]) in (None, True, False)
    layout = picture_content.layout_of(mesh, np.ones(len(mesh.faces), bool))
    if layout is not None:
        fit = picture_content.fit_of(picture, layout)
        assert all(0.0 <= value <= 1.0 for value in (fit.position, fit.normal, fit.light))
        assert fit.laid is None or -1.0 <= fit.laid <= 1.0
        assert layout.weight.sum(axis=1) == pytest.approx(1.0, abs=1e-6)


@EACH
@given(st.integers(1, 12), st.integers(0, 9999), st.sampled_from(["sound", "wide", "no number", "flat"]))
def test_any_uvs_are_entered_or_left_out(count: int, seed: int, kind: str) -> None:
    random = np.random.default_rng(seed)
    uv = random.random((count, 3, 2)) * 1.5 - 0.2
    bad = random.random(count) < 0.5
    if kind == "wide":
        uv[bad] *= 1e5
    elif kind == "no number":
        uv[bad, 0, 0] = random.choice([np.nan, np.inf])
    elif kind == "flat":
        uv[bad, 2] = uv[bad, 1]
    found = texels.rasterize(uv, height=17, width=23)
    assert (found.index >= 0).all() and (found.index < 17 * 23).all()
    assert found.weight.sum(axis=1) == pytest.approx(1.0, abs=1e-5)
    assert (found.weight >= -0.05).all()
    if kind in ("wide", "no number"):
        sound = np.isfinite(uv).all(axis=(1, 2)) & (np.abs(uv) < 1e3).all(axis=(1, 2))
        assert sound[found.face].all()
    grown = texels.extend(np.ones(17 * 23, np.float32).reshape(17, 23), found.mask(), 3)
    assert np.isfinite(grown).all()


@EACH
@given(ANY, st.integers(0, 99))
def test_lines_and_places_on_a_mesh_lie_on_it(mesh: TriangleMesh, seed: int) -> None:
    if not len(mesh.faces) or not (face_areas(mesh.vertices.astype(float), mesh.faces) > 1e-12).any():
        return
    face, weight = preview.sampled_by_area(mesh, 20, seed=seed)
    assert ((face >= 0) & (face < len(mesh.faces))).all() and (weight >= -1e-12).all()
    assert weight.sum(axis=1) == pytest.approx(1.0)
    height = mesh.vertices[:, 2].astype(float)
    level = float(height.mean())
    lines = sections.level_lines(mesh.vertices.astype(float), mesh.faces, height, level)
    slack = 1e-6 * (1.0 + float(np.abs(mesh.vertices).max()))
    assert lines.shape[1:] == (2, 3) and (np.abs(lines[..., 2] - level) <= slack).all()
