"""Scale bars are round numbers that fit."""

from __future__ import annotations

import pytest

from blender_addon.core.delivery.scale_bar import bar_length


@pytest.mark.parametrize(
    ("room", "bar"), [(1.0, 1.0), (1.99, 1.0), (2.0, 2.0), (4.9, 2.0), (30.0, 20.0), (0.7, 0.5), (99.0, 50.0)]
)
def test_bars_are_one_two_or_five_of_a_decade(room, bar):
    assert bar_length(room) == pytest.approx(bar)


def test_no_room_is_refused():
    with pytest.raises(ValueError):
        bar_length(0.0)
