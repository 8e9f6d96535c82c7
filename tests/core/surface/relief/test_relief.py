"""Texels, band-pass, normal maps, light and inversion on shapes whose answer is known."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh, unit
from blender_addon.core.surface import bandpass, normal_maps, patches, speckle, texels
from blender_addon.core.surface.light import light
from blender_addon.core.surface.light.visibility import look_round, spread_samples
from blender_addon.core.surface.relief import recovery
from blender_addon.core.surface.relief.recovery import Photographed, Recovery, recover
from blender_addon.core.surface.textured_surface import read_surface, without
from blender_addon.job.runner import finish

SQUARE = np.array([[[0.1, 0.1], [0.9, 0.1], [0.9, 0.9]], [[0.1, 0.1], [0.9, 0.9], [0.1, 0.9]]])


def sheet(count: int = 40, size_mm: float = 30.0, wave_mm: float = 15.0, high_mm: float = 1.0) -> TriangleMesh:
    """A gently waved sheet with one UV island."""
    axis = np.linspace(0, 1, count)
    u, v = np.meshgrid(axis, axis)
    x, y = u * size_mm, v * size_mm
    z = high_mm * (np.sin(2 * np.pi * x / wave_mm) + np.sin(2 * np.pi * y / wave_mm))
    place = np.arange(count * count).reshape(count, count)
    a, b, c, d = place[:-1, :-1].ravel(), place[:-1, 1:].ravel(), place[1:, 1:].ravel(), place[1:, :-1].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    uv = np.stack([u.ravel(), v.ravel()], 1)[faces] * 0.96 + 0.02
    return TriangleMesh(np.stack([x.ravel(), y.ravel(), z.ravel()], 1).astype(np.float32), faces, uv.astype(np.float32))


def test_raster_covers_the_area_of_the_layout() -> None:
    found = texels.rasterize(SQUARE, height=100, width=200)
    assert abs(len(found) - 0.64 * 100 * 200) < 0.02 * 0.64 * 100 * 200  # one row or column of rounding on a side
    assert not found.shared.any()
    assert np.allclose(found.weight.sum(axis=1), 1, atol=1e-5)


def test_texel_centres_are_interpolated_where_they_lie() -> None:
    found = texels.rasterize(SQUARE, height=64, width=64)
    corners = np.arange(6).reshape(2, 3)
    uv = found.interpolate(corners, SQUARE.reshape(-1, 2))
    row, column = np.divmod(found.index, 64)
    assert np.allclose(uv, np.stack([(column + 0.5) / 64, (row + 0.5) / 64], 1), atol=1e-3)


def test_uvs_outside_the_square_wrap_and_overlaps_are_marked() -> None:
    home, away = (texels.rasterize(uv, height=64, width=64) for uv in (SQUARE, SQUARE + (3.0, -2.0)))
    assert np.array_equal(home.index, away.index)
    stacked = texels.rasterize(np.concatenate([SQUARE, SQUARE[:, ::-1]]), height=64, width=64)
    assert stacked.shared.mean() > 0.9  # mirrored twins lie on the same texels; only the seams between faces escape


def test_degenerate_and_broken_uvs_cover_nothing() -> None:
    broken = np.array([[[0.5, 0.5]] * 3, [[np.nan, 0], [1, 0], [1, 1]]])
    assert len(texels.rasterize(broken, height=32, width=32)) == 0


def test_texel_size_on_a_sheared_island_follows_area() -> None:
    vertices, faces = np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0.0]]), np.array([[0, 1, 2]])
    sheared = np.array([[[0, 0], [1, 0], [0.7, 1.0]]])
    assert texels.typical_texel_mm(vertices, faces, sheared, height=100, width=100) == pytest.approx(0.1, rel=1e-6)


def test_blur_keeps_the_mean_and_has_the_variance_asked_for() -> None:
    image = np.zeros((257, 300), np.float32)
    image[128, 150] = 1
    for sigma in (0.7, 3.0, 20.0):
        blurred = bandpass.gaussian_blur(image, sigma)
        row = np.arange(257) - 128
        assert blurred.sum() == pytest.approx(1, abs=1e-3)
        assert (blurred.sum(axis=1) * row**2).sum() == pytest.approx(sigma**2, rel=0.02)  # kernels end at 4.5 sigma


def test_band_pass_lets_no_background_in() -> None:
    mask = np.zeros((200, 200), bool)
    mask[40:160, 40:160] = True
    image = np.where(mask, 0.6, 0.0).astype(np.float32)
    assert np.abs(bandpass.band_pass(image, 2, 12, mask=mask)).max() < 1e-3
    assert np.abs(bandpass.band_pass(image, 2, 12)).max() > 0.1  # without the mask the outline stands out


def test_slopes_of_a_plane_survive_any_layout() -> None:
    mesh = sheet(high_mm=0.0)
    for turn in (0, 1):
        uv = mesh.uv if not turn else mesh.uv[..., ::-1] * (1, -1) + (0, 1)
        surface = read_surface(
            TriangleMesh(mesh.vertices, mesh.faces, uv), np.ones(len(mesh.faces), bool), height=128, width=128
        )
        raster = surface.texels.scatter(0.1 * surface.position[:, 0] - 0.05 * surface.position[:, 1])
        slopes = normal_maps.slopes_from_raster(
            surface.texels, raster, *texels.surface_frames(surface.vertices, surface.faces, uv)
        )
        assert np.allclose(slopes, (0.1, -0.05, 0), atol=2e-3)


def test_tangent_space_of_a_flipped_island_points_along_u_and_v() -> None:
    mesh = sheet(high_mm=0.0)
    for mirror in (1, -1):
        uv = (mesh.uv - 0.5) * (mirror, 1) + 0.5
        surface = read_surface(TriangleMesh(mesh.vertices, mesh.faces, uv), np.ones(len(mesh.faces), bool), height=64, width=64)
        frames = normal_maps.tangent_frames(surface.vertices, surface.faces, uv, surface.vertex_normal)
        slopes = np.tile(np.float32([0.3, 0.1, 0]), (len(surface), 1))
        normals = normal_maps.tangent_space(surface.texels, frames, surface.normal, slopes)
        expected = unit(np.array([-0.3 * mirror, -0.1, 1.0]))  # u runs along x, or against it where mirrored
        assert np.allclose(normals, expected, atol=1e-3)


def test_a_sphere_over_a_floor_hides_the_sky_as_geometry_says() -> None:
    """A point on the floor under a sphere of radius R at distance d from its centre loses (R/d)^2 of a uniform sky's irradiance
    (view factor of a sphere straight above; common knowledge of radiative transfer)."""
    turns, rings = 64, 32
    theta, phi = np.meshgrid(np.linspace(0, np.pi, rings), np.linspace(0, 2 * np.pi, turns, endpoint=False), indexing="ij")
    ball = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], -1).reshape(-1, 3) * 10 + (
        0,
        0,
        20,
    )
    place = np.arange(rings * turns).reshape(rings, turns)
    a, b = place[:-1], place[1:]
    right = lambda field: np.roll(field, -1, 1)  # noqa: E731
    faces = np.concatenate(
        [np.stack([a, b, right(b)], -1).reshape(-1, 3), np.stack([a, right(b), right(a)], -1).reshape(-1, 3)]
    )
    samples = spread_samples(ball, faces, count=100_000, seed=1)
    up = np.array([[0, 0, 1.0]])
    seen = look_round(samples, np.zeros((1, 3)), up, light.half_sphere(512))
    assert light.sky_design(seen, up).sum() == pytest.approx(1 - 0.25, abs=0.03)  # 1024 directions: half a cell of rim


def test_fitted_light_is_never_negative_and_finds_the_window() -> None:
    mesh = sheet(wave_mm=15, high_mm=3.0)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=128, width=128)
    samples = spread_samples(mesh.vertices, mesh.faces, count=60_000, seed=2)
    seen = look_round(samples, surface.vertices, surface.vertex_normal, light.half_sphere(64))
    window = unit(np.array([0.6, 0.2, 0.75]))
    radiance = 0.2 + 6 * np.exp(12 * (seen.directions @ window - 1))
    texture = (light.sky_design(seen, surface.vertex_normal) @ radiance)[:, None] * np.ones(3)
    weight = np.ones(len(texture))
    none = np.zeros_like(texture)
    fitted = light.fit_light(seen, surface.vertex_normal, texture, weight, none)
    assert (fitted.radiance >= 0).all()
    assert fitted.explained > 0.98
    brightest = fitted.directions[np.argmax(fitted.radiance.mean(axis=1))]
    assert brightest @ window > np.cos(np.radians(25))  # directions lie 18 degrees apart


def test_specks_are_found_and_strokes_are_not() -> None:
    rows, columns = np.mgrid[0:200, 0:200]
    rng = np.random.default_rng(0)
    stroke = -0.4 * np.exp(-0.5 * ((rows - 100 - 0.2 * columns) / 2.0) ** 2)
    speck = -0.5 * np.exp(-0.5 * ((rows - 40) ** 2 + (columns - 60) ** 2) / 2.0**2)
    raster = (stroke + speck + rng.normal(0, 0.01, rows.shape)).astype(np.float32)
    found = speckle.speckles(raster, np.ones_like(raster, bool), 0.07)
    assert found[39:42, 59:62].all()
    along = np.abs(rows - 100 - 0.2 * columns) < 1.5
    assert found[along].mean() < 0.25  # with so little grain the threshold is at its lowest; a speck is found whole


def test_patches_carry_a_field_across_islands_unchanged() -> None:
    mesh = sheet(high_mm=0.0)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=256, width=256)
    laid, cloud = patches.lay_patches(surface.position, surface.normal, cell_mm=0.15, seed=1)
    members = laid.members(cloud, 0, min(len(laid), 8))
    smooth = np.sin(surface.position[:, 0] / 2).astype(np.float32)
    means, weight = patches.splat(members, smooth)
    rows, values, _ = patches.read_back(members, patches.filled(means, weight)[:, None])
    place = surface.position[members.texel[rows]]
    inner = (members.weight[rows] > 0.3) & (np.abs(place[:, :2] - 15) < 13).all(axis=1)  # off the sheet's own rim
    assert inner.sum() > 200
    assert np.abs(values[inner, 0] - smooth[members.texel[rows[inner]]]).max() < 0.02  # half a cell of a slope of 0.5 is 0.04


def _photographed(detail_mm: float, speck: bool, seed: int = 0) -> tuple[Photographed, np.ndarray]:
    """A waved sheet lit by one soft lamp, with fine grooves that only the texture knows; and the true slopes (n, 3)."""
    mesh = sheet(60, 40.0, 20.0, 2.0)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=512, width=512)
    rng = np.random.default_rng(seed)
    slope = np.zeros((len(surface), 3), np.float32)
    if detail_mm:
        for _ in range(40):
            wave = unit(np.append(rng.normal(size=2), 0)) * 2 * np.pi / rng.uniform(0.7, 1.6)
            part = detail_mm / np.sqrt(20) * np.cos(surface.position @ wave + rng.uniform(0, 6.28))
            slope += (part[:, None] * wave).astype(np.float32)
    slope -= (slope * surface.normal).sum(1, keepdims=True) * surface.normal
    flux = np.array([0.55, 0.25, 0.8])
    shade = np.maximum(unit(surface.normal - slope) @ flux, 0.02)
    if speck:
        shade = shade * np.where(rng.random(len(shade)) < 0.02, 0.6, 1)
    shade = shade * np.exp(rng.normal(0, 0.01, len(shade)))
    return Photographed(surface, (0.7 * shade[:, None] * np.ones(3)).astype(np.float32)), slope


@cache
def _grooved() -> tuple[Photographed, np.ndarray, Recovery]:
    """A sheet with grooves, their true slopes and what is recovered of them."""
    grained, slope = _photographed(0.02, speck=False)
    return grained, slope, finish(recover([grained], largest_mm=3.0))


def test_relief_comes_back_with_the_right_sign_and_cuts_the_error() -> None:
    _, slope, found = _grooved()
    error = lambda guess: np.median(np.linalg.norm(guess - slope, axis=1))  # noqa: E731
    assert found.found
    assert error(found.relief.slope) < 0.85 * error(0 * slope)  # one light can't see slopes across it
    assert error(-found.relief.slope) > error(0 * slope)


def test_a_smooth_sheet_with_specks_stays_flat() -> None:
    speckled, _ = _photographed(0.0, speck=True)
    found = finish(recover([speckled], largest_mm=3.0))
    tilt = np.degrees(np.median(np.linalg.norm(found.relief.slope, axis=1))) if found.found else 0.0
    assert tilt < 0.5  # the limit that the bench holds too


def test_large_surfaces_are_worked_on_in_coarser_cells_up_to_a_limit() -> None:
    mesh = sheet(20, 40.0, 20.0, 0.0)
    small = read_surface(mesh, np.ones(len(mesh.faces), bool), height=2048, width=2048)
    cells = []
    for scale in (1.0, 5.0, 50.0):  # 1,600, 40,000 and 4,000,000 mm2, at 0.02, 0.1 and 1 mm a texel
        larger = replace(
            small, vertices=small.vertices * scale, position=small.position * scale, texel_mm=small.texel_mm * scale
        )
        cells.append(recovery.cell_mm(larger))
    assert cells[0] == recovery.RECOVERY.cell_mm
    assert cells[1] == pytest.approx(recovery.RECOVERY.cell_mm * np.sqrt(2.0), rel=0.02)
    assert cells[2] == pytest.approx(recovery.RECOVERY.texels_a_cell * 50 * 40 / (0.96 * 2048), rel=0.05)


def test_a_dark_print_is_not_carved() -> None:
    clean, _ = _photographed(0.0, speck=False)
    bands = np.where(np.sin(clean.surface.position[:, 0] * 2 * np.pi / 1.5) > 0.5, 0.08, 1.0)  # a third of it printed dark
    found = finish(recover([replace(clean, colours=clean.colours * bands[:, None].astype(np.float32))], largest_mm=3.0))
    assert found.shaded == 0.0
    assert not found.found


def test_surface_without_its_shared_texels_is_consistent() -> None:
    mesh = sheet(20)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=64, width=64)
    drop = np.zeros(len(surface), bool)
    drop[::3] = True
    fewer = without(surface, drop)
    assert len(fewer) == len(surface) - drop.sum() == len(fewer.position)
    assert np.array_equal(fewer.texels.index, surface.texels.index[~drop])


def test_a_scan_that_shows_a_corner_alone_in_other_paint_takes_nothing_from_the_rest() -> None:
    grained, slope, alone = _grooved()
    corner = grained.surface.position[:, 0] < 6.0
    bands = np.where(np.sin(grained.surface.position[:, 1] * 2 * np.pi / 1.5) > 0.5, 0.08, 1.0)
    painted = (grained.colours * bands[:, None].astype(np.float32))[corner]
    part = Photographed(without(grained.surface, ~corner), painted)
    both = finish(recover([grained, part], largest_mm=3.0))
    away = grained.surface.position[:, 0] > 12.0  # more than half a patch from the corner
    error = lambda guess: np.median(np.linalg.norm((guess - slope)[away], axis=1))  # noqa: E731
    assert both.trust == pytest.approx(alone.trust)
    assert error(both.relief.slope) < 1.02 * error(alone.relief.slope)  # joined by height instead of slope: 2 % either way
