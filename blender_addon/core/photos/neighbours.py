"""How much do two photographs share, how far did the piece turn between them, and did its light change?

Small patches round corners of one photo are matched in the other (normalised cross-correlation, each the other's best), and
those whose neighbours moved alike are kept. Their number gives the overlap, their shifts the turn, their colours the light.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from .. import srgb
from ..arrays import Bools, Floats, Ints, Pixels8
from ..records import record
from .piece import SIZE, Piece
from .seen import Photo

WORKING = 300
"""Longer side in pixels of the piece, or of the frame where the piece can't be found, in the pictures that are compared."""
MOST = 320
"""Corners that are compared of each photo, to bound the time."""
CELL = 8
"""Most corners of a photo, and the edge in pixels of the cells of which each gives one."""
PATCH = 6
"""Half a patch's side: 13 x 13 pixels."""
ALIKE = 0.75
"""Least correlation of two patches that may show the same thing."""
STRAY = 0.05
"""How far a shift may be from the median shift of its neighbours, as a share of the working size."""
MET = 0.8
"""Mean cosine over the part of a round body where corners are found, up to 60 degrees from its middle: sin(60) / (60 in
radians) = 0.83, rounded down. A shift x on a body of half width r is then a turn of x / (0.8 r)."""


@record
class Corners:
    """Corners of one photo: (n, 2) x and y in pixels, (n, 169) patches of zero mean and unit length, (n, 3) linear colours,
    (n,) half the piece's width in pixels where each lies, nan where the piece can't be found. middle: (2,)
    the piece's middle in pixels, the frame's where it can't be found."""

    places: Floats
    patches: Floats
    colours: Floats
    reach: Floats
    middle: Floats


@record
class Pair:
    """Two photographs compared.

    matches: corners found in both, their shifts in agreement; of: corners of the one with fewer. shift: median length of the
    shifts, as a share of the working size. turn: about how many degrees the piece turned, nan where it can't be distinguished
    from its background. gain: (3,) log2 of the second's linear colours over the first's, medians; nan without matches.
    """

    matches: int
    of: int
    shift: float
    turn: float
    gain: Floats


def corners_of(photos: Sequence[Photo], piece: Piece) -> Iterator[Corners]:
    """The corners of each photo, on the piece where it can be found, all photos reduced alike."""
    factor = _factor(photos, piece)
    for number, photo in enumerate(photos):
        known = piece.known and bool(piece.masks[number].any())
        mask = piece.around(number) if known else np.ones(SIZE, bool)
        yield _corners(photo, (mask, piece.masks[number] if known else mask), factor, known=known)


def _factor(photos: Sequence[Photo], piece: Piece) -> float:
    """By how much the pictures are reduced, the same for all, so that a photo from further away still looks so."""
    longest = float(np.median([max(photo.middle.shape) for photo in photos]))
    span = float(np.median(piece.span())) if piece.known else 1.0
    return max(1.0, longest * max(span, 0.05) / WORKING)


