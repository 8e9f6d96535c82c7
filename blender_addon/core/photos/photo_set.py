"""Which photographs of a set are to be kept, taken again or left out, and what does the set as a whole lack?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..records import record
from . import going_round, light, sharpness
from .folder_content import is_copy, is_screen
from .neighbours import corners_of, same_views
from .piece import Piece, find_piece
from .remarks import ADVICE, LEAVE_OUT, LOOK, RETAKE, Remark, verdict
from .seen import Photo

SMALL_SPAN = 0.35
"""Least share of the frame's side that the piece should fill; below it most pixels show the room (our guess)."""
CUT = 0.12
"""Share of a frame's side along which the piece may be cut: the corner of a stand does no harm (our guess)."""
ZOOMED = 0.08
"""Relative change of focal length that is reported; rounding in Exif is finer."""
SETTINGS = 0.35
"""Stops of change in the camera's settings from which the exposure was not locked."""


@record
class Judged:
    """One photograph and the remarks on it. verdict: 'keep', 'retake' or 'leave out'. width: of its edges in pixels, nan
    unknown. span: the piece's longer side as a share of the frame's, nan unknown."""

    photo: Photo
    remarks: tuple[Remark, ...]
    verdict: str
    width: float
    span: float


@record
class SetReport:
    """The whole set in the order taken. said: sentences about the set, faults first. unknown: what could not be judged, and
    why."""

    photos: tuple[Judged, ...]
    said: tuple[str, ...]
    unknown: tuple[str, ...]

    def count(self, verdict: str) -> int:
        """How many photos have a verdict."""
        return sum(photo.verdict == verdict for photo in self.photos)


def judged(photos: Sequence[Photo], *, limit: int = 0) -> SetReport:
    """The report on photos given in the order taken. limit: how many may be kept, 0 for any number.

    Screenshots are not part of the set: they are reported, but not compared.
    """
    screens = [photo for photo in photos if is_screen(photo.name, photo.size, photo.exif)]
    photos = [photo for photo in photos if not is_screen(photo.name, photo.size, photo.exif)]
    aside = tuple(_judged(photo, _labels(photo, None, 0.0), np.nan, np.nan) for photo in screens)
    if not photos:
        return SetReport(aside, (), ())
    piece = find_piece(photos)
    sharp = sharpness.of_set(photos, piece)
    corners = list(corners_of(photos, piece))
    names = [photo.name for photo in photos]
    ring = going_round.gone_round(corners)
    lit = light.of_set(photos, piece, ring.pairs)
    widths = np.array([measured.width for measured in sharp])
    remarks = [
        [*first, *second, *third, *fourth, *fifth, *sixth]
        for first, second, third, fourth, fifth, sixth in zip(
            sharpness.remarks(sharp),
            light.remarks(lit, [photo.exif.exposure_value for photo in photos]),
            going_round.remarks(ring, names),
            going_round.twice(corners, same_views(photos), names, widths),
            _in_frame(piece, len(photos)),
            _by_labels(photos),
            strict=True,
        )
    ]
    said = _of_the_set(photos, piece)
    good = np.array([verdict(mine) == "keep" for mine in remarks], bool)
    said += going_round.sides(ring, good)
    said += _kept_within(remarks, ring, good, limit)
    spans = piece.span() if piece.known else np.full(len(photos), np.nan)
    found = tuple(_judged(*row) for row in zip(photos, remarks, widths, spans, strict=True))
    return SetReport((*found, *aside), tuple(said), tuple(_unknown(piece, ring, widths)))


def _judged(photo: Photo, mine: Sequence[Remark], width: float, span: float) -> Judged:
    return Judged(photo, tuple(mine), verdict(mine), float(width), float(span))


def _in_frame(piece: Piece, count: int) -> list[list[Remark]]:
    said: list[list[Remark]] = [[] for _ in range(count)]
    if not piece.known:
        return said
    for number, (span, cut) in enumerate(zip(piece.span(), piece.cut(), strict=True)):
        if 0 < span < SMALL_SPAN:
            said[number].append(Remark("small", RETAKE, f"The piece fills {100 * span:.0f} % of the frame's side"))
        if cut > CUT:
            said[number].append(Remark("cut", LOOK, f"The piece is cut by the frame along {100 * cut:.0f} % of a side"))
    return said


