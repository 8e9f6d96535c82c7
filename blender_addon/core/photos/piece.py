"""Where in the photographs is the piece? Its colours are in the middle of all of them and rarely at their borders.

Two ways of photographing are common: the piece turns before a still background, or the camera goes round it. In both the
colours of the piece are in the middle of every photo. How much more often a colour occurs there than at the borders, over the
whole set, separates piece from background. Where the two look alike, size and cut edges are not judged.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Bools, Floats, Ints, Pixels8
from ..rasters import nearest_pixel
from ..records import record
from .edges import Edges
from .seen import Photo

SIZE = (72, 72)
"""Raster to which all photos are stretched for this."""
BINS = 12
"""Cells a side of the table of colours: a guess."""
LEAST_SURE = 0.85
"""Least chance, in half of the photos, that a pixel in the middle looks more like the piece than one at the border (our guess,
tried in `bench photo_set`)."""


@record
class Piece:
    """masks: (n, 72, 72) bool, the piece in each photo. known: whether it can be separated from its background. sure: 0.5 to
    1."""

    masks: Bools
    known: bool
    sure: float

    def around(self, number: int) -> Bools:
        """The piece in one photo, joined with where it is in both its neighbours, since clipped, black or tinted parts are not
        recognised as the piece."""
        if not 0 < number < len(self.masks) - 1:
            return self.masks[number]
        return self.masks[number] | (self.masks[number - 1] & self.masks[number + 1])

    def span(self) -> Floats:
        """(n,) its longer side as a share of the frame's side."""
        tall = self.masks.any(axis=2).sum(axis=1) / SIZE[0]
        wide = self.masks.any(axis=1).sum(axis=1) / SIZE[1]
        return np.maximum(tall, wide)

    def cut(self) -> Floats:
        """(n,) the longest stretch of a frame's side, as a share of it, along which the piece runs out of the picture."""
        sides = (self.masks[:, 0], self.masks[:, -1], self.masks[:, :, 0], self.masks[:, :, -1])
        return np.max([side.mean(axis=1) for side in sides], axis=0)


def find_piece(photos: Sequence[Photo]) -> Piece:
    """The piece in each photo of a set."""
    pictures = np.stack([_fitted(photo.small) for photo in photos])
    bins = _bins(pictures)
    middle, border = _disc(0.16), _border(0.08)
    inside = np.bincount(bins[:, middle].ravel(), minlength=BINS**3) + 0.5
    outside = np.bincount(bins[:, border].ravel(), minlength=BINS**3) + 0.5
    inside, outside = _smoothed(inside), _smoothed(outside)
    score = np.log(inside / inside.sum()) - np.log(outside / outside.sum())
    scored = _blurred(score[bins])
    sure = float(np.median([_chance(scores[middle], scores[border]) for scores in scored]))
    masks = _from_the_middle(scored, middle)
    filled = float(np.median(masks.mean(axis=(1, 2))))
    return Piece(masks, sure >= LEAST_SURE and 0.004 < filled < 0.85, sure)


def on_piece(edges: Edges, mask: Bools) -> Bools:
    """(n,) whether each edge lies on the piece or on its outline, two cells round it counted in."""
    wide = _widened(_widened(mask))
    return wide[nearest_pixel(np.stack([edges.x, edges.y], axis=1), mask.shape)]


def central() -> Bools:
    """Where the piece is assumed to be when it can't be found: a disc of 0.35 of the frame round its middle."""
    return _disc(0.35)


def _fitted(small: Pixels8) -> Pixels8:
    rows = (np.arange(SIZE[0]) + 0.5) * small.shape[0] / SIZE[0]
    columns = (np.arange(SIZE[1]) + 0.5) * small.shape[1] / SIZE[1]
    return small[rows.astype(int)[:, None], columns.astype(int)]


def _bins(pictures: Pixels8) -> Ints:
    """The colour cell of each pixel: lightness, and the two differences of colour, finer where greys lie."""
    values = pictures.astype(np.float32) / 255.0
    light = values.mean(axis=-1)
    warm = (values[..., 0] - values[..., 2]) / np.maximum(light, 0.08)
    green = (values[..., 1] - 0.5 * (values[..., 0] + values[..., 2])) / np.maximum(light, 0.08)
    parts = [light, 0.5 + 0.5 * np.tanh(1.5 * warm), 0.5 + 0.5 * np.tanh(4.0 * green)]
    cells = [np.clip((part * BINS).astype(np.intp), 0, BINS - 1) for part in parts]
    return (cells[0] * BINS + cells[1]) * BINS + cells[2]


def _smoothed(counts: Floats) -> Floats:
    """Counts smoothed over neighbouring cells, so that slightly different shades count as one colour."""
    cube = counts.reshape(BINS, BINS, BINS)
    for axis in range(3):
        ends = np.concatenate([np.take(cube, [0], axis), cube, np.take(cube, [-1], axis)], axis)
        inner = [np.take(ends, range(k, k + BINS), axis) for k in range(3)]
        cube = 0.25 * inner[0] + 0.5 * inner[1] + 0.25 * inner[2]
    return cube.ravel()


def _blurred(score: Floats) -> Floats:
    ends = np.pad(score, ((0, 0), (1, 1), (1, 1)), mode="edge")
    parts = [ends[:, i : i + SIZE[0], j : j + SIZE[1]] for i in range(3) for j in range(3)]
    return np.mean(parts, axis=0)


def _chance(inside: Floats, outside: Floats) -> float:
    """How often a value of the first is above one of the second (area under the ROC curve), by ranks; ties count half."""
    both = np.concatenate([inside, outside])
    _, place, count = np.unique(both, return_inverse=True, return_counts=True)
    rank = np.cumsum(count) - 0.5 * (count - 1)
    total = rank[place[: len(inside)]].sum() - len(inside) * (len(inside) + 1) / 2.0
    return float(total / (len(inside) * len(outside)))


def _from_the_middle(score: Floats, middle: Bools) -> Bools:
    """The region connected with the middle, in each photo; where that is small, the piece is off the middle, and the region
    that looks most like it is taken instead."""
    masks = _grown(score > 0.0, middle)
    area = masks.mean(axis=(1, 2))
    usual = float(np.median(area))
    gone = area < 0.25 * usual
    if gone.any() and usual > 0.0:
        sure = float(np.median(score[~gone][masks[~gone]]))
        masks[gone] = _grown(score[gone] > 0.0, score[gone] > sure)
    return masks


def _grown(masks: Bools, seed: Bools) -> Bools:
    """The region connected with the seed, in each photo."""
    grown = masks & seed
    while True:
        wider = _widened(grown) & masks
        if (wider == grown).all():
            return grown
        grown = wider


def _widened(masks: Bools) -> Bools:
    wide = masks.copy()
    wide[..., 1:, :] |= masks[..., :-1, :]
    wide[..., :-1, :] |= masks[..., 1:, :]
    wide[..., :, 1:] |= masks[..., :, :-1]
    wide[..., :, :-1] |= masks[..., :, 1:]
    return wide


def _disc(radius: float) -> Bools:
    y, x = ((np.arange(n) + 0.5) / n - 0.5 for n in SIZE)
    return np.hypot(y[:, None], x) < radius


def _border(width: float) -> Bools:
    y, x = (np.abs((np.arange(n) + 0.5) / n - 0.5) for n in SIZE)
    return np.maximum(y[:, None], x) > 0.5 - width
