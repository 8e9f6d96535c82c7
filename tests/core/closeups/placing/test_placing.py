"""Is a photo's camera found on the picture, from a start that is off and from none, and is it said when nothing is right?

The photos are drawn by the package's own look under other light, so that the truth is known to any digit; how it does on photos
of another renderer, of a piece that is finer than its scan, is measured by `bench closeups`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from blender_addon.core.closeups.camera import PhotoCamera, angle_between, turned
from blender_addon.core.closeups.placing import judging, light, patches, refinement, resection, search
from blender_addon.core.closeups.placing.alignment import Further, aligned, moved_by
from blender_addon.core.closeups.placing.judging import judged
from blender_addon.core.closeups.placing.look import Skin, look
from blender_addon.core.closeups.placing.pictures import Photograph, photograph, smaller
from blender_addon.core.closeups.placing.refinement import Fit, refined
from blender_addon.core.closeups.placing.uncertainty import covariance_of, uncertainty
from blender_addon.core.closeups.seen import Form
from blender_addon.core.mesh.triangles import shading_normals, unit
from blender_addon.core.srgb import encode
from blender_addon.core.surface.bandpass import gaussian_blur
from blender_addon.job.runner import finish

SIZE = (480, 360)
PRIOR = resection.Prior(1.5 * SIZE[0], 1.0)
LAMP = unit(np.array([0.5, -0.6, 0.65]))


@lru_cache(maxsize=2)
def _skin(seed: int = 0) -> Skin:
    """A lump of some 50 mm with a coat of blotches, on 20,000 triangles."""
    rng = np.random.default_rng(seed)
    tall, round_about = 100, 100
    polar, turn = np.meshgrid(
        np.linspace(0.02, np.pi - 0.02, tall), 2 * np.pi * np.arange(round_about) / round_about, indexing="ij"
    )
    ways = np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], axis=2).reshape(-1, 3)
    bumps = sum(
        size * np.sin(ways @ rng.normal(size=3) * wave + rng.uniform(0, 6))
        for size, wave in ((3.0, 3.0), (2.0, 5.0), (0.7, 9.0))
    )
    vertices = ways * (16.0, 13.0, 25.0) + ways * bumps[:, None]
    row, column = np.meshgrid(np.arange(tall - 1), np.arange(round_about), indexing="ij")
    a, b = row * round_about + column, row * round_about + (column + 1) % round_about
    c, d = a + round_about, b + round_about
    faces = np.concatenate([np.stack([a, c, b], 2).reshape(-1, 3), np.stack([b, c, d], 2).reshape(-1, 3)])
    blotches = sum(np.sin(vertices @ (rng.normal(size=3) * wave) + rng.uniform(0, 6)) for wave in (0.5, 0.9, 1.6))
    colours = np.repeat(0.25 + 0.25 / (1 + np.exp(-2.5 * blotches))[:, None], 3, axis=1)
    return Skin(Form(vertices, faces, shading_normals(vertices, faces)), colours=colours, texel_mm=0.8)


def _camera(azimuth: float = 20.0, tilt: float = 15.0, *, wide: float = 75.0, lens: float = 1.4) -> PhotoCamera:
    a, t = np.radians(azimuth), np.radians(tilt)
    back = np.array([np.sin(a) * np.cos(t), -np.cos(a) * np.cos(t), np.sin(t)])
    right = np.array([np.cos(a), np.sin(a), 0.0])
    rotation = turned(np.array([0.02, -0.03, 0.05])) @ np.stack([right, np.cross(-back, right), -back])
    distance = lens * SIZE[0]
    return PhotoCamera(rotation, np.array([1.0, -1.0, 2.0]) - distance / SIZE[0] * wide * rotation[2], distance, 0.004, SIZE)


def _photo(
    camera: PhotoCamera, *, skin: Skin | None = None, mirrored: bool = False, lamp: Any = LAMP, noise: int = 5
) -> Photograph:
    """Under one lamp with its shadows and a room from above, before a grey wall, with noise."""
    skin = skin or _skin()
    seen = look(skin, camera)
    assert seen is not None
    sun = np.maximum(seen.normal @ lamp, 0) * light.unshaded(seen.position, lamp, skin)
    shade = seen.albedo * (0.9 * sun + 0.15 + 0.08 * seen.normal[:, 2])
    grey = np.where(seen.mask(), seen.raster(shade.astype(np.float32)), 0.3)
    grey = gaussian_blur(grey, 0.5) + 0.004 * np.random.default_rng(noise).standard_normal(grey.shape)
    grey = grey[:, ::-1] if mirrored else grey
    return photograph(np.repeat(encode(np.clip(grey, 0, 1))[..., None], 3, axis=2))


def _aside(camera: PhotoCamera, degrees: float) -> PhotoCamera:
    """The camera carried round the piece."""
    turn = turned(np.radians([0.0, 0.3 * degrees, degrees]))
    return PhotoCamera(camera.rotation @ turn.T, turn @ camera.place, camera.distance, 0.0, SIZE)


def _off_mm(camera: PhotoCamera, true: PhotoCamera) -> float:
    points = _skin().form.vertices
    points = points[np.einsum("ij,ij->i", _skin().form.normals, true.place - points) > 0]
    apart = np.linalg.norm(camera.project(points)[0] - true.project(points)[0], axis=1)
    return float(np.median(apart)) * np.linalg.norm(true.place) / true.distance


def test_a_patch_is_found_between_pixels() -> None:
    """A pattern of sines, moved by a known part of a pixel."""
    y, x = np.indices((80, 100)).astype(float)

    def pattern(right: float, up: float) -> np.ndarray:
        return (0.5 + 0.1 * np.sin(0.7 * (x - right)) * np.cos(0.5 * (y - up)) + 0.002 * x).astype(np.float32)

    mask = np.ones((80, 100), bool)
    shown = pattern(0, 0)
    corners = patches.corners_of(shown, mask)
    found = patches.matched(shown, mask, 0.7 * pattern(1.3, -0.6) + 0.1, corners, 3)
    good = found.correlation > 0.9
    assert good.sum() > 20
    assert np.allclose(np.median(found.shift[good], axis=0), (1.3, -0.6), atol=0.05)  # a parabola through a cosine's top


def test_what_is_an_edge_says_nothing_along_itself() -> None:
    x = np.indices((60, 60))[1]
    shown = (0.3 + 0.2 / (1 + np.exp(-(x - 30.0)))).astype(np.float32)
    found = patches.matched(shown, np.ones((60, 60), bool), shown, (np.array([30]), np.array([30])), 3, floor=patches.ON_PHOTO)
    spread = np.linalg.inv(found.whiten[0])
    assert spread[0, 0] < 0.4 and spread[1, 1] > 3 * spread[0, 0]


def test_the_lamp_is_found_by_what_it_lights_and_shades() -> None:
    camera = _camera()
    seen = look(_skin(), camera)
    assert seen is not None
    sun = np.maximum(seen.normal @ LAMP, 0) * light.unshaded(seen.position, LAMP, _skin())
    photo = seen.raster((seen.albedo * (sun + 0.1)).astype(np.float32))
    lamp = light.lamp_of(seen, photo, _skin())
    assert lamp is not None and np.degrees(np.arccos(lamp @ LAMP)) < 12  # the last ring is 9 degrees wide
    fitted = light.fitted(seen, photo, _skin(), lamp)
    assert fitted.explained > 0.8


def test_points_known_along_one_way_each_give_the_camera() -> None:
    camera = _camera()
    rng = np.random.default_rng(2)
    points = _skin().form.vertices[rng.integers(0, len(_skin().form.vertices), 200)]
    turn = rng.uniform(0, np.pi, 200)
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    whiten = np.einsum("ni,nj->nij", way, way) / 0.2 + 1e-3 * np.eye(2)
    pixels = (
        camera.project(points)[0] + 5.0 * rng.normal(size=(200, 1)) * way[:, ::-1] * (-1, 1) + 0.2 * rng.normal(size=(200, 2))
    )
    found = resection.resected(_aside(camera, 3.0), resection.Seen(points, pixels, whiten), PRIOR)
    assert _off_mm(found, camera) < 0.05 and angle_between(found.rotation, camera.rotation) < 0.3


def test_what_all_points_have_in_common_moves_the_camera_less() -> None:
    """All that is seen lies 0.6 mm above the scan, which makes the piece look larger than it is; some of it is told apart."""
    camera, skin = _camera(), _skin()
    seen = np.einsum("ij,ij->i", skin.form.normals, camera.place - skin.form.vertices) > 20.0
    points, normals = skin.form.vertices[seen], skin.form.normals[seen]
    pixels = camera.project(points + 0.6 * normals)[0]
    plain = resection.Seen(points, pixels, np.broadcast_to(np.eye(2) / 0.3, (len(points), 2, 2)))
    drift = refinement._drift(camera, points, normals, skin.texel_mm)
    assert drift[:, :, 0] == pytest.approx(  # a texel is 0.8 mm, and one standard deviation of the height 0.75 of it
        camera.project(points + 0.6 * normals)[0] - camera.project(points)[0]
    )
    off = [
        float(np.linalg.norm(resection.resected(camera, replace(plain, drift=known), PRIOR).place - camera.place))
        for known in (None, drift)
    ]
    assert off[1] < 0.3 * off[0]


def test_a_larger_copy_is_compared_only_where_the_scan_has_detail_for_it() -> None:
    camera = _camera()
    seen = look(_skin(), camera)
    assert seen is not None
    found = refinement._Matched(seen, light.Light(np.zeros(9), None, 0.0), resection.Seen(*np.zeros((3, 0))), np.zeros(0), 0)
    larger, same = np.zeros((1500, 2000), np.float32), np.zeros((750, 1000), np.float32)
    at_1000_mm = seen.pixel_mm * SIZE[0] / refinement.ALWAYS
    for texel_mm, level, shows in ((at_1000_mm / 2, larger, True), (at_1000_mm / 2, same, False), (at_1000_mm, larger, False)):
        skin = Skin(_skin().form, texel_mm=texel_mm)
        assert refinement._shows_more(level, (camera, 1.0, found, PRIOR), skin) is shows


@pytest.mark.parametrize("degrees", [4.0, 9.0])
def test_a_camera_that_is_off_is_brought_into_place_on_the_picture(degrees: float) -> None:
    camera = _camera()
    fit = refined(_aside(camera, degrees), _photo(camera), _skin(), PRIOR)
    assert isinstance(fit, Fit)
    assert angle_between(fit.camera.rotation, camera.rotation) < 0.5
    assert _off_mm(fit.camera, camera) < 0.1  # half a pixel of 0.16 mm
    assert fit.shift_mm < 0.4
    # on 480 pixels of a small lump the distance is hard to tell from the image distance: that is said, and the rest is sure
    off = 100 * float(np.linalg.norm(fit.camera.place - camera.place)) / float(np.linalg.norm(camera.place))
    assert 0.5 < fit.place_percent < 2.0 and off < 3 * fit.place_percent
    assert judged(fit)[0] == "not sure" and "distance is known to" in judged(fit)[1]
    assert judged(replace(fit, place_percent=judging.MOST_PLACE)) == ("sure", "")


def test_what_is_uncertain_of_a_camera_is_as_far_off_as_cameras_are() -> None:
    """Patches with errors of their own, and with a wave of errors over the photo that each draws anew."""
    camera, form, rng = _camera(wide=60.0, lens=1.0), _skin().form, np.random.default_rng(4)
    seen = np.flatnonzero(np.einsum("ij,ij->i", form.normals, camera.place - form.vertices) > 20.0)[::4]
    points, at = form.vertices[seen], camera.project(form.vertices[seen])[0]
    plain, predicted = [], []
    for together in (0.0, 1.0):
        off, said = [], []
        for _ in range(12):
            errors = 0.4 * rng.normal(size=at.shape)
            for _ in range(6):  # waves of a tenth of the piece and more
                wave = rng.normal(size=2) / 20.0
                errors += together * 0.25 * rng.normal(size=2) * np.sin(at @ wave + rng.uniform(0, 6))[:, None]
            given = resection.Seen(points, at + errors, np.broadcast_to(np.eye(2) / 0.4, (len(at), 2, 2)))
            scale = max(0.5, refinement._typical(camera, given))
            found = resection.resected(camera, given, PRIOR, scale=scale)
            covariance = covariance_of(found, given, PRIOR, scale, diagonal=460.0)
            said.append(uncertainty(found, given, covariance).place_percent)
            off.append(100 * float(np.linalg.norm(found.place - camera.place)) / float(np.linalg.norm(camera.place)))
        plain.append(float(np.sqrt(np.mean(np.square(off)))))
        predicted.append(float(np.mean(said)))
    assert plain[1] > 1.5 * plain[0]  # what neighbours share moves a camera further
    for off, said in zip(plain, predicted, strict=True):
        assert 0.25 * said < off < 1.3 * said, (plain, predicted)  # of 12 cameras the root mean square is known to a fifth


def test_a_longer_lens_leaves_the_place_less_certain() -> None:
    def said(lens: float) -> float:
        camera = _camera(lens=lens)
        points = _skin().form.vertices[np.einsum("ij,ij->i", _skin().form.normals, camera.place - _skin().form.vertices) > 20.0]
        pixels = camera.project(points)[0] + 0.5 * np.random.default_rng(1).normal(size=(len(points), 2))
        seen = resection.Seen(points, pixels, np.broadcast_to(np.eye(2) / 0.5, (len(points), 2, 2)))
        covariance = covariance_of(camera, seen, resection.Prior(camera.distance, 1.0), 1.0, diagonal=400.0)
        return uncertainty(camera, seen, covariance).place_percent

    near, far = said(0.8), said(3.0)
    assert far > 2.5 * near  # perspective falls with the distance


def test_a_patch_lit_otherwise_is_found_where_it_is() -> None:
    """Strokes that the look has lit from the left and the photo from below, too: alone they seem shifted."""
    rng = np.random.default_rng(5)
    height = gaussian_blur(rng.normal(size=(120, 120)).astype(np.float32), 2.5) * 20
    up, across = (slope.astype(np.float32) for slope in np.gradient(height))
    shown, photo = 0.5 + 0.1 * across + 0.05 * height, 0.5 + 0.08 * up + 0.08 * across
    mask, corners = np.ones(shown.shape, bool), patches.corners_of(shown, np.ones(shown.shape, bool))
    off = []
    for mixed in ((), (height, across, up)):
        found = patches.matched(shown, mask, photo, corners, 4, mixed=mixed)
        good = found.correlation > 0
        off.append(float(np.median(np.linalg.norm(found.shift[good], axis=1))))
        assert good.sum() > 20
    assert off[1] < 0.1 < off[0] / 3  # pixels


def test_another_piece_and_a_mirrored_photo_are_not_called_sure() -> None:
    camera = _camera()
    for photo in (_photo(camera, mirrored=True), _photo(camera, skin=_skin(3))):
        assert judged(refined(camera, photo, _skin(), PRIOR))[0] != "sure"


def test_a_photo_of_a_part_of_the_piece_finds_its_place_without_a_start() -> None:
    looks = [
        view for azimuth in (0, 60, 120, 180, 240, 300)
        if (view := search._view(_skin(), search._level(np.radians(azimuth), np.radians(20.0)))) is not None
    ]  # fmt: skip
    camera = _camera(235.0, 25.0, wide=40.0, lens=2.5)
    best, other = finish(search.found(_photo(camera), _skin(), looks, camera.distance))
    assert best is not None
    assert judged(replace(best, place_percent=0.3), other)[0] == "sure"  # but for its distance, at 480 pixels
    assert angle_between(best.camera.rotation, camera.rotation) < 0.5


def test_a_likely_camera_is_turned_until_it_explains_the_photo_better() -> None:
    """From 18 degrees aside, further than half of the way between two looks, on a photo of more than the piece."""
    camera = _camera(wide=105.0)
    start = search.Candidate(_aside(camera, 18.0), 0.0, 105.0 / _skin().reach)
    nearer = search._climbed(start, _photo(camera), _skin())
    assert angle_between(nearer.camera.rotation, camera.rotation) < 9.0
    assert nearer.worth > 0


def test_a_piece_that_is_small_on_the_photo_is_looked_for_on_larger_copies() -> None:
    for width, factor in ((0.4, 1), (1.6, 2), (3.0, 4)):
        steps = search._steps(search.Candidate(_camera(), 0.0, width))
        assert steps == [(factor * longest, reach) for longest, reach in search.QUICK]


def test_a_photo_of_a_hand_is_aligned_with_the_first_by_what_the_scan_does_not_have() -> None:
    """The scan here has no colour at all; the lamp stands elsewhere."""
    form = _skin().form
    plain = Skin(form, texel_mm=0.8)
    first = _camera(40.0, 20.0, wide=40.0, lens=2.5)
    turn = turned(np.radians([0.6, -0.5, 0.8]))
    second = PhotoCamera(turn @ first.rotation, first.place + (1.2, -0.8, 0.9), first.distance, first.radial, SIZE)
    found = aligned(_photo(second, lamp=unit(np.array([-0.2, -0.8, 0.5]))), _photo(first), first, plain)
    assert found is not None and found.holds
    points = form.vertices[np.einsum("ij,ij->i", form.normals, first.place - form.vertices) > 30.0]
    apart = np.linalg.norm(found.camera.project(points)[0] - second.project(points)[0], axis=1)
    before = np.linalg.norm(first.project(points)[0] - second.project(points)[0], axis=1)
    assert np.median(before) > 15 and np.median(apart) < 0.5  # pixels


def test_a_hand_that_moved_by_a_third_of_the_photo_is_found_under_a_lamp_from_the_other_side() -> None:
    first = _camera(40.0, 20.0, wide=40.0, lens=2.5)
    second = PhotoCamera(turned(np.radians([3.0, -5.5, 1.0])) @ first.rotation, first.place + 1.0, first.distance, 0.0, SIZE)
    other_lamp = unit(np.array([-0.8, -0.4, 0.2]))
    cameras = Further(_pixels(_photo(first)), first, Skin(_skin().form, texel_mm=0.8))
    found = cameras.camera_of(_pixels(_photo(second, lamp=other_lamp)))
    assert found is not None
    points = _skin().form.vertices[np.einsum("ij,ij->i", _skin().form.normals, first.place - _skin().form.vertices) > 30.0]
    apart = np.linalg.norm(found.project(points)[0] - second.project(points)[0], axis=1)
    before = np.linalg.norm(first.project(points)[0] - second.project(points)[0], axis=1)
    assert np.median(before) > 0.2 * SIZE[0] and np.median(apart) < 1.0
    assert cameras.camera_of(_pixels(_photo(second))[::-1]) is None  # upside down it shows nothing of the first


def _pixels(photo: Photograph) -> np.ndarray:
    return np.repeat(photo.levels[0][..., None], 3, axis=2)


def test_a_camera_that_moved_is_distinguished_from_a_lamp_that_did() -> None:
    camera = _camera(wide=50.0)
    first, other_lamp = _photo(camera), _photo(camera, lamp=LAMP * (-1.0, 1.0, 1.0), noise=6)
    assert moved_by(other_lamp, first) == 0.0
    for pixels in (4, -15):
        aside = Photograph(first.size, [np.roll(other_lamp.levels[0], pixels, axis=1)])
        assert moved_by(aside, first) == pytest.approx(abs(pixels), abs=1.0)
    assert moved_by(_photo(_camera(200.0)), first) == 0.0  # another side: nothing to go by


def test_a_photo_from_near_is_checked_at_the_size_of_the_scans_texels() -> None:
    assert [refinement._check_size(across, 0.1) for across in (150.0, 50.0, 36.0, 20.0, 5.0)] == [500, 500, 250, 125, 125]


def test_a_photo_of_another_side_is_not_aligned() -> None:
    found = aligned(_photo(_camera(140.0)), _photo(_camera(20.0)), _camera(20.0), _skin())
    assert found is None or not found.holds


def test_a_smaller_picture_keeps_its_places() -> None:
    """A ramp stays the same ramp when the pixels get 2.5 times as large."""
    ramp = np.tile(np.arange(100, dtype=np.float32), (60, 1))
    small = smaller(ramp, 2.5)
    assert small.shape == (24, 40)
    assert np.allclose(small[10, 3:-3], (np.arange(40) * 2.5 + 0.75)[3:-3], atol=0.02)
