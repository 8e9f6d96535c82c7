"""Copies keep what was promised: the render's own bits, profile, size in print, credit, scale bar, watermark, whole subject."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon.core.delivery.crop_window import Box
from blender_addon.core.files.pictures import icc
from blender_addon.core.files.pictures.labels import Labels
from blender_addon.core.files.pictures.xmp import PictureWords
from blender_addon.job.errors import OutputError
from blender_addon.scene.delivery.contact_sheet import save_png
from blender_addon.scene.delivery.copies import client_pictures
from blender_addon.scene.delivery.copies.client_pictures import Wanted, write_copy
from blender_addon.scene.delivery.copies.drawn_marks import EDGE, LEAST_LETTERS, LETTERS
from blender_addon.scene.delivery.originals import keep_render, linear_of, original_of, read_picture
from scripts.bench._bits_used import bits_used

image_file = pytest.importorskip("PIL.Image")


@pytest.fixture(scope="module")
def still(tmp_path_factory) -> Path:
    """A still of a smooth ground that is dark on the left and light on the right, with its originals."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.view_settings.view_transform = "Standard"
    image = bpy.data.images.new("light", 360, 240, float_buffer=True)
    pixels = np.ones((240, 360, 4), np.float32)
    pixels[..., :3] = np.linspace(0.02, 0.9, 360)[None, :, None] ** 2
    image.pixels.foreach_set(pixels.ravel())
    path = tmp_path_factory.mktemp("stills") / "pictures" / "hero.png"
    keep_render(scene, path, image)
    bpy.data.images.remove(image)
    return path


def copy(still, tmp_path, kind="png8", *, subject=None, original=True, **more):
    copied = write_copy(still, tmp_path / "copy", Wanted(kind, **more), field_width_mm=90.0, subject=subject, original=original)
    return copied, (read_picture(copied.path) if kind != "exr" else None)


def test_sixteen_bits_are_those_of_the_render(tmp_path):
    """At least 12 bits of distinct levels; the still of 8 bits can't hold more than 8."""
    found = bits_used(tmp_path)
    print(found)
    assert found["still"] <= 8.0
    assert min(found["tiff16"], found["png16"]) >= 15.0, "an even ramp over 153,600 pixels reaches nearly every level"
    assert found["exr"] >= 12.0, "half floats"


def test_a_still_and_its_originals_say_the_same(still):
    shown, original = read_picture(still), read_picture(original_of(still))
    # noise of 8 bits and rounding: one step
    assert np.abs(shown.astype(int) - original).max() <= 257 * 1.001
    assert abs(float(shown.mean()) - float(original.mean())) < 257 * 0.05
    assert linear_of(still).is_file()


def test_a_still_that_was_changed_by_hand_is_copied_as_it_is(still, tmp_path):
    retouched = tmp_path / "pictures" / "hero.png"
    retouched.parent.mkdir()
    save_png(np.full((240, 360, 3), 0.5), retouched)
    original_of(retouched).parent.mkdir()
    original_of(retouched).write_bytes(original_of(still).read_bytes())
    copied, pixels = copy(retouched, tmp_path, "tiff16", original=False)
    assert pixels == pytest.approx(128 * 257, abs=1) and any("8 bits" in words for words in copied.remarks)


@pytest.mark.parametrize("kind", ["png8", "png16", "tiff16", "jpeg"])
@pytest.mark.parametrize("gamut", icc.GAMUTS.values(), ids=icc.GAMUTS)
def test_every_kind_carries_profile_dots_and_words(still, tmp_path, kind, gamut):
    words = PictureWords(title="Owl", credit="© Åsa")
    copied, _ = copy(still, tmp_path, kind, dpi=240, labels=Labels(gamut, words=words))
    data = copied.path.read_bytes()
    assert "© Åsa".encode() in data
    if kind != "tiff16":  # Pillow knows no colours of 16 bits in TIFF files
        with image_file.open(copied.path) as read:
            assert read.info["icc_profile"] == icc.profile(gamut)
            assert read.info["dpi"] == pytest.approx((240, 240), abs=0.01)
    else:
        assert icc.profile(gamut) in data


def test_stills_carry_the_profile_too(still):
    for path in (still, original_of(still)):
        with image_file.open(path) as read:
            assert read.info["icc_profile"] == icc.profile(icc.SRGB)


def test_size_in_print_is_centimetres_at_dots_an_inch(still, tmp_path):
    """100 mm at 300 dots an inch are 100 / 25.4 * 300 = 1181 pixels."""
    copied, pixels = copy(still, tmp_path, print_width_mm=100.0, dpi=300)
    assert copied.size == (1181, 787) and pixels.shape == (787, 1181, 3)


