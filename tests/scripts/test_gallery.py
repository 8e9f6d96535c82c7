"""Are the pictures of the README made as they should be?"""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from scripts import gallery


def _picture(path, spread: float):
    rng = np.random.default_rng(1)
    y, x = np.mgrid[0:640, 0:960]
    codes = 128 + 60 * np.sin(x / 90) * np.cos(y / 70) + spread * rng.normal(size=(640, 960))
    Image.fromarray(np.clip(codes, 0, 255).astype(np.uint8)).convert("RGB").save(path)
    return path


def test_a_kept_picture_is_as_good_as_fits_and_not_too_large(tmp_path) -> None:
    clean, grainy = _picture(tmp_path / "clean.png", 0.5), _picture(tmp_path / "grainy.png", 14.0)
    best, less = (gallery.keep(picture, picture.with_suffix(".jpg")) for picture in (clean, grainy))
    assert best == 94 and 62 <= less < 94
    assert clean.with_suffix(".jpg").stat().st_size <= 250_000 and grainy.with_suffix(".jpg").stat().st_size <= 250_000


def test_what_does_not_fit_is_refused_and_not_written(tmp_path) -> None:
    with pytest.raises(ValueError, match="does not fit"):
        gallery.keep(_picture(tmp_path / "noise.png", 90.0), tmp_path / "noise.jpg")
    assert not (tmp_path / "noise.jpg").exists()


def test_the_gallery_shows_what_may_be_shown() -> None:
    """Four materials, three sets and our own or public-domain subjects: the others' packages state no licence to pass on."""
    shown = [picture for picture in gallery.PICTURES if picture.shown]
    assert {picture.subject for picture in shown} == {"owl", "hound"}
    assert (
        len({next(s for s in picture.settings if "material.piece" in s) for picture in shown if picture.subject == "owl"}) == 4
    )
    assert len({next(s for s in picture.settings if "tabletop.kind" in s) for picture in shown}) >= 3
    for subject in ("owl", "hound"):
        assert {picture.shot for picture in shown if picture.subject == subject} == {"hero", "detail", "back"}
    assert len({picture.name for picture in gallery.PICTURES}) == len(gallery.PICTURES)
