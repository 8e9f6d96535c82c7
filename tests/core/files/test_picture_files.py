"""Pictures written by us are read by others as they were meant: pixels, profile, resolution, words.

Readers: Pillow and tifffile (pixels, profile), LittleCMS by Pillow's ImageCms (the profile itself), and Debian's exiftool where
it is installed (words); the test says so where it is not.
"""

from __future__ import annotations

import io
import json
import shutil
import subprocess

import numpy as np
import pytest

from blender_addon.core.files.pictures import icc, png, xmp
from blender_addon.core.files.pictures.jpeg_labels import labelled
from blender_addon.core.files.pictures.labels import Labels
from blender_addon.core.files.pictures.png_writer import write_png
from blender_addon.core.files.pictures.tiff_writer import write_tiff
from blender_addon.core.files.whole import damage

image = pytest.importorskip("PIL.Image")
cms = pytest.importorskip("PIL.ImageCms")
PLAIN = Labels()
WORDS = xmp.PictureWords(
    title='Owl <&"> of "clay"', maker="Åsa & Co", credit="© Åsa 2026", rights="All rights", licence="https://example.org/l",
    accession="1.2", material="Clay", shot="hero",
)  # fmt: skip


def _picture(dtype, channels=3):
    most = np.iinfo(dtype).max
    pixels = np.random.default_rng(4).integers(0, most, (37, 53, channels), endpoint=True).astype(dtype)
    pixels[5:20] = np.linspace(0, most, 53)[None, :, None]
    pixels[20:25] = most
    return pixels


def _png(path, pixels, labels=PLAIN):
    with path.open("wb") as file:
        write_png(file, [pixels[:10], pixels[10:11], pixels[11:]], pixels.shape[1::-1], labels)
    return path


def _tiff(path, pixels, labels=PLAIN):
    with path.open("w+b") as file:
        write_tiff(file, [pixels[:15], pixels[15:30], pixels[30:]], pixels.shape[1::-1], labels)
    return path


def _jpeg(labels=PLAIN):
    held = io.BytesIO()
    image.fromarray(_picture(np.uint8)).save(held, "JPEG", comment="old words", dpi=(9, 9))
    return labelled(held.getvalue(), labels)


@pytest.mark.parametrize("channels", [3, 4])
def test_a_png_of_8_bits_holds_its_pixels(tmp_path, channels):
    pixels = _picture(np.uint8, channels)
    with image.open(_png(tmp_path / "a.png", pixels)) as read:
        assert np.array_equal(np.asarray(read), pixels)


def test_a_png_of_16_bits_holds_its_pixels(tmp_path):
    """Pillow hands out 8 bits of such files, so imageio's free reader of numbers is not to be had; the high bytes are."""
    pixels = _picture(np.uint16)
    with image.open(_png(tmp_path / "a.png", pixels)) as read:
        assert np.array_equal(np.asarray(read), pixels >> 8)
    assert b"\x10\x02" == (tmp_path / "a.png").read_bytes()[24:26], "16 bits, true colour (ISO/IEC 15948, 11.2.2)"


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_tiff_holds_its_pixels(tmp_path, dtype):
    tifffile = pytest.importorskip("tifffile")
    pixels = _picture(dtype)
    assert np.array_equal(tifffile.imread(_tiff(tmp_path / "a.tif", pixels)), pixels)


def test_strips_that_are_not_the_picture_are_refused(tmp_path):
    for write, mode in ((write_png, "wb"), (write_tiff, "w+b")):
        for strips in ([np.zeros((9, 53, 3), np.uint8)], [np.zeros((37, 52, 3), np.uint8)], []):
            with pytest.raises(ValueError), (tmp_path / "x").open(mode) as file:
                write(file, strips, (53, 37), Labels())


def _matrix_of_littlecms(data):
    return cms.ImageCmsProfile(io.BytesIO(data)).profile


@pytest.mark.parametrize("gamut", icc.GAMUTS.values(), ids=icc.GAMUTS)
def test_the_profile_is_one_to_littlecms(gamut):
    profile = _matrix_of_littlecms(icc.profile(gamut))
    assert (profile.profile_description, round(profile.version, 1)) == (gamut.name, 4.3)
    assert profile.xcolor_space.strip() == "RGB" and profile.connection_space.strip() == "XYZ" and profile.is_matrix_shaper
    # The colorants of all three add up to the white D50 of ICC.1:2010; 2 units of 1/65536 from rounding each.
    total = sum(np.array(getattr(profile, f"{name}_colorant")[0]) for name in ("red", "green", "blue"))
    assert np.abs(total - icc.D50).max() < 3 / 65536


def test_our_srgb_is_that_of_littlecms():
    """Every one of 4,096 colours comes out as it went in, both ways: LittleCMS makes its own sRGB by IEC 61966-2-1."""
    ours, theirs = cms.ImageCmsProfile(io.BytesIO(icc.profile(icc.SRGB))), cms.createProfile("sRGB")
    colours = image.fromarray(np.random.default_rng(1).integers(0, 256, (64, 64, 3)).astype(np.uint8))
    for first, other in ((ours, theirs), (theirs, ours)):
        for intent in (cms.Intent.PERCEPTUAL, cms.Intent.RELATIVE_COLORIMETRIC, cms.Intent.ABSOLUTE_COLORIMETRIC):
            changed = cms.profileToProfile(colours, first, other, renderingIntent=intent)
            assert np.array_equal(np.asarray(changed), np.asarray(colours))