def _by_labels(photos: Sequence[Photo]) -> list[list[Remark]]:
    """Remarks by size and metadata: copies, other cameras, another zoom, flash."""
    cameras = Counter((photo.exif.make, photo.exif.model) for photo in photos if photo.exif.from_camera)
    usual = cameras.most_common(1)[0][0] if cameras else None
    focal = [photo.exif.focal_mm for photo in photos if photo.exif.focal_mm]
    length = float(np.median(focal)) if focal else 0.0
    return [_labels(photo, usual, length) for photo in photos]


def _labels(photo: Photo, usual: tuple[str, str] | None, length: float) -> list[Remark]:
    said, exif = [], photo.exif
    copy = is_copy(photo.name, photo.size, exif)
    if copy:
        said.append(Remark("copy", RETAKE, copy))
    elif exif.from_camera and usual is not None and (exif.make, exif.model) != usual:
        said.append(Remark("camera", LOOK, f"Another camera: {exif.model or exif.make or 'without a name'}"))
    elif exif.focal_mm and length and abs(exif.focal_mm / length - 1.0) > ZOOMED:
        said.append(Remark("camera", LOOK, f"Another focal length: {exif.focal_mm:.3g} mm, {length:.3g} mm usually"))
    if exif.zoom is not None and exif.zoom > 1.01:
        said.append(Remark("camera", LOOK, f"Zoomed {exif.zoom:.2g} times by software"))
    if exif.flash:
        said.append(Remark("flash", LOOK, "The flash fired"))
    return said


def _of_the_set(photos: Sequence[Photo], piece: Piece) -> list[str]:
    """Sentences about what all photos have in common."""
    said = []
    values = [value for photo in photos if (value := photo.exif.exposure_value) is not None]
    stops = max(values) - min(values) if values else 0.0
    if stops > SETTINGS:
        said.append(f"The exposure was not locked: the camera's settings differ by {stops:.1f} stops. {ADVICE['exposure']}")
    sizes = {tuple(sorted(photo.size)) for photo in photos}
    if len(sizes) > 1:
        said.append(f"The photos have {len(sizes)} sizes. {ADVICE['camera']}")
    span = float(np.median(piece.span())) if piece.known else 1.0
    if span < 0.5:
        said.append(f"The piece fills {100 * span:.0f} % of the frame's side in most photos. {ADVICE['small']}")
    return said


def _kept_within(remarks: list[list[Remark]], ring: going_round.Round, good: Floats, limit: int) -> list[str]:
    """Mark the photos to leave out so that the limit is kept, and return sentences about it."""
    waste = np.array([verdict(mine) == LEAVE_OUT for mine in remarks], bool)
    if not limit or len(remarks) - int(waste.sum()) <= limit:
        return []
    for number in going_round.surplus(ring, ~good, limit):
        if not waste[number]:
            remarks[number].append(Remark("surplus", LEAVE_OUT, f"More than the limit of {limit} photos"))
    more = len(remarks) - limit
    return [f"{more} more than the limit of {limit}: those nearest to their neighbours are left out, faulty ones first"]


def _unknown(piece: Piece, ring: going_round.Round, widths: Floats) -> list[str]:
    said = []
    if not piece.known:
        said.append(
            "The piece was not distinguished from its background, so its size in the frame and cut edges were not judged, and "
            "sharpness and light were judged in the middle of each photo: a plain cloth of another colour behind it helps"
        )
    if not ring.known:
        said.append(
            "Too little detail is found again from photo to photo, so overlap, steps and sides were not judged: a plain or "
            "blurred surface does this"
        )
    missing = int(np.isnan(widths).sum())
    if missing:
        said.append(
            f"{missing} photo{'s have' if missing > 1 else ' has'} too few strong edges on the piece to judge sharpness"
        )
    return said
