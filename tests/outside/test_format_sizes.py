"""Sensor formats against published sizes and the open lens database."""

import pytest

from blender_addon.core.shots.formats import BY_KEY


@pytest.mark.parametrize(("key", "width", "height"), [
    ("full_frame", 36.0, 24.0), ("aps_c", 23.7, 15.7), ("aps_c_small", 22.3, 14.9), ("four_thirds", 17.3, 13.0),
    ("two_thirds", 8.8, 6.6), ("one_1_7", 7.6, 5.7), ("one_1_8", 7.18, 5.32), ("one_2", 6.4, 4.8), ("one_2_3", 6.16, 4.62),
    ("one_2_5", 5.76, 4.29),
])  # fmt: skip
def test_published_sizes(key, width, height):
    """36 x 24 mm: ISO 1007 (135 film). 17.3 x 13.0 mm: the Four Thirds standard. 22.3 x 14.9 mm: Canon's specification of the
    EOS 7D. 8.8 x 6.6 and 6.4 x 4.8 mm: the images of 2/3- and 1/2-inch camera tubes, 4:3 on diagonals of 11 and 8 mm. No
    standard defines the other inch types: they and 23.7 x 15.7 mm are typical of makers' specifications, from memory; the crop
    factors below hold them to an open database."""
    assert (BY_KEY[key].width_mm, BY_KEY[key].height_mm) == (width, height)


@pytest.mark.parametrize(("key", "factor"), [
    ("full_frame", 1.000), ("aps_c", 1.522), ("four_thirds", 1.999), ("one_inch", 2.727), ("two_thirds", 3.933),
])  # fmt: skip
def test_crop_factors(key, factor):
    """43.27 mm over the diagonal; own arithmetic."""
    assert BY_KEY[key].crop == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize(("key", "maker", "model", "tolerance"), [
    ("full_frame", "Nikon", "D850", 0.005), ("aps_c", "Nikon", "D7000", 0.005), ("aps_c_small", "Canon", "EOS 7D", 0.005),
    ("four_thirds", "Olympus", "E-M5", 0.005), ("one_inch", "Nikon", "1 J1", 0.005), ("one_1_7", "Canon", "G12", 0.03),
    ("one_2_3", "Canon", "SX50", 0.03),
])  # fmt: skip
def test_crop_factors_of_the_lens_database(key, maker, model, tolerance):
    """lensfun's cameras, by lensfunpy; inch types are names and vary by maker, hence 3 % there."""
    lensfun = pytest.importorskip("lensfunpy")
    found = [camera for camera in lensfun.Database().find_cameras(maker, model, True) if model in camera.model]
    assert found, f"{maker} {model} is not in the database"
    assert min(abs(BY_KEY[key].crop / camera.crop_factor - 1) for camera in found) < tolerance


def test_inch_types_follow_the_16_and_18_mm_rule():
    """Diagonal = 16 mm x type from 1/2 inch up, 18 mm x type below (common practice); 7 %, since types are only names."""
    for key, size in (("two_thirds", 2 / 3), ("one_1_7", 1 / 1.7), ("one_1_8", 1 / 1.8), ("one_2", 0.5)):
        assert BY_KEY[key].diagonal_mm == pytest.approx(16 * size, rel=0.07)
    for key, size in (("one_2_3", 1 / 2.3), ("one_2_5", 1 / 2.5), ("one_2_55", 1 / 2.55)):
        assert BY_KEY[key].diagonal_mm == pytest.approx(18 * size, rel=0.07)
