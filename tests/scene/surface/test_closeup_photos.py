"""Is a photo read the way it was held, with what its file says of the lens?

Pillow's `ImageOps.exif_transpose` is the other reader of the orientation (CIPA DC-008, 4.6.4 A).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from blender_addon.job.errors import InputError
from blender_addon.scene.surface.closeup_photos import read_photo


def _photo(path: Path, orientation: int) -> Path:
    pixels = np.zeros((300, 420, 3), np.uint8)
    pixels[:60, :80], pixels[200:, 300:] = (255, 0, 0), (0, 255, 0)
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif.get_ifd(0x8769)[0xA405] = 50
    Image.fromarray(pixels).save(path, exif=exif.tobytes(), quality=95)
    return path


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_is_turned_as_it_was_held(tmp_path: Path, orientation: int) -> None:
    path = _photo(tmp_path / "photo.jpg", orientation)
    photo = read_photo(path, longest=2400)
    wanted = np.asarray(ImageOps.exif_transpose(Image.open(path)))[::-1] / 255.0
    assert photo.size == wanted.shape[1::-1]
    assert np.abs(photo.pixels - wanted).max() < 2 / 255  # two decoders of one JPEG differ by a level
    assert photo.distance == pytest.approx(50.0 / np.hypot(36, 24) * np.hypot(420, 300))


def test_a_large_photo_is_made_smaller_by_whole_blocks(tmp_path: Path) -> None:
    photo = read_photo(_photo(tmp_path / "photo.jpg", 1), longest=210)
    assert photo.pixels.shape == (150, 210, 3) and photo.size == (420, 300)
    assert np.allclose(photo.pixels[-1, 0], (1, 0, 0), atol=0.02)  # the top left corner, row 0 at the bottom


def test_a_screenshot_of_a_few_pixels_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "small.png"
    Image.new("RGB", (90, 60)).save(path)
    with pytest.raises(InputError, match="only 90 x 60 pixels"):
        read_photo(path, longest=2400)


def test_photos_by_one_lens_that_was_not_zoomed_are_known_as_such(tmp_path: Path) -> None:
    def optics(name: str, size: tuple[int, int] = (420, 300), **changed: object) -> str:
        fields = {"model": "M1", "lens": "L1", "focal": 4.25, "film": 26} | changed
        exif = Image.Exif()
        exif[0x0110] = fields["model"]
        inner = exif.get_ifd(0x8769)
        inner[0xA434], inner[0xA405], inner[0x920A] = fields["lens"], fields["film"], fields["focal"]
        Image.new("RGB", size).save(tmp_path / name, exif=exif.tobytes())
        photo = read_photo(tmp_path / name, longest=2400)
        assert photo.sensor.longest_mm == pytest.approx(7.073 * max(size) / np.hypot(*size), rel=1e-3) or changed
        return photo.optics

    known = optics("first.jpg")
    assert known and optics("again.jpg") == known == optics("upright.jpg", (300, 420))
    others = [optics("other.jpg", **changed) for changed in ({"model": "M2"}, {"lens": "L2"}, {"focal": 5.5}, {"film": 52})]
    assert len({known, optics("cropped.jpg", (400, 300)), *others}) == 6
    assert read_photo(_photo(tmp_path / "photo.jpg", 1), longest=2400).optics == ""  # no camera is named
