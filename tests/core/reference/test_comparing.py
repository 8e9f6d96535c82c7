"""How far render and photo are apart, and the photo as a straight lens has it."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.closeups.camera import PhotoCamera
from blender_addon.core.colour import delta_e_2000, lab
from blender_addon.core.reference.comparing import BESIDE, FULL_COLOUR, PAPER, TONE, as_picture, difference, inner
from blender_addon.core.reference.lens import optics_of, straightened, without_bend
from blender_addon.core.srgb import decode

SIZE = (120, 90)


def _disc() -> np.ndarray:
    row, column = np.indices(SIZE[::-1])
    return (row - 45) ** 2 + (column - 60) ** 2 < 35**2


def test_two_plain_colours_differ_by_their_ciede2000_and_not_in_form() -> None:
    first, second = np.full((*SIZE[::-1], 3), (0.6, 0.5, 0.4)), np.full((*SIZE[::-1], 3), (0.55, 0.5, 0.45))
    found = difference(first, second, _disc())
    true = float(delta_e_2000(lab(decode(first[0, 0])), lab(decode(second[0, 0]))))
    assert abs(found.colour_mean - true) < 1e-3 and abs(found.colour_most - true) < 1e-3
    assert found.colour[0, 0] == 0.0 and found.form_share < 1e-6


def test_strokes_that_are_there_agree_and_strokes_that_lack_do_not() -> None:
    row, column = np.indices(SIZE[::-1])
    strokes = 0.5 + 0.08 * np.sin(2 * np.pi * column / 7.0) * np.sin(2 * np.pi * row / 9.0)
    light = 0.2 * (row / 90.0 - 0.5)
    photo, plain = (np.repeat((values + light)[..., None], 3, axis=2) for values in (strokes, np.full(row.shape, 0.5)))
    tilted = np.repeat((strokes - light)[..., None], 3, axis=2)
    same, other, lacking = (
        difference(photo, photo, _disc()),
        difference(photo, tilted, _disc()),
        difference(photo, plain, _disc()),
    )
    assert same.form_alike > 0.999 and same.colour_mean == 0.0
    assert other.form_alike > 0.8 and other.colour_mean > 3.0  # another light, the same strokes
    assert abs(lacking.form_alike) < 0.3 and lacking.form_share > 5 * other.form_share
    with pytest.raises(ValueError, match="next to nothing"):
        difference(photo, plain, np.zeros(row.shape, bool))


def test_the_picture_of_a_difference_is_one_hue_from_paper_to_tone() -> None:
    piece = _disc()
    values = np.linspace(0, 2 * FULL_COLOUR, piece.size).reshape(piece.shape)
    shown = as_picture(values, piece, FULL_COLOUR)
    assert (shown[~piece] == BESIDE).all()
    assert (shown[piece][-1] == TONE).all()
    share = (shown[piece].astype(float) - PAPER) / (TONE - PAPER)
    assert np.ptp(share, axis=1).max() < 0.02  # all channels along one line, rounded to 8 bits
    whole = inner(np.ones((20, 30), bool), 3)
    assert whole.sum() == 14 * 24 and not inner(piece, 40).any()


def test_a_photo_without_its_bend_has_points_where_the_straight_camera_has_them() -> None:
    camera = PhotoCamera(np.eye(3), np.zeros(3), 150.0, 0.06, SIZE)
    points = np.array([[x, y, 100.0] for x in (-30.0, -10.0, 15.0) for y in (-20.0, 8.0, 22.0)])
    row, column = np.indices(SIZE[::-1])
    for point in points:
        bent, straight = (lens.project(point[None])[0][0] for lens in (camera, without_bend(camera)))
        spot = np.exp(-0.5 * ((column + 0.5 - bent[0]) ** 2 + (90 - (row + 0.5) - bent[1]) ** 2) / 2.0**2)
        seen = straightened(np.repeat(spot[..., None], 3, axis=2).astype(np.float32), camera)[..., 0]
        middle = np.array([(seen * (column + 0.5)).sum(), (seen * (90 - (row + 0.5))).sum()]) / seen.sum()
        assert np.linalg.norm(middle - straight) < 0.15  # pixels; it moves by up to 2
    plain = np.zeros((90, 120, 3), np.float32)
    assert straightened(plain, without_bend(camera)) is plain


def test_the_lens_has_the_photos_angle_and_holds_the_piece_sharp() -> None:
    camera = PhotoCamera(np.eye(3), np.zeros(3), 3000.0, 0.0, (4000, 3000))
    lens = optics_of(camera, np.array([250.0, 330.0]), (36.0, 24.0), 0.0288)
    # the used part of a 36 x 24 mm sensor for 4:3 is 32 x 24 mm; the image lies 3000/4000 of its width behind the lens
    image = lens.focal_mm * (1 + lens.magnification)
    assert abs(image - 24.0) < 1e-6
    assert 250.0 < lens.focus_mm < 330.0