def _corners(photo: Photo, masks: tuple[Bools, Bools], factor: float, *, known: bool) -> Corners:
    """masks: where corners are looked for, and the piece in this photo alone."""
    mask, own = masks
    height, width = (max(2 * PATCH + 4, round(side / factor)) for side in photo.middle.shape)
    grey = _reduced(photo.middle, height, width)
    gx, gy = np.gradient(_box(grey, 1))[::-1]
    xx, yy, xy = (_box(part, 2) for part in (gx * gx, gy * gy, gx * gy))
    strength = 0.5 * (xx + yy) - np.hypot(0.5 * (xx - yy), xy)  # the smaller eigenvalue (Shi & Tomasi 1994)
    row, column = (np.minimum(np.arange(n) * SIZE[k] // n, SIZE[k] - 1) for k, n in enumerate((height, width)))
    strength = np.where(mask[row[:, None], column], strength, 0.0)
    edge = PATCH + 2
    strength[:edge], strength[-edge:], strength[:, :edge], strength[:, -edge:] = 0, 0, 0, 0
    places = _strongest(strength)
    patch = np.arange(-PATCH, PATCH + 1)
    windows = grey[places[:, 1, None, None] + patch[:, None], places[:, 0, None, None] + patch].reshape(
        len(places), patch.size**2
    )
    windows = windows - windows.mean(axis=1, keepdims=True)
    length = np.linalg.norm(windows, axis=1)
    good = length > 13.0  # a deviation of one level of 255: less is camera noise
    places, windows = places[good], windows[good] / length[good, None]
    across = mask.sum(axis=1) * (0.5 * width / SIZE[1]) if known else np.full(SIZE[0], np.nan)
    reach = across[np.minimum(places[:, 1] * SIZE[0] // height, SIZE[0] - 1)]
    rows, columns = np.nonzero(own)
    middle = np.array([(columns.mean() + 0.5) * width / SIZE[1], (rows.mean() + 0.5) * height / SIZE[0]])
    colours = _colours(photo, places, (height, width))
    return Corners(places.astype(float), windows.astype(np.float32), colours, reach, middle)


def _strongest(strength: Floats) -> Ints:
    """(n, 2) x and y of the strongest place of each cell, the best `MOST` of them."""
    down, right = (n // CELL for n in strength.shape)
    cells = strength[: down * CELL, : right * CELL].reshape(down, CELL, right, CELL).transpose(0, 2, 1, 3)
    flat = cells.reshape(down * right, -1)
    best, value = flat.argmax(axis=1), flat.max(axis=1)
    order = np.argsort(-value, kind="stable")[:MOST]
    order = order[value[order] > 0.0]
    y, x = (order // right) * CELL + best[order] // CELL, (order % right) * CELL + best[order] % CELL
    return np.stack([x, y], axis=1)


def _colours(photo: Photo, places: Ints, size: tuple[int, int]) -> Floats:
    row = np.minimum(places[:, 1] * photo.small.shape[0] // size[0], photo.small.shape[0] - 1)
    column = np.minimum(places[:, 0] * photo.small.shape[1] // size[1], photo.small.shape[1] - 1)
    values = photo.small[row, column]
    return np.maximum(srgb.decode(values / 255.0), 1e-3).astype(float)


def compared(first: Corners, second: Corners) -> Pair:
    """What two photos share."""
    of = min(len(first.places), len(second.places))
    nothing = Pair(0, of, np.nan, np.nan, np.full(3, np.nan))
    if of < 8:
        return nothing
    alike = first.patches @ second.patches.T
    there, back = alike.argmax(axis=1), alike.argmax(axis=0)
    mine = np.nonzero((back[there] == np.arange(len(there))) & (alike.max(axis=1) > ALIKE))[0]
    if len(mine) < 6:
        return nothing
    theirs = there[mine]
    shift = second.places[theirs] - first.places[mine]
    kept = _agreeing(first.places[mine], shift)
    if kept.sum() < 4:
        return nothing
    mine, theirs, shift = mine[kept], theirs[kept], shift[kept]
    return _pair(first, second, mine, theirs, (shift, of))


def _agreeing(places: Floats, shift: Floats) -> Bools:
    """(n,) whether a shift is near the median of those of its eight nearest; two rounds, the second among the kept."""
    kept = np.ones(len(places), bool)
    for _ in range(2):
        if kept.sum() < 4:
            return kept
        apart = np.linalg.norm(places[:, None] - places[None, kept], axis=2)
        near = np.argsort(apart, axis=1)[:, :9]
        usual = np.median(shift[kept][near], axis=1)
        kept = np.linalg.norm(shift - usual, axis=1) < STRAY * WORKING
    return kept


def _pair(first: Corners, second: Corners, mine: Ints, theirs: Ints, moved: tuple[Floats, int]) -> Pair:
    shift, of = moved
    length = np.linalg.norm(shift, axis=1)
    turned = np.linalg.norm(shift - (second.middle - first.middle), axis=1)  # less the change of the camera's aim
    turn = float(np.degrees(np.median(turned / np.maximum(MET * first.reach[mine], 1.0))))
    gain = np.median(np.log2(second.colours[theirs] / first.colours[mine]), axis=0)
    return Pair(len(mine), of, float(np.median(length)) / WORKING, turn, gain)


def _reduced(picture: Pixels8, height: int, width: int) -> Floats:
    """(height, width) of a picture: mean over boxes by way of its integral, which any ratio allows."""
    total = np.zeros((picture.shape[0] + 1, picture.shape[1] + 1))
    np.cumsum(np.cumsum(picture, axis=0, dtype=np.float64), axis=1, out=total[1:, 1:])
    rows = np.round(np.linspace(0, picture.shape[0], height + 1)).astype(int)
    columns = np.round(np.linspace(0, picture.shape[1], width + 1)).astype(int)
    held = total[rows[:, None], columns]
    sums = held[1:, 1:] - held[:-1, 1:] - held[1:, :-1] + held[:-1, :-1]
    area = np.maximum(np.diff(rows)[:, None] * np.diff(columns), 1)
    return (sums / area).astype(np.float32)


def _box(values: Floats, reach: int) -> Floats:
    """Mean over (2 reach + 1) squared pixels, ends repeated."""
    for axis in (0, 1):
        ends = np.pad(values, [(reach + 1, reach) if k == axis else (0, 0) for k in (0, 1)], mode="edge")
        total = np.cumsum(ends, axis=axis)
        count = values.shape[axis]
        lower, upper = (np.take(total, np.arange(k, k + count), axis=axis) for k in (0, 2 * reach + 1))
        values = (upper - lower) / np.float32(2 * reach + 1)
    return values


def same_views(photos: Sequence[Photo]) -> list[tuple[int, int]]:
    """Pairs of photos that may be the same view: their small pictures, light taken out, correlate to 0.985 and more."""
    thumbs = np.stack([_reduced(photo.middle, 24, 24).ravel() for photo in photos])
    thumbs -= thumbs.mean(axis=1, keepdims=True)
    thumbs /= np.maximum(np.linalg.norm(thumbs, axis=1, keepdims=True), 1e-6)
    alike = np.triu(thumbs @ thumbs.T > 0.985, 1)
    return [(int(a), int(b)) for a, b in zip(*np.nonzero(alike), strict=True)]
