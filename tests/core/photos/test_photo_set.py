"""Is each fault of a set of photographs reported, and nothing else? Drawn here: a speckled barrel that turns before a wall."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest

from blender_addon.core.files.pictures.exif import Exif, as_held
from blender_addon.core.photos.folder_content import in_order, is_copy, why_not
from blender_addon.core.photos.photo_set import SetReport, judged
from blender_addon.core.photos.remarks import LEAVE_OUT, RETAKE
from blender_addon.core.photos.seen import Photo, seen

HIGH, WIDE = 360, 480
COUNT, STEP = 24, 15.0
Picture = np.ndarray
LABELS = Exif(make="Test", model="T1", seconds=1 / 60, f_number=1.8, sensitivity=100.0, focal_mm=6.0)


def skin() -> Picture:
    """What is wound round the barrel, 720 columns a turn: dots of two sizes on clay."""
    rng = np.random.default_rng(4)
    picture = np.full((300, 720, 3), (0.42, 0.30, 0.22))
    for _ in range(700):
        y, x, r = rng.integers(0, 300), rng.integers(0, 720), rng.integers(3, 9)
        rows, columns = np.ogrid[-r : r + 1, -r : r + 1]
        inside = rows**2 + columns**2 <= r * r
        ys, xs = np.clip(y + np.nonzero(inside)[0] - r, 0, 299), (x + np.nonzero(inside)[1] - r) % 720
        picture[ys, xs] = picture[ys, xs] * rng.choice([0.45, 1.6])
    return picture


SKIN = skin()


def view(degrees: float, *, scale: float = 1.0, aside: float = 0.0) -> Picture:
    """Linear light (h, w, 3): the barrel, turned, by its closed form."""
    y, x = np.mgrid[:HIGH, :WIDE].astype(float)
    u = ((x - WIDE / 2) - aside * WIDE) / (95.0 * scale)
    v = (y - HIGH / 2) / (140.0 * scale)
    inside = (np.abs(u) < 1) & (np.abs(v) < 1)
    around = np.degrees(np.arcsin(np.clip(u, -1, 1))) + degrees
    picture = np.broadcast_to(np.array([0.10, 0.16, 0.24]), (HIGH, WIDE, 3)).copy()
    rows = np.clip((v + 1) * 150, 0, 299).astype(int)
    columns = (around * 2).astype(int) % 720
    picture[inside] = (SKIN[rows, columns] * (0.5 + 0.5 * np.sqrt(np.clip(1 - u**2, 0, 1)))[..., None])[inside]
    return picture


def photo(number: int, picture: Picture, exif: Exif = LABELS) -> Photo:
    """A photo of linear light: noise, sRGB, eight bits."""
    grain = np.random.default_rng(number).standard_normal(picture.shape)
    noisy = picture + 0.008 * np.sqrt(np.maximum(picture, 0.0)) * grain
    shown = np.clip(noisy, 0, 1) ** (1 / 2.2)
    return seen(f"IMG_{number:03d}.jpg", np.round(255 * shown).astype(np.uint8), exif)


def blurred(picture: Picture, reach: int, axes: tuple[int, ...] = (0, 1)) -> Picture:
    """A running mean over 2 reach + 1 pixels, three times each way (nearly a Gaussian of sigma reach + 0.4)."""
    for axis in axes * 3:
        picture = np.mean([np.roll(picture, k, axis) for k in range(-reach, reach + 1)], axis=0)
    return picture


@pytest.fixture(scope="module")
def views() -> list[Picture]:
    return [view(STEP * number) for number in range(COUNT)]


@pytest.fixture(scope="module")
def photos(views: list[Picture]) -> list[Photo]:
    return [photo(number, picture) for number, picture in enumerate(views)]


@pytest.fixture(scope="module")
def report(photos: list[Photo]) -> SetReport:
    return judged(photos)


def test_nothing_is_said_of_a_good_set(report: SetReport) -> None:
    assert [(judged_photo.photo.name, judged_photo.remarks) for judged_photo in report.photos if judged_photo.remarks] == []
    assert (report.said, report.unknown) == ((), ())
    assert report.count("keep") == COUNT


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("soft", lambda picture: blurred(picture, 2)),
        ("shaken", lambda picture: np.mean([np.roll(picture, k, 1) for k in range(9)], axis=0)),
        ("blown", lambda picture: picture * 6.0),
        ("crushed", lambda picture: picture * (np.arange(WIDE)[:, None] > 225)),
        ("exposure", lambda picture: picture * 0.6),
        ("white", lambda picture: picture * (1.3, 1.0, 0.8)),
        ("small", lambda picture: view(STEP * 9, scale=0.4)),
        ("cut", lambda picture: view(STEP * 9, aside=0.42)),
        ("alone", lambda picture: np.rot90(view(STEP * 9), 2)),
    ],
)
def test_a_fault_is_reported_where_it_is_and_nowhere_else(
    kind: str, change: Callable[[Picture], Picture], views: list[Picture], photos: list[Photo]
) -> None:
    """The ninth photo has the fault; its neighbours may be reported as different from it, all others are as before."""
    found = judged([*photos[:9], photo(9, change(views[9])), *photos[10:]])
    assert kind in {remark.kind for remark in found.photos[9].remarks}
    elsewhere = {
        remark.kind for judged_photo in found.photos for remark in judged_photo.remarks if judged_photo is not found.photos[9]
    }
    assert elsewhere <= {"apart"}


def test_a_gap_names_the_photo_before_it_and_the_turn_is_closed(photos: list[Photo]) -> None:
    found = judged([judged_photo for number, judged_photo in enumerate(photos) if not 6 <= number <= 10])
    assert [
        judged_photo.photo.name
        for judged_photo in found.photos
        if any(remark.kind == "apart" for remark in judged_photo.remarks)
    ] == ["IMG_005.jpg"]


def test_of_the_same_view_twice_one_is_left_out(views: list[Picture], photos: list[Photo]) -> None:
    again = photo(99, views[5])
    found = judged([*photos[:6], again, *photos[6:]])
    out = [judged_photo.photo.name for judged_photo in found.photos if judged_photo.verdict == LEAVE_OUT]
    assert len(out) == 1 and out[0] in ("IMG_005.jpg", "IMG_099.jpg")


def test_a_limit_takes_photos_from_where_they_are_dense(photos: list[Photo]) -> None:
    """Twelve photos more stand between the first ones; a limit of 24 takes them, and leaves no step wider than 30 degrees."""
    between = [(STEP * number + 7.5, photo(30 + number, view(STEP * number + 7.5))) for number in range(12)]
    placed = sorted(
        [*((STEP * number, judged_photo) for number, judged_photo in enumerate(photos)), *between], key=lambda pair: pair[0]
    )
    angles = [angle for angle, _ in placed]
    found = judged([judged_photo for _, judged_photo in placed], limit=24)
    stay = [angle for angle, judged_photo in zip(angles, found.photos, strict=True) if judged_photo.verdict != LEAVE_OUT]
    assert len(stay) == 24
    assert max(np.diff([*stay, 360.0 + stay[0]])) <= 30.0


def test_a_side_with_too_few_is_named(photos: list[Photo]) -> None:
    """Steps of 22 degrees on the second quarter: four photos there, one of which may count with its neighbour's quarter."""
    between = [photo(30 + number, view(90.0 + 22.5 * number)) for number in range(4)]
    found = judged([*photos[:6], *between, *photos[12:]])
    said = [sentence for sentence in found.said if "from a quarter to half a turn there are" in sentence]
    assert len(said) == len(found.said) == 1 and ("are 3" in said[0] or "are 4" in said[0]), found.said


