"""Which photographs are blown out or crushed on the piece, and which differ from the others in exposure or white balance?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .. import srgb
from ..arrays import Bools, Floats, Pixels8
from ..records import record
from .neighbours import Pair
from .piece import SIZE, Piece, central
from .remarks import LOOK, RETAKE, Remark
from .seen import Photo

BLOWN, CRUSHED = 0.03, 0.12
"""Share of the piece that may be clipped, or black: a highlight or a deep hollow is not a fault (our guesses)."""
STOPS, TINT = 0.40, 0.17
"""Largest difference in stops of a photo from its neighbours, in brightness and in red or blue over green: turning a piece in a
lamp's light changes as much (guesses, tried in `bench photo_set`)."""
ROUND = 7
"""Photos that one is compared with, itself in the middle."""


@record
class Lit:
    """Of one photo: shares of the piece that are blown and black, and its light beside the neighbours' in stops, (3,) red,
    green, blue."""

    blown: float
    crushed: float
    off: Floats


def of_set(photos: Sequence[Photo], piece: Piece, pairs: Sequence[Pair]) -> list[Lit]:
    """The light of each photo; `pairs` are those of each photo with the next, one fewer than photos."""
    masks = [piece.masks[number] if piece.known and piece.masks[number].any() else central() for number in range(len(photos))]
    level = _levels(photos, masks, pairs)
    off = level - _usual(level)
    wide = [piece.around(number) if piece.known else mask for number, mask in enumerate(masks)]
    return [
        Lit(_share(photo.bright, mask), _share(photo.dark, mask), off[number])
        for number, (photo, mask) in enumerate(zip(photos, wide, strict=True))
    ]


def _share(flags: Pixels8, mask: Bools) -> float:
    inside = _fitted(mask, flags.shape)
    return float(flags[inside].mean()) / 255.0 if inside.any() else 0.0


def _fitted(mask: Bools, shape: tuple[int, ...]) -> Bools:
    rows, columns = (np.minimum(np.arange(n) * SIZE[k] // n, SIZE[k] - 1) for k, n in enumerate(shape[:2]))
    return mask[rows[:, None], columns]


def _levels(photos: Sequence[Photo], masks: Sequence[Bools], pairs: Sequence[Pair]) -> Floats:
    """(n, 3) log2 of each photo's light: the sum of the steps between the same spots of neighbours; where too few were found in
    both, the step between the medians on the piece, which also depends on the side that is seen."""
    medians = np.array([_median(photo, mask) for photo, mask in zip(photos, masks, strict=True)])
    steps = np.diff(medians, axis=0)
    for number, pair in enumerate(pairs):
        if pair.matches >= 8 and np.isfinite(pair.gain).all():
            steps[number] = pair.gain
    return np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)]) if len(photos) else np.zeros((0, 3))


def _median(photo: Photo, mask: Bools) -> Floats:
    values = photo.small[_fitted(mask, photo.small.shape)]
    if not len(values):
        values = photo.small.reshape(-1, 3)
    linear = np.maximum(srgb.decode(values / 255.0), 1e-3)
    return np.median(np.log2(linear), axis=0)


def _usual(level: Floats) -> Floats:
    """(n, 3) running median over `ROUND` photos, fewer at the ends."""
    half = ROUND // 2
    return np.array([np.median(level[max(0, k - half) : k + half + 1], axis=0) for k in range(len(level))]).reshape(-1, 3)


def remarks(found: Sequence[Lit], exposure: Sequence[float | None]) -> list[list[Remark]]:
    """Remarks on each photo's light. exposure: the exposure value of each camera setting, in stops, where known."""
    known = [value for value in exposure if value is not None]
    usual = float(np.median(known)) if known else None
    said: list[list[Remark]] = []
    for lit, value in zip(found, exposure, strict=True):
        mine = []
        if lit.blown > BLOWN:
            mine.append(
                Remark("blown", RETAKE, f"Blown out: {100 * lit.blown:.0f} % of the piece has no detail left in its lights")
            )
        if lit.crushed > CRUSHED:
            mine.append(Remark("crushed", RETAKE, f"Crushed: {100 * lit.crushed:.0f} % of the piece is black"))
        mine += _off(lit, None if value is None or usual is None else value - usual)
        said.append(mine)
    return said


def _off(lit: Lit, setting: float | None) -> list[Remark]:
    said = []
    light = float(lit.off[1])
    if abs(light) > STOPS:
        known = setting is not None and abs(setting) > 0.2
        camera = (
            f"; the camera gave {abs(setting or 0.0):.1f} stops {'less' if (setting or 0.0) > 0 else 'more'}" if known else ""
        )
        level = RETAKE if abs(light) > 2 * STOPS else LOOK
        word = "Brighter" if light > 0 else "Darker"
        said.append(Remark("exposure", level, f"{word} than its neighbours by {abs(light):.1f} stops{camera}"))
    tint = lit.off[[0, 2]] - lit.off[1]
    worst = float(tint[np.abs(tint).argmax()])
    if abs(worst) > TINT:
        red = abs(tint[0]) >= abs(tint[1])
        word = ("redder" if worst > 0 else "less red") if red else ("bluer" if worst > 0 else "yellower")
        level = RETAKE if abs(worst) > 2 * TINT else LOOK
        said.append(Remark("white", level, f"White balance: {word} than its neighbours by {abs(worst):.2f} stops"))
    return said