@pytest.mark.parametrize("width", [240, 900, 2400])
def test_the_credit_is_drawn_in_the_corner_and_can_be_read(still, tmp_path, width):
    _, bare = copy(still, tmp_path, width=width)
    copied, drawn = copy(still, tmp_path, width=width, credit="© 2026 Åsa Þórsdóttir")
    changed = (np.abs(drawn.astype(int) - bare) > 6000).any(axis=2)
    rows, columns = np.nonzero(changed)
    height = drawn.shape[0]
    assert rows.min() > 0.8 * height and columns.max() > 0.9 * width and columns.min() > 0.2 * width, "the lower right corner"
    letters = max(LEAST_LETTERS, LETTERS * min(width, height))
    assert letters <= np.ptp(rows) <= 3.2 * letters, "a line of letters with its halo"
    margin = width - 1 - columns.max()
    assert abs(margin - EDGE * letters) <= 0.2 * letters + 3, "the margin, less the halo"
    # The ground is light there: dark letters on it, of at least 4.5 to 1 in luminance (W3C WCAG 2.2, 1.4.3)
    light = (np.median(bare[rows, columns] / 65535.0)) ** 2.2
    dark = (np.percentile(drawn[rows, columns] / 65535.0, 3)) ** 2.2
    assert (light + 0.05) / (dark + 0.05) >= 4.5
    assert not copied.remarks or "as large as" in copied.remarks[0]


def test_a_credit_that_can_not_fit_is_reported(still, tmp_path):
    copied, drawn = copy(still, tmp_path, width=60, credit="A credit that is far too long for so small a picture")
    assert any("does not fit" in words for words in copied.remarks)
    assert np.array_equal(drawn, copy(still, tmp_path, width=60)[1])


def test_a_watermark_is_all_over(still, tmp_path):
    _, bare = copy(still, tmp_path, width=720)
    _, drawn = copy(still, tmp_path, width=720, watermark="PROOF")
    changed = np.abs(drawn.astype(int) - bare).max(axis=2) > 1500
    for row in range(3):
        for column in range(3):
            assert changed[160 * row : 160 * row + 160, 240 * column : 240 * column + 240].mean() > 0.02


def test_a_crop_keeps_the_subject_and_bands_are_reported(still, tmp_path):
    wide = Box(0.05, 0.2, 0.95, 0.8)
    copied, pixels = copy(still, tmp_path, aspect=0.8, subject=wide)
    assert pixels.shape[1] / pixels.shape[0] == pytest.approx(0.8, abs=0.01) and any(
        "bands" in words for words in copied.remarks
    )
    narrow, cropped = copy(still, tmp_path, aspect=0.8, subject=Box(0.8, 0.2, 0.99, 0.8))
    assert not narrow.remarks and cropped.shape == (240, 192, 3)
    assert cropped[120, -1, 0] > read_picture(still)[120, 355, 0], "the frame went to where the subject is"


def test_linear_light_is_handed_over_as_rendered(still, tmp_path):
    copied, _ = copy(still, tmp_path, "exr", credit="© Åsa", width=99, labels=Labels(words=PictureWords(credit="© Åsa")))
    image = bpy.data.images.load(str(copied.path))
    try:
        assert tuple(image.size) == (360, 240) and image.is_float
        assert "© Åsa".encode() in copied.path.read_bytes() and any("linear light" in words for words in copied.remarks)
    finally:
        bpy.data.images.remove(image)


def test_damaged_and_lost_stills_are_refused_by_name(still, tmp_path):
    cut = tmp_path / "pictures" / "hero.png"
    cut.parent.mkdir()
    for data in (still.read_bytes()[:-30], b"", b"no picture at all"):
        cut.write_bytes(data)
        with pytest.raises(OutputError, match=r"hero\.png.*run the render step again"):
            copy(cut, tmp_path, "png8")
    with pytest.raises(OutputError, match="no original in linear light"):
        copy(cut, tmp_path, "exr")


def test_what_would_not_fit_is_refused_with_a_number(still, tmp_path, monkeypatch):
    monkeypatch.setattr(client_pictures, "_free_memory", lambda: 2_000_000_000)
    with pytest.raises(OutputError, match=r"30000 x 20000 px needs about 5\.\d GB .* 2\.0 GB"):
        copy(still, tmp_path, "jpeg", width=30000)
    with pytest.raises(OutputError, match="65535 a side"):
        copy(still, tmp_path, "jpeg", width=30000, aspect=0.2)
    assert not list(tmp_path.glob("copy*"))
