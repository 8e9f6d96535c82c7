"""Crops never cut the subject where it fits; where it does not, bands come in; shapes are read from words."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.delivery.crop_window import Box, crop_window, parse_aspect

ASPECTS = (3 / 2, 1.0, 4 / 5, 16 / 9)


def _cut(window, box, size):
    """By how many pixels the subject lies outside the window on the worst side."""
    left, right = box.left * size[0] - window.x, window.x + window.width - box.right * size[0]
    top, bottom = box.top * size[1] - window.y, window.y + window.height - box.bottom * size[1]
    return -min(left, right, top, bottom, 0.0)


def test_no_crop_of_many_cuts_its_subject():
    """Two thousand subjects anywhere in the picture: none loses a pixel, and the shape is the one asked for within one."""
    rng = np.random.default_rng(8)
    banded = 0
    for _ in range(500):
        size = tuple(int(side) for side in rng.integers(40, 3000, 2))
        x, y = np.sort(rng.random(2)), np.sort(rng.random(2))
        box = Box(float(x[0]), float(y[0]), float(x[1]), float(y[1]))
        for aspect in ASPECTS:
            window = crop_window(size, aspect, box)
            assert _cut(window, box, size) == 0.0
            assert (
                0 <= window.x and window.x + window.width <= size[0] and 0 <= window.y and window.y + window.height <= size[1]
            )
            whole = window.size
            # whole pixels on either side: a band is one pixel out at most, the cut side half a pixel
            assert abs(whole[0] - whole[1] * aspect) <= 1.0 + 1.5 * max(aspect, 1.0)
            banded += window.band_x > 0 or window.band_y > 0
    assert 0 < banded < 1500, "bands are the exception and do occur"


def test_bands_come_only_where_the_subject_is_wider_than_the_frame():
    narrow, wide = Box(0.4, 0.1, 0.6, 0.9), Box(0.05, 0.3, 0.95, 0.7)
    assert crop_window((900, 600), 0.8, narrow).band_y == 0
    window = crop_window((900, 600), 0.8, wide)
    assert window.band_y > 0 and window.band_x == 0 and window.height == 600


def test_the_subject_keeps_its_place_in_the_frame():
    """A subject in the left third of the picture is in the left third of the crop, when it fits there."""
    box = Box(0.25, 0.2, 0.35, 0.8)
    window = crop_window((3000, 1000), 1.5, box)
    assert (0.3 * 3000 - window.x) / window.width == pytest.approx(0.3, abs=0.01)


def test_a_subject_that_the_picture_cuts_already_is_no_reason_for_bands():
    for box in (Box(-0.2, 0.1, 1.2, 0.9), Box(-0.1, 0.2, 0.4, 0.8), None):
        window = crop_window((900, 600), 0.8, box)
        assert (window.band_x, window.band_y, window.x) == (0, 0, 210)


@pytest.mark.parametrize(("words", "aspect"), [("3:2", 1.5), (" 4 : 5 ", 0.8), ("16x9", 16 / 9), ("1.85", 1.85), ("1/1", 1.0)])
def test_shapes_are_read(words, aspect):
    assert parse_aspect(words) == pytest.approx(aspect)


@pytest.mark.parametrize("words", ["", "3:", ":2", "0:1", "1:0", "9:1", "-3:2", "a", "3:2:1", "1e3", "inf", "٣:٢:"])
def test_what_is_no_shape_is_refused(words):
    with pytest.raises(ValueError, match=r"no shape|narrower"):
        parse_aspect(words)
