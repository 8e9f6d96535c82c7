"""A shadow on a transparent picture is smooth where it lies and gone where the picture ends; the subject is not touched."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from blender_addon.core.delivery.cutout_shadow import BAND, STRIP, tidied

HEIGHT, WIDTH = 2 * STRIP + 10, 300


def test_a_speck_goes_and_the_shadow_ends_softly() -> None:
    """Compared with SciPy's median filter, which knows no strips and no subject."""
    rng = np.random.default_rng(5)
    picture = np.zeros((HEIGHT, WIDTH, 4), np.uint8)
    picture[..., 3] = rng.integers(70, 90, (HEIGHT, WIDTH))
    picture[40, 50, 3] = 200
    picture[0, WIDTH - 1, 3] = 50
    found = tidied(picture)[..., 3]
    band = round(BAND * HEIGHT) + 1
    inner = (slice(band, -band), slice(band, -band))
    assert (found[inner] == median_filter(picture[..., 3], 3)[inner]).all()
    assert found[40, 50] < 90
    assert not found[0].any() and not found[-1].any() and not found[:, 0].any() and not found[:, -1].any()
    assert (np.diff(found[HEIGHT // 2, :band].astype(int)) < 20).all(), "no line inside the border either"


def test_the_subject_and_its_edge_stay_and_do_not_darken_the_shadow_beside_them() -> None:
    picture = np.zeros((60, 60, 4), np.uint8)
    picture[..., 3] = 40
    picture[:, :30] = (180, 160, 140, 255)
    picture[:, 30] = (180, 160, 140, 120)  # the edge, half covered
    found = tidied(picture)
    assert (found[:, :31] == picture[:, :31]).all(), "also where it meets the border"
    assert (found[10:50, 31:50, 3] == 40).all()
