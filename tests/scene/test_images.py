"""Is a picture looked at as Blender would reduce it, and is what the user painted seen?"""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon.core.arrays import Floats
from blender_addon.scene import images

pytestmark = pytest.mark.usefixtures("empty_scene")


def _picture(width: int, height: int, seed: int = 1) -> Floats:
    """(height, width, 4) opaque, in steps of 1/255 as a file of 8 bits holds."""
    pixels = np.random.default_rng(seed).integers(0, 256, (height, width, 4)) / 255.0
    pixels[..., 3] = 1.0
    return pixels.astype(np.float32)


@pytest.mark.parametrize("size", [(1024, 1024), (1024, 512), (256, 2048)])
def test_a_look_shows_the_means_of_the_pixels_as_blender_scales_them(size: tuple[int, int]) -> None:
    """Blender's own copy is rounded to 8 bits, along one side and then along the other: it is off by up to 2.5/255 on noise, as
    measured in 5.2, and not to one side."""
    pixels = _picture(*size)
    image = images.make_image("Look", pixels)
    (wide, high), step = images.working_size(image, 512), max(size) // 512
    seen = images.look_at(image, 512)
    assert seen.shape == (high, wide, 4)
    assert seen == pytest.approx(pixels.reshape(high, step, wide, step, 4).mean(axis=(1, 3)), abs=1e-6)
    off = seen - images.read_pixels(image, limit=512)
    assert np.abs(off).max() < 3 / 255 and abs(float(off.mean())) < 0.1 / 255
    assert tuple(image.size) == size and not image.is_dirty


@pytest.mark.parametrize("size", [(1023, 700), (600, 515), (300, 200)])
def test_what_can_not_be_halved_evenly_is_read_as_ever(size: tuple[int, int]) -> None:
    image = images.make_image("Look", _picture(*size))
    assert np.array_equal(images.look_at(image, 512), images.read_pixels(image, limit=512))


def test_a_large_picture_is_not_read_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    image = images.make_image("Look", _picture(1024, 1024))
    monkeypatch.setattr(images, "LOOKED", 1024 * 1023)
    assert np.array_equal(images.look_at(image, 512), images.read_pixels(image, limit=512))


def test_unsaved_painting_is_looked_at(tmp_path: Path) -> None:
    image = images.make_image("Look", _picture(1024, 1024))
    image.pixels.foreach_set(np.tile(np.array([0.2, 0.4, 0.6, 1.0], np.float32), 1024 * 1024))
    image.update()
    assert image.is_dirty
    assert images.look_at(image, 512)[100, 100, :3] == pytest.approx([0.2, 0.4, 0.6], abs=0.5 / 255)


def test_a_missing_picture_has_nothing_to_look_at(tmp_path: Path) -> None:
    image = bpy.data.images.new("Gone", 8, 8)
    image.source, image.filepath = "FILE", str(tmp_path / "gone.png")
    with pytest.raises(ValueError, match="no pixels"):
        images.look_at(image, 512)
