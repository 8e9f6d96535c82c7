"""What pictures will cost is reckoned from a few tries, and the time left follows what they really take."""

from __future__ import annotations

import pytest

from blender_addon.core.delivery.cost import Pace, Trial, disk_bytes, in_words, memory_bytes, picture_seconds, size_in_words


def test_two_tries_tell_the_fixed_part_from_that_by_pixels() -> None:
    def seconds(pixels: int) -> float:
        return 2.0 + 3e-5 * pixels

    small, large = (Trial(pixels, seconds(pixels)) for pixels in (93_750, 375_000))
    assert picture_seconds(small, large, 6_000_000) == pytest.approx(seconds(6_000_000))
    assert picture_seconds(Trial(100, 2.5), Trial(400, 2.4), 6_000_000) == 2.5, "no slower: all is the fixed part"
    with pytest.raises(ValueError, match="more pixels"):
        picture_seconds(large, small, 1)


def test_time_left_goes_over_from_what_was_expected_to_what_is() -> None:
    pace = Pace({"still": 2, "frame": 10}, {"still": 100.0, "frame": 4.0})
    assert pace.seconds() == 240.0
    pace.took("still", 150.0, 1)
    assert pace.seconds() == 150.0 + 40.0, "the first that was measured counts for the next"
    pace.took("still", 50.0, 2)
    assert pace.seconds() == 40.0
    assert Pace({"still": 1}, {}).seconds() is None, "nothing is known of it"
    assert Pace({"frame": 10}, {"frame": 4.0}, speed=2.0).seconds() == 20.0


def test_disk_and_memory_are_never_too_little() -> None:
    """A still of noise leaves 3 + 6 + 6 bytes a pixel unpacked; the largest size that can be asked for is a few dozen GB."""
    pixels = 3000 * 2000
    assert disk_bytes({"still": [pixels] * 3, "frame": [960 * 640] * 24}) >= 15 * 3 * pixels + 3 * 24 * 960 * 640
    assert 2.8e9 < memory_bytes(pixels) < 4e9
    assert memory_bytes(16384 * 10923) > 3e10


def test_spans_are_said_as_people_do() -> None:
    assert [in_words(span) for span in (0.2, 80, 95, 3600, 9000)] == ["1 s", "80 s", "2 min", "60 min", "2 h 30 min"]
    assert [size_in_words(count) for count in (10, 48_400_000, 2_840_000_000)] == ["1 MB", "48 MB", "2.8 GB"]
