"""Other sizes keep what a picture shows: the same pixels at the same size, means in linear light, no ringing past 0 and 1."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from blender_addon.core.delivery import resampling
from blender_addon.core.delivery.bits import reduced, to_numbers
from blender_addon.core.delivery.crop_window import Window
from blender_addon.core.delivery.marks import DARK, LIGHT, Mark, lay, lay_tiled, slanted, tiled, tone_on, with_halo
from blender_addon.core.delivery.needs import copy_bytes, copy_size
from blender_addon.core.delivery.resampling import strips, taps
from blender_addon.core.srgb import decode, encode


def whole(picture, window, size):
    return np.concatenate([strip for _, strip in strips(picture, window, size)])


def test_a_picture_at_its_own_size_is_the_same_to_the_last_bit():
    picture = np.random.default_rng(1).integers(0, 65536, (50, 70, 3)).astype(np.uint16)
    resized = whole(picture, Window(3, 5, 40, 30), (40, 30))
    assert np.array_equal(to_numbers(resized, 16), picture[5:35, 3:43])


def test_strips_say_the_same_as_the_whole(monkeypatch):
    picture = np.random.default_rng(2).integers(0, 65536, (90, 120, 3)).astype(np.uint16)
    for size in ((300, 225), (31, 23)):
        once = whole(picture, Window(0, 0, 120, 90), size)
        monkeypatch.setattr(resampling, "STRIP_BYTES", 12 * size[0] * 7)
        assert [first for first, _ in strips(picture, Window(0, 0, 120, 90), size)][:3] == [0, 7, 14]
        assert np.abs(whole(picture, Window(0, 0, 120, 90), size) - once).max() < 1e-5  # single precision
        monkeypatch.undo()


def test_fine_black_and_white_shrinks_to_the_grey_of_half_the_light():
    """IEC 61966-2-1: half the light is 0.7354 as shown, not 0.5. Within 0.01, the ripple of the filter at that fineness."""
    picture = np.zeros((200, 200, 3), np.uint16)
    picture[:, ::2] = 65535
    resized = whole(picture, Window(0, 0, 200, 200), (25, 25))
    assert resized[5:-5, 5:-5] == pytest.approx(float(encode(np.float32(0.5))), abs=0.01)


@pytest.mark.parametrize("size", [(7, 5), (33, 80), (200, 150), (701, 3)])
def test_a_flat_picture_stays_flat_and_a_mean_stays(size):
    flat = np.full((40, 60, 3), 30000, np.uint16)
    assert whole(flat, Window(0, 0, 60, 40), size) == pytest.approx(30000 / 65535, abs=2e-5)
    ramp = np.repeat(np.linspace(0, 65535, 60).astype(np.uint16)[None, :, None], 40, 0).repeat(3, 2)
    resized = whole(ramp, Window(0, 0, 60, 40), size)
    assert resized.min() >= 0 and resized.max() <= 1 and (np.diff(resized.mean(axis=(0, 2))) > -1e-6).all()


def test_taps_have_a_sum_of_one_and_lie_in_the_line():
    for length, wanted in ((10, 10), (10, 3), (3, 10), (1, 5), (1000, 999)):
        for widen in (False, True):
            places, weights = taps(length, wanted, widen=widen)
            assert weights.sum(axis=1) == pytest.approx(np.ones(wanted)) and places.min() >= 0 and places.max() < length


def test_bands_take_the_colour_of_their_edge():
    picture = np.zeros((30, 60, 3), np.uint16)
    picture[:15], picture[15:] = 20000, 50000
    resized = whole(picture, Window(0, 0, 60, 30, 0, 15), (60, 60))
    assert resized[:14] == pytest.approx(20000 / 65535, abs=1e-4) and resized[46:] == pytest.approx(50000 / 65535, abs=1e-4)
    sides = whole(picture, Window(0, 0, 60, 30, 20, 0), (100, 30))
    assert sides[:, :19] == pytest.approx(35000 / 65535, abs=1e-4)


def test_memory_does_not_grow_with_the_copy():
    """A copy ten times as high takes no more: two strips, their sources and their rows, in single precision."""
    picture = np.full((60, 90, 3), 9000, np.uint16)
    peaks = []
    for size in ((3000, 2000), (3000, 20000)):
        tracemalloc.start()
        for _, strip in strips(picture, Window(0, 0, 90, 60), size):
            strip.sum()
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0] < 8 * resampling.STRIP_BYTES


def test_sizes_and_needs_are_known_before():
    assert copy_size(Window(0, 0, 900, 600), None) == (900, 600)
    assert copy_size(Window(0, 0, 900, 600, 0, 150), 1800) == (1800, 1800)
    small, large = copy_bytes((900, 600), (900, 600), "jpeg"), copy_bytes((900, 600), (30000, 20000), "jpeg")
    assert small < 300e6 and 4.5e9 < large < 6e9, "8 bytes a pixel of 600 million"
    assert copy_bytes((900, 600), (30000, 20000), "tiff16") < 300e6


def test_eight_bits_keep_whole_numbers_and_the_mean_of_the_rest():
    exact = np.full((64, 64, 3), 77 / 255, np.float32)
    assert (to_numbers(exact, 8) == 77).all()
    between = np.full((256, 256, 3), 77.3 / 255, np.float32)
    resized = to_numbers(between, 8)
    # 77.3 with noise of 0.96: 0.3 +- 0.01 by the noise's span, and 0.002 by chance over 16,384 places
    assert set(np.unique(resized)) == {77, 78} and resized.mean() == pytest.approx(77.3, abs=0.02)
    assert np.array_equal(reduced(np.full((9, 9, 3), 77 * 257, np.uint16)), np.full((9, 9, 3), 77))


def test_marks_lie_where_they_were_put_over_any_strips():
    mask = np.zeros((6, 8), np.float32)
    mask[1:5, 1:7] = 1.0
    picture = np.zeros((40, 50, 3), np.float32)
    once = picture.copy()
    lay(once, 0, [Mark(45, 36, mask, LIGHT), Mark(3, 9, mask, 0.5)])
    parts = []
    for first in range(0, 40, 7):
        strip = picture[first : first + 7].copy()
        lay(strip, first, [Mark(45, 36, mask, LIGHT), Mark(3, 9, mask, 0.5)])
        parts.append(strip)
    assert np.array_equal(np.concatenate(parts), once)
    assert once[10, 4, 0] == 0.5 and once[9, 3, 0] == 0.0 and once[37, 46, 0] == pytest.approx(LIGHT, abs=1e-6)


def test_marks_are_read_on_light_and_dark():
    assert tone_on(np.full((3, 3, 3), 0.9)) == DARK and tone_on(np.full((3, 3, 3), 0.1)) == LIGHT
    ground = np.full((40, 60, 3), 0.5, np.float32)
    ground[:, ::2] = 0.95  # half light, half middling: a halo must part the mark from both
    mask = np.zeros((20, 20), np.float32)
    mask[5:15, 5:15] = 1.0
    lay(ground, 0, with_halo(mask, 20, 10, DARK, reach=2))
    assert ground[20, 30, 0] == pytest.approx(DARK, abs=1e-6) and ground[20, 22:25].min() > 0.6, "the halo is light"


def test_a_watermark_covers_the_picture_and_repeats_without_a_seam():
    tile = slanted(np.ones((4, 20), np.float32), air=3.0)
    assert tile.shape == (16, 32) and 0.1 < tile.mean() < 0.3
    grown = np.tile(tile, (2, 2))
    assert np.array_equal(np.roll(grown, 16, 0), grown)
    strip = np.full((100, 100, 3), 0.5, np.float32)
    lay_tiled(strip, 0, tiled(tile, 2.0, 0.3, reach=1))
    assert 0.05 < (strip > 0.55).mean() < 0.4 and 0.02 < (strip < 0.48).mean() < 0.5, "light letters in a dark halo"
    assert 0.3 < strip.min() and strip.max() < 0.7, "and the picture is still seen"


def test_linear_table_is_the_curve_of_the_standard():
    assert resampling._linear_table()[[0, 2570, 65535]] == pytest.approx(decode(np.array([0, 2570, 65535]) / 65535), abs=1e-7)
