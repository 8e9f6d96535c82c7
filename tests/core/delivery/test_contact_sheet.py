"""The contact sheet's layout: nothing overlaps, nothing leaves the page, shrinking keeps the mean."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.delivery.contact_sheet import compose, fitted, layout


@pytest.mark.parametrize("aspects", [[1.5], [1.5] * 5, [1.5, 0.67, 1.0, 3.0, 0.5, 1.5], [0.3] * 17])
def test_pictures_stay_apart_and_on_the_page(aspects):
    places, (width, height) = layout(aspects, width=1200, margin=20, caption=24, row_height=260)
    taken = np.zeros((height, width), int)
    for place, aspect in zip(places, aspects, strict=True):
        assert place.x >= 20 and place.x + place.width <= width - 18  # two roundings of half a pixel each
        assert place.width / place.height == pytest.approx(aspect, rel=0.02)  # sizes are whole pixels
        taken[place.y : place.y + place.height + 24, place.x : place.x + place.width] += 1
    assert taken.max() == 1


def test_shrinking_keeps_the_mean_exactly_and_the_picture_in_place():
    rng = np.random.default_rng(0)
    picture = rng.random((97, 131, 3))
    small = fitted(picture, 40, 30)
    assert small.shape == (30, 40, 3)
    assert np.allclose(small.mean(axis=(0, 1)), picture.mean(axis=(0, 1)), atol=1e-9)
    step = np.zeros((100, 100, 1))
    step[:, 50:] = 1
    assert np.array_equal(fitted(step, 10, 10)[0, :, 0], [0] * 5 + [1] * 5)


def test_the_sheet_holds_each_picture():
    places, size = layout([1.0, 1.0], width=300, margin=10, caption=20, row_height=120)
    sheet = compose([np.zeros((9, 9, 3)), np.full((9, 9, 3), 0.5)], places, size)
    assert sheet.shape == (size[1], size[0], 3)
    assert sheet[places[0].y + 1, places[0].x + 1, 0] == 0 and sheet[places[1].y + 1, places[1].x + 1, 0] == 0.5