@pytest.mark.parametrize("key", ["rec2020", "p3d65"])
def test_a_wide_profile_shows_the_colours_that_were_meant(key):
    """Values that we bring into a wide gamut are brought back by LittleCMS: within 1 of 255, both sides round to 8 bits."""
    from blender_addon.core.delivery.bits import in_gamut

    colours = np.random.default_rng(2).integers(0, 256, (64, 64, 3)).astype(np.uint8)
    wide = in_gamut(colours / np.float32(255.0), icc.GAMUTS[key])
    back = cms.profileToProfile(
        image.fromarray(np.rint(wide * 255).astype(np.uint8)), cms.ImageCmsProfile(io.BytesIO(icc.profile(icc.GAMUTS[key]))),
        cms.createProfile("sRGB"), renderingIntent=cms.Intent.RELATIVE_COLORIMETRIC,
    )  # fmt: skip
    off = np.abs(np.asarray(back).astype(int) - colours)
    assert np.percentile(off, 95) <= 2, "a step of 8 bits in a wide gamut is up to two of sRGB"
    assert off.mean() < 1.0


def test_primaries_are_those_of_the_standards():
    """IEC 61966-2-1 writes its matrix to four digits; its first two rows."""
    published = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722]])
    assert icc.SRGB.to_xyz()[:2] == pytest.approx(published, abs=1e-4)
    # Rec. ITU-R BT.2020-2, table 4: Y' = 0.2627 R' + 0.6780 G' + 0.0593 B'
    assert icc.REC2020.to_xyz()[1] == pytest.approx([0.2627, 0.6780, 0.0593], abs=1e-4)
    assert icc.between(icc.SRGB, icc.P3D65) @ np.ones(3) == pytest.approx(np.ones(3), abs=1e-12)


@pytest.mark.parametrize("kind", ["png", "tiff", "jpeg"])
def test_each_file_carries_its_profile_and_resolution(tmp_path, kind):
    labels = Labels(icc.P3D65, 240.0, WORDS)
    path = tmp_path / f"a.{kind}"
    if kind == "jpeg":
        path.write_bytes(_jpeg(labels))
    else:
        {"png": _png, "tiff": _tiff}[kind](path, _picture(np.uint8), labels)
    with image.open(path) as read:
        assert read.info["icc_profile"] == icc.profile(icc.P3D65)
        assert read.info["dpi"] == pytest.approx((240, 240), abs=0.01), "a PNG's dots a metre are whole"
        read.load()
        assert "comment" not in read.info
    assert xmp.packet(WORDS) in path.read_bytes()


def test_blenders_own_colour_chunks_make_way_for_the_profile(tmp_path):
    held = io.BytesIO()
    image.fromarray(_picture(np.uint8)).save(held, "PNG", dpi=(72, 72))
    data = held.getvalue()
    with_srgb = data[:33] + b"\x00\x00\x00\x01sRGB\x00\xae\xce\x1c\xe9" + data[33:]
    (tmp_path / "a.png").write_bytes(png.labelled(with_srgb, Labels()))
    assert not damage(tmp_path / "a.png")
    written = (tmp_path / "a.png").read_bytes()
    assert b"sRGB\x00" not in written and written.count(b"iCCP") == 1 and b"pHYs" not in written
    with image.open(tmp_path / "a.png") as read:
        assert read.info["icc_profile"] == icc.profile(icc.SRGB)
        assert np.array_equal(np.asarray(read), _picture(np.uint8))


def test_exiftool_reads_the_words(tmp_path):
    """Debian's libimage-exiftool-perl, the names of the IPTC Photo Metadata Standard."""
    if not shutil.which("exiftool"):
        pytest.skip("exiftool is not installed here (Debian: libimage-exiftool-perl)")
    labels = Labels(dpi=300, words=WORDS)
    (tmp_path / "a.jpg").write_bytes(_jpeg(labels))
    paths = [
        tmp_path / "a.jpg",
        _png(tmp_path / "a.png", _picture(np.uint16), labels),
        _tiff(tmp_path / "a.tif", _picture(np.uint16), labels),
    ]
    done = subprocess.run(["exiftool", "-j", "-G1", *map(str, paths)], capture_output=True, text=True, check=True, timeout=60)
    tables = json.loads(done.stdout)
    assert len(tables) == 3
    for table in tables:
        assert not [key for key in table if "Warning" in key or "Error" in key], table
        assert table["XMP-dc:Title"] == WORDS.title and table["XMP-dc:Creator"] == WORDS.maker
        assert table["XMP-photoshop:Credit"] == WORDS.credit and table["XMP-dc:Rights"] == WORDS.rights
        assert table["XMP-xmpRights:WebStatement"] == WORDS.licence and table["XMP-xmpRights:Marked"] is True
        assert table["XMP-iptcExt:ArtworkSourceInventoryNo"] == 1.2 or table["XMP-iptcExt:ArtworkSourceInventoryNo"] == "1.2"
        assert xmp.RENDERED in table["XMP-dc:Description"]
        assert table["ICC_Profile:ProfileDescription"] == icc.SRGB.name
        assert table["ICC-header:ProfileVersion"] == "4.3.0"


@pytest.mark.parametrize("words", ["]]>", "<rdf:li>", "\x00\x08\x1f\ufffe", "\ud800", "a\nb", "&amp;", "'\"", "?>"])
def test_the_packet_is_xml_whatever_the_words(words):
    from xml.etree import ElementTree

    written = xmp.PictureWords(**{name: words for name in vars(WORDS)})
    tree = ElementTree.fromstring(xmp.packet(written).decode())
    assert tree.tag == "{adobe:ns:meta/}xmpmeta"
    creator = [e.text for e in tree.iter("{http://www.w3.org/1999/02/22-rdf-syntax-ns#}li") if e.text == xmp.clean(words)]
    assert creator or not xmp.clean(words)


def test_a_profile_is_the_same_bytes_each_time():
    assert icc.profile(icc.SRGB) == icc.profile(icc.SRGB) and len(icc.profile(icc.SRGB)) < 1000
