"""Small pictures as PNG: Pillow, another reader, sees the same pixels; damage is refused."""

from __future__ import annotations

import io

import numpy as np
import pytest

from blender_addon.core.files.pictures.png8 import png8, read_png8


def test_another_reader_and_our_own_see_the_same_pixels():
    pillow = pytest.importorskip("PIL.Image")
    picture = np.random.default_rng(1).integers(0, 256, (7, 13, 3)).astype(np.uint8)
    data = png8(picture)
    assert (np.asarray(pillow.open(io.BytesIO(data))) == picture).all()
    assert (read_png8(data) == picture).all()


def test_what_is_no_such_picture_is_refused():
    data = png8(np.zeros((4, 4, 3), np.uint8))
    for broken in (b"", b"GIF89a", data[:40], data[:20] + b"\xff" * 4 + data[24:]):
        with pytest.raises(ValueError, match="PNG"):
            read_png8(broken)
    with pytest.raises(ValueError, match="shape"):
        png8(np.zeros((4, 4), np.uint8))