def test_a_plain_piece_is_not_judged_where_it_can_t_be() -> None:
    """A grey ball before a grey wall has no strong edges and no spots: nothing is wrong, and what is unknown is said."""
    y, x = np.mgrid[:HIGH, :WIDE]
    picture = 0.3 + 0.05 * np.exp(-((y - 180.0) ** 2 + (x - 240.0) ** 2) / 9000.0)
    found = judged([photo(number, np.repeat(picture[..., None], 3, 2)) for number in range(6)])
    assert {remark.kind for judged_photo in found.photos for remark in judged_photo.remarks} <= {"twice"}
    assert len(found.unknown) >= 2


def test_labels_tell_other_cameras_flash_zoom_and_copies(views: list[Picture]) -> None:
    changes: list[dict[str, object]] = [{"model": "T2"}, {"focal_mm": 2.2}, {"flash": True}, {"zoom": 2.0}]
    other = [*(dataclasses.replace(LABELS, **change) for change in changes), Exif()]
    exifs = [*[LABELS] * 4, *other]
    found = judged([photo(number, views[number], exif) for number, exif in enumerate(exifs)])
    assert [sorted({remark.kind for remark in judged_photo.remarks}) for judged_photo in found.photos[4:]] == [
        ["camera"], ["camera"], ["flash"], ["camera"], ["copy"],
    ]  # fmt: skip
    assert found.photos[-1].verdict == RETAKE


