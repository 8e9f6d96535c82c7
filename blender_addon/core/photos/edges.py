"""How wide are the strong edges of a photograph, in its own pixels? Contrast says little: a blurred chessboard has much of it.

The idea is that of the slanted edge (ISO 12233): across an edge the picture rises from one level to another, and the distance
from 10 to 90 % of that rise measures the blur, whatever the contrast. Here many short edges of the picture itself are used, a
few from each part, each sampled across its own direction.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints, Pixels8
from ..rasters import corner_shares
from ..records import record

BLOCKS, LEAST_BLOCK, BLOCK = 4000, 6, 16
"""The halved picture is divided into about `BLOCKS` blocks, `LEAST_BLOCK` to `BLOCK` pixels a side, and at most one edge is
taken from each."""
MOST_EDGES = 1600
"""Edges that are measured in a photo, spread over it, to bound the time."""
REACH, STEP = 11.0, 0.5
"""How far an edge is followed across, and how finely, in pixels."""
ALONG = np.arange(-3.0, 4.0)
"""Places along the edge that are averaged, in pixels."""
LEAST_RISE = 18.0
"""The least rise that counts as a strong edge, of 255."""
NOISES = 7.0
"""Least rise of a strong edge over the noise of one pixel."""
TAIL = 0.1
"""An edge ends where its slope falls below this share of its steepest slope."""
TAIL_FACTOR = 2.563 / 2.426
"""Correction for ending a Gaussian edge there: its 10-90 % distance is 2.563 sigma in full, 2.426 sigma when cut off."""
READING = 2.563**2 / 6.0
"""Square of the width that interpolation adds: linear interpolation at f has variance f (1 - f), 1/6 in the mean."""
STRAIGHT = 0.75
"""Least coherence of the gradients round an edge (0: all directions, 1: a single one)."""


@record
class Edges:
    """Edges of one photograph.

    x, y: (n,) their places in pixels, row 0 first. width: (n,) distance in pixels from 10 to 90 % of the rise. angle: (n,)
    direction of the rise in radians, 0 to pi. rise: (n,) of 255. noise: standard deviation of a pixel, of 255.
    """

    x: Floats
    y: Floats
    width: Floats
    angle: Floats
    rise: Floats
    noise: float

    def within(self, chosen: Bools) -> Edges:
        """Only the chosen edges."""
        return Edges(self.x[chosen], self.y[chosen], self.width[chosen], self.angle[chosen], self.rise[chosen], self.noise)


def edges_of(grey: Pixels8) -> Edges:
    """The strong, straight edges of a picture (h, w) of 8 bits, spread over it.

    A picture too small for a window (24 pixels) has none.
    """
    height, width = grey.shape
    margin = int(REACH) + 5
    if min(height, width) < 2 * margin + 2 * BLOCK:
        return _none(0.0)
    half = halved(grey)
    noise = noise_of(grey)
    x, y, slope = _candidates(half)
    inside = (x >= margin) & (x < width - margin) & (y >= margin) & (y < height - margin)
    strong = inside & (slope > 2.0 * noise)
    x, y, slope = x[strong], y[strong], slope[strong]
    if not len(x):
        return _none(noise)
    chosen = _evenly_chosen(x, y, slope, (height, width))
    return _measured(grey, x[chosen], y[chosen], noise)


def halved(grey: Pixels8) -> Floats:
    """(h // 2, w // 2) float32 means of two by two pixels."""
    even = grey[: grey.shape[0] // 2 * 2, : grey.shape[1] // 2 * 2]
    rows = even[0::2].astype(np.uint16) + even[1::2]
    return (rows[:, 0::2] + rows[:, 1::2]).astype(np.float32) * np.float32(0.25)


def noise_of(grey: Pixels8) -> float:
    """Standard deviation of a pixel's noise, of 255: by second differences both ways, which straight slopes and edges along
    an axis do not move (Immerkaer 1996); the median over blocks ignores the subject. It is at least 0.3, which rounding to
    whole levels alone gives (1 / sqrt 12)."""
    step = max(1, grey.shape[0] // 700)
    rows = np.arange(1, grey.shape[0] - 1, step)
    middle, above, below = (grey[rows + k].astype(np.int16) for k in (0, -1, 1))
    column = above + below - 2 * middle
    second = np.abs(column[:, :-2] + column[:, 2:] - 2 * column[:, 1:-1])
    wide = second.shape[1] // 32 * 32
    if not wide:
        return 0.3
    means = second[:, :wide].reshape(len(second), -1, 32).mean(axis=2)
    return max(0.3, float(np.percentile(means, 30)) * float(np.sqrt(np.pi / 2.0)) / 6.0)


def _candidates(half: Floats) -> tuple[Floats, Floats, Floats]:
    """(x, y) in whole pixels of the steepest place of each block, and how steep it is, a pixel of the halved picture."""
    gx = half[1:-1, 2:] - half[1:-1, :-2]
    gy = half[2:, 1:-1] - half[:-2, 1:-1]
    steep = np.abs(gx) + np.abs(gy)
    block = int(np.clip(np.sqrt(steep.size / BLOCKS), LEAST_BLOCK, BLOCK))
    down, right = steep.shape[0] // block, steep.shape[1] // block
    blocks = steep[: down * block, : right * block].reshape(down, block, right, block).transpose(0, 2, 1, 3)
    flat = blocks.reshape(down * right, block * block)
    best = flat.argmax(axis=1)
    slope = flat[np.arange(len(flat)), best] * 0.5
    row, column = np.divmod(np.arange(down * right), right)
    y = row * block + best // block + 1
    x = column * block + best % block + 1
    return 2 * x + 1, 2 * y + 1, slope


def _evenly_chosen(x: Floats, y: Floats, slope: Floats, shape: tuple[int, int]) -> Ints:
    """Indices of at most `MOST_EDGES` places: the steepest in each of 16 x 16 fields first, then the next of each."""
    if len(x) <= MOST_EDGES:
        return np.arange(len(x))
    field = (y * 16 // shape[0]) * 16 + x * 16 // shape[1]
    order = np.lexsort((-slope, field))
    first = np.r_[True, np.diff(field[order]) != 0]
    start = np.maximum.accumulate(np.where(first, np.arange(len(order)), 0))
    rank = np.arange(len(order)) - start
    return order[np.argsort(rank, kind="stable")[:MOST_EDGES]]


def _measured(grey: Pixels8, x: Floats, y: Floats, noise: float) -> Edges:
    angle, coherence = _directions(grey, x, y)
    profile = _profiles(grey, x, y, angle)
    width, rise = widths(profile)
    good = (coherence > STRAIGHT) & np.isfinite(width) & (rise > max(LEAST_RISE, NOISES * noise / np.sqrt(len(ALONG))))
    angle = np.mod(angle, np.pi)
    return Edges(x[good] + 0.0, y[good] + 0.0, width[good], angle[good], rise[good], noise)


def _directions(grey: Pixels8, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """(n,) angle of the steepest rise and (n,) coherence, by the structure tensor of 9 x 9 pixels (Bigun & Granlund 1987)."""
    reach = np.arange(-5, 6)
    window = grey[y[:, None, None] + reach[:, None], x[:, None, None] + reach].astype(np.float32)
    gx = window[:, 1:-1, 2:] - window[:, 1:-1, :-2]
    gy = window[:, 2:, 1:-1] - window[:, :-2, 1:-1]
    xx, yy, xy = (np.einsum("nij,nij->n", a, b) for a, b in ((gx, gx), (gy, gy), (gx, gy)))
    turned = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    sense = np.cos(turned) * gx.sum(axis=(1, 2)) + np.sin(turned) * gy.sum(axis=(1, 2))
    coherence = np.hypot(xx - yy, 2.0 * xy) / np.maximum(xx + yy, 1e-9)
    return np.where(sense < 0, turned + np.pi, turned), coherence


def _profiles(grey: Pixels8, x: Floats, y: Floats, angle: Floats) -> Floats:
    """(n, m) levels across each edge from -REACH to REACH by STEP, averaged along it."""
    across = np.arange(-REACH, REACH + STEP / 2, STEP, dtype=np.float32)
    c, s = np.cos(angle).astype(np.float32)[:, None, None], np.sin(angle).astype(np.float32)[:, None, None]
    along = ALONG.astype(np.float32)[None, :, None]
    u = x[:, None, None].astype(np.float32) + across * c - along * s
    v = y[:, None, None].astype(np.float32) + across * s + along * c
    flat = grey.ravel()
    levels: Floats = sum(flat[place] * share for place, share in corner_shares(u, v, grey.shape[1]))
    return levels.mean(axis=1)


def widths(profile: Floats) -> tuple[Floats, Floats]:
    """(n,) 10-90 % widths in pixels and (n,) rises of profiles (n, m) read by STEP, rising through their middle.

    nan where the profile has no rise near its middle. A wider edge than the reach reads as about the reach.
    """
    count, length = profile.shape
    slope = np.diff(profile, axis=1)
    middle = length // 2
    near = slice(middle - 4, middle + 4)
    peak = slope[:, near].argmax(axis=1) + middle - 4
    steepest = slope[np.arange(count), peak]
    under = slope < TAIL * np.maximum(steepest, 1e-6)[:, None]
    places = np.arange(length - 1)
    left = np.where(under & (places < peak[:, None]), places + 1, 0).max(axis=1)
    right = np.where(under & (places > peak[:, None]), places, length - 1).min(axis=1)
    low, high = profile[np.arange(count), left], profile[np.arange(count), right]
    rise = high - low
    at = [_crossing(profile, low + share * rise, left, right) for share in (0.1, 0.9)]
    wide = (at[1] - at[0]) * STEP * TAIL_FACTOR
    true = np.sqrt(np.maximum(wide * wide - READING, 0.25))
    return np.where((steepest > 0) & (rise > 0), true, np.nan), rise


def _crossing(profile: Floats, level: Floats, left: Floats, right: Floats) -> Floats:
    """(n,) place, between `left` and `right`, where each rising profile passes a level."""
    places = np.arange(profile.shape[1])
    above = (profile >= level[:, None]) & (places > left[:, None]) & (places <= right[:, None])
    after = np.where(above.any(axis=1), above.argmax(axis=1), right)
    rows = np.arange(len(profile))
    a, b = profile[rows, after - 1], profile[rows, after]
    return after - 1 + np.clip((level - a) / np.where(b > a, b - a, 1.0), 0.0, 1.0)


def _none(noise: float) -> Edges:
    nothing = np.zeros(0)
    return Edges(nothing, nothing, nothing, nothing, nothing, noise)
