"""How far is a render from the photo beside it? In colour, and in form: the light and shade that strokes and edges make.

Pictures are display-encoded (h, w, 3), both seen by one camera; `piece` (h, w) says where they show the piece.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Pixels8
from ..colour import delta_e_2000, lab
from ..records import record
from ..srgb import decode, luminance
from ..surface.bandpass import band_pass

FINE, COARSE = 1.0, 0.03
"""The form's light and shade lies between a blur of so many pixels and one of this share of the piece's extent: finer is a
photo's noise, coarser the light itself."""
DARKEST = 0.02
"""Linear light that is added before ratios are taken: darker is flare and noise."""
FULL_COLOUR, FULL_FORM = 15.0, 0.25
"""What has the full tone in the pictures: CIEDE2000, and a difference in local light as a share of it."""
PAPER, TONE = np.array([244.0, 241.0, 234.0]), np.array([122.0, 46.0, 28.0])
"""The one hue of the pictures of differences, from none to full; outside the piece is grey. By eye."""
BESIDE = np.array([208.0, 208.0, 208.0])
"""8-bit grey round the piece."""


@record
class Difference:
    """colour: (h, w) CIEDE2000. form: (h, w) difference of the local light, a share of it. Both are 0 beside the piece.

    colour_mean, colour_most: mean, and what 95 % of the piece stay below. form_alike: correlation of the two pictures' local
    light, 1 where render and photo have the same strokes. form_share: median of `form`.
    """

    colour: Floats
    form: Floats
    colour_mean: float
    colour_most: float
    form_alike: float
    form_share: float


def inner(piece: Bools, border: int) -> Bools:
    """The piece without its outermost `border` pixels, where it mixes with what is behind."""
    inside = np.asarray(piece, bool)
    for axis in (0, 1):
        for step in range(1, border + 1):
            inside = inside & np.roll(piece, step, axis) & np.roll(piece, -step, axis)
    rows, columns = np.indices(inside.shape)
    edge = np.minimum(np.minimum(rows, columns), np.minimum(rows[::-1, ::-1], columns[::-1, ::-1]))
    return np.asarray(inside & (edge >= border))


def difference(photo: Floats, render: Floats, piece: Bools) -> Difference:
    """How far a render is from the photo. Raises ValueError where the piece covers next to nothing."""
    if piece.sum() < 100:
        raise ValueError("the piece covers next to nothing of the picture")
    first, second = (decode(np.clip(picture[..., :3], 0, 1)) for picture in (photo, render))
    colour = np.where(piece, delta_e_2000(lab(first), lab(second)), 0.0)
    rows, columns = np.nonzero(piece)
    coarse = max(COARSE * float(np.hypot(np.ptp(rows), np.ptp(columns))), 3.0 * FINE)
    local = [band_pass(np.log(luminance(light) + DARKEST), FINE, coarse, mask=piece) for light in (first, second)]
    form = np.where(piece, np.abs(local[0] - local[1]), 0.0)
    mine, theirs = (part[piece].astype(float) for part in local)
    spread = float(np.std(mine) * np.std(theirs))
    alike = float(np.mean((mine - mine.mean()) * (theirs - theirs.mean())) / spread) if spread > 1e-12 else 0.0
    values = colour[piece]
    return Difference(
        colour.astype(np.float32), form.astype(np.float32), float(values.mean()), float(np.quantile(values, 0.95)), alike,
        float(np.median(form[piece])),
    )  # fmt: skip


def as_picture(values: Floats, piece: Bools, full: float) -> Pixels8:
    """(h, w, 3) a difference (h, w) in one hue: paper for none, the full tone from `full` on, grey beside the piece."""
    share = np.clip(values / full, 0.0, 1.0)[..., None]
    shown = np.where(piece[..., None], PAPER + share * (TONE - PAPER), BESIDE)
    return np.asarray(np.rint(shown), np.uint8)