def test_settings_that_wander_are_reported_for_the_set(views: list[Picture]) -> None:
    exifs = [dataclasses.replace(LABELS, seconds=1 / 60 / (1 + number / 12)) for number in range(12)]
    found = judged([photo(number, views[number], exif) for number, exif in enumerate(exifs)])
    assert any("not locked" in sentence for sentence in found.said)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_tagged_photo_is_judged_as_it_is_to_be_seen(orientation: int) -> None:
    """CIPA DC-008, 4.6.4 A, Orientation: what row 0 and column 0 are; a picture stored so comes back upright."""
    upright = np.arange(6 * 4 * 3, dtype=np.uint8).reshape(6, 4, 3)
    row0 = {1: "top", 2: "top", 3: "bottom", 4: "bottom", 5: "left", 6: "right", 7: "right", 8: "left"}[orientation]
    column0 = {1: "left", 2: "right", 3: "right", 4: "left", 5: "top", 6: "top", 7: "bottom", 8: "bottom"}[orientation]
    stored = upright
    if row0 in ("left", "right"):
        stored = stored.swapaxes(0, 1)
    if row0 in ("bottom", "right"):
        stored = stored[::-1]
    if column0 in ("right", "bottom"):
        stored = stored[:, ::-1]
    assert (as_held(stored, orientation) == upright).all()


def test_files_that_are_no_photos_are_named_with_what_to_do() -> None:
    assert "JPEG" in (why_not("IMG_1.HEIC", bytes(32)) or "")
    assert "HEIC" in (why_not("IMG_1.jpg", b"\0\0\0\x18ftypheic" + bytes(20)) or "")
    assert "raw" in (why_not("a.dng", bytes(32)) or "")
    assert "film" in (why_not("a.MOV", bytes(32)) or "")
    assert why_not(".DS_Store", bytes(32)) == ""
    assert why_not("a.jpg", b"\xff\xd8\xff") is None
    assert "screenshot" in is_copy("x.png", (1170, 2532), Exif())
    assert "reduced" in is_copy("x.jpg", (1600, 1200), Exif())
    assert is_copy("x.jpg", (4032, 3024), Exif()) == is_copy("Screenshot.jpg", (1170, 2532), LABELS) == ""


def test_order_is_by_time_and_by_number_where_times_lack() -> None:
    timed = [("b.jpg", Exif(taken="2026:01:01 10:00:02")), ("a.jpg", Exif(taken="2026:01:01 10:00:01"))]
    assert in_order(timed) == [1, 0]
    assert in_order([("IMG_10.jpg", Exif()), ("IMG_9.jpg", Exif())]) == [1, 0]
