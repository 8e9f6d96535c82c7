"""Does `photos FOLDER` leave a page and a list beside a folder, and the folder as it was?"""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")
image = pytest.importorskip("PIL.Image")

from blender_addon.cli import main  # noqa: E402  Blender must be there first
from blender_addon.scene.photos.thumbnails import as_jpeg  # noqa: E402

STRANGE = 'a&b <i>"1.jpg'


def picture(number: int) -> np.ndarray:
    """A patterned box on grey, moved a little from photo to photo."""
    rng = np.random.default_rng(1)
    pixels = np.full((300, 400, 3), 120, np.uint8)
    box = rng.integers(20, 235, (11, 12, 3)).repeat(16, 0).repeat(16, 1)
    pixels[60:236, 90 + 4 * number : 282 + 4 * number] = box
    return pixels


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "photos"
    place.mkdir()
    labels = image.Exif()
    labels[0x0110] = "T1"
    for number in range(5):
        image.fromarray(picture(number)).save(place / f"IMG_{number}.jpg", quality=92, exif=labels)
    image.fromarray(picture(5)).save(place / STRANGE, quality=92, exif=labels)
    (place / "IMG_7.HEIC").write_bytes(b"\0\0\0\x18ftypheic" + bytes(64))
    (place / "half.jpg").write_bytes((place / "IMG_1.jpg").read_bytes()[:3000])
    (place / "notes.txt").write_text("x")
    image.new("RGB", (1170, 2532), "white").save(place / "Screenshot.png")
    return place


def state(folder: Path) -> dict[str, tuple[str, int]]:
    return {
        path.name: (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns) for path in sorted(folder.iterdir())
    }


def test_page_and_list_lie_beside_and_the_photos_stay(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before, images = state(folder), len(bpy.data.images)
    assert main(["photos", str(folder), "--quiet"]) == 0
    assert state(folder) == before
    beside = folder.parent / "photos_looked_over"
    page, words = ((beside / name).read_text(encoding="utf-8") for name in ("photos.html", "photos.txt"))
    assert "a&amp;b &lt;i&gt;&quot;1.jpg" in page and "<i>" not in page
    assert page.count("data:image/jpeg;base64,") == 7
    assert "http://" not in page and "https://" not in page
    assert "IMG_7.HEIC: HEIC can't be read here" in words and "half.jpg: it is cut off" in words
    assert "Screenshot.png: Looks like a screenshot" in words
    assert words in capsys.readouterr().out
    assert len(bpy.data.images) == images


def test_again_writes_over_its_own_page_alone(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "seen"
    assert main(["photos", str(folder), "--quiet", "--out", str(out), "--most", "3"]) == 0
    first = (out / "photos.txt").read_text(encoding="utf-8")
    assert main(["photos", str(folder), "--quiet", "--out", str(out), "--most", "3"]) == 0
    assert (out / "photos.txt").read_text(encoding="utf-8") == first
    other = tmp_path / "other"
    other.mkdir()
    (other / "photos.html").write_text("mine")
    assert main(["photos", str(folder), "--quiet", "--out", str(other)]) == 1
    assert (other / "photos.html").read_text() == "mine"


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: None, "is not there"),
        (lambda path: path.write_text("x"), "is a file, not a folder"),
        (lambda path: path.mkdir(), "holds no photo"),
        (lambda path: (path.mkdir(), (path / "a.heic").write_bytes(b"\0\0\0\x18ftypheic")), "HEIC"),
        (lambda path: (path.mkdir(), (path / "a.jpg").write_bytes(b"\xff\xd8\xff\xe0no")), "can be judged"),
    ],
)
def test_a_folder_without_photos_is_reported_in_one_sentence(
    make: object, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "set"
    make(place)  # type: ignore[operator]
    assert main(["photos", str(place), "--quiet"]) == 1
    assert words in capsys.readouterr().err
    assert not (tmp_path / "set_looked_over").exists()


def test_nothing_is_written_into_the_folder_of_the_photos(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for inside in (folder, folder / "page"):
        assert main(["photos", str(folder), "--quiet", "--out", str(inside)]) == 1
    assert not (folder / "page").exists()


def test_blender_hands_out_the_picture_as_it_is_stored(tmp_path: Path) -> None:
    """A tag that asks for a turn is ours to obey, once: the decoder must not do it as well."""
    from blender_addon.scene.photos.reading import folder_of, photos_of

    labels = image.Exif()
    labels[0x0112], labels[0x0110] = 6, "T1"
    pixels = np.zeros((120, 200, 3), np.uint8)
    pixels[:, :100] = 250
    image.fromarray(pixels).save(tmp_path / "a.jpg", exif=labels)
    (found,) = photos_of(folder_of(tmp_path))
    assert found.middle.shape == (200, 120)  # type: ignore[union-attr]
    assert found.middle[:90].mean() > 230 and found.middle[110:].mean() < 20  # type: ignore[union-attr]


def test_a_thumbnail_is_the_picture_the_right_way_up_and_leaves_nothing_behind() -> None:
    """Row 0 on top: red above, blue below on the left, green on the right; within what JPEG loses."""
    pixels = np.zeros((64, 96, 3), np.uint8)
    pixels[:32], pixels[32:, :48], pixels[32:, 48:] = (200, 20, 20), (20, 20, 200), (20, 200, 20)
    before = len(bpy.data.images)
    found = np.asarray(image.open(io.BytesIO(as_jpeg(pixels))).convert("RGB"), int)
    assert len(bpy.data.images) == before
    assert found.shape == pixels.shape
    for row, column in ((16, 16), (48, 16), (48, 80)):
        assert np.abs(found[row, column] - pixels[row, column].astype(int)).max() < 12
