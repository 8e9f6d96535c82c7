"""Where on the photograph do small parts of the piece lie that the look, lit alike, shows at a known place?

Each patch of the look is sought round its place by the correlation of what a plane through it leaves over, so that neither
the light's level nor its slope counts. Once the camera is nearly right, other pictures of the patch may be mixed with the
look's, as fits the photo best (a linear subspace instead of one template: Hager and Belhumeur, Efficient Region Tracking with
Parametric Models of Geometry and Illumination, IEEE PAMI 20, 1998). How sharply the correlation falls off each way tells how
well the place is known along each: along an edge hardly at all.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from ...arrays import Bools, Floats, Ints
from ...records import record
from ...surface.bandpass import gaussian_blur

HALF = 7
"""Half a patch's side: 15 x 15 pixels."""
CELL = 10
"""At most one patch in each square of so many pixels."""
COVERED = 0.6
"""Least share of a patch that must show the piece."""
LEAST_CONTRAST = 0.004
"""Least deviation of a patch from its plane, in display-encoded values: the noise of a phone's photo at this size; a guess."""
LEAST_MIXED = 0.002
"""The same of what a further picture has beside those before it, to be mixed with them; a guess."""
LEAST_CORRELATION = 0.5
"""Least correlation of a match."""
FLOOR = 0.4
"""Pixels that a match of a look with a photo is never surer of: what the scan's form and the light get wrong. On our bench
matches lie 0.5 pixels off the true camera, those that look sure by their correlation as much as others."""
ON_PHOTO = 0.15
"""The same of a match of a photo with a photo, which have the piece's form and colours in common."""


@record
class Shifts:
    """How far patches (n) lie from where the look has them. shift: (n, 2) pixels right and up. whiten: (n, 2, 2) so that
    whiten @ (an error in pixels right and up) has a deviation of one. correlation: (n,), 0 where none was found. asked:
    how many had enough contrast to be looked for."""

    shift: Floats
    whiten: Floats
    correlation: Floats
    asked: int


def corners_of(shown: Floats, mask: Bools) -> tuple[Ints, Ints]:
    """Rows and columns of the patches of a look (h, w), display-encoded, that are worth looking for."""
    height, width = shown.shape
    calm = gaussian_blur(np.where(mask, shown, 0), 0.7)
    inner = gaussian_blur(mask.astype(np.float32), 1.0) > 0.98  # the silhouette's own step is none of the piece's
    up, across = (np.where(inner, change, 0) for change in np.gradient(calm))
    xx, yy, xy = (gaussian_blur(product.astype(np.float32), 3.0) for product in (across**2, up**2, across * up))
    least = 0.5 * (xx + yy) - np.sqrt(np.maximum(0.25 * (xx - yy) ** 2 + xy**2, 0))
    worth = np.where(mask, least + 0.05 * (xx + yy), 0)
    worth[:HALF], worth[-HALF:], worth[:, :HALF], worth[:, -HALF:] = 0, 0, 0, 0
    high, wide = height // CELL * CELL, width // CELL * CELL
    cells = worth[:high, :wide].reshape(high // CELL, CELL, wide // CELL, CELL).swapaxes(1, 2).reshape(-1, CELL * CELL)
    best = cells.argmax(axis=1)
    full = np.flatnonzero(cells[np.arange(len(cells)), best] > 1e-7)
    row = full // (wide // CELL) * CELL + best[full] // CELL
    column = full % (wide // CELL) * CELL + best[full] % CELL
    return row, column


def matched(
    shown: Floats,
    mask: Bools,
    photo: Floats,
    corners: tuple[Ints, Ints],
    reach: int,
    *,
    floor: float = FLOOR,
    mixed: Sequence[Floats] = (),
) -> Shifts:
    """Where the patches round `corners` (rows, columns) of a look (h, w) lie on the photo (h, w), both display-encoded.

    reach: pixels that are looked around. floor: pixels that no match is surer of. shown: (h, w) the look. mask: (h, w) where it
    shows the piece. mixed: further pictures (h, w), of which each patch may have any amount.
    """
    row, column = corners
    size, wide = 2 * HALF + 1, 2 * (HALF + reach) + 1
    around = np.pad(photo, HALF + reach, mode="edge")
    masks = np.pad(mask.astype(np.float32), HALF)
    weight = sliding_window_view(masks, (size, size))[row, column].reshape(len(row), -1)
    region = sliding_window_view(around, (wide, wide))[row, column]
    flat = _planes(weight)
    found: list[Floats] = []
    for picture in (shown, *mixed):
        looks = sliding_window_view(np.pad(picture, HALF, mode="edge"), (size, size))
        template = _without(looks[row, column].reshape(len(row), -1).astype(np.float32) * weight, flat)
        for earlier in found:
            template = _without(template, earlier[:, None])
        energy = np.sqrt(np.einsum("np,np->n", template, template))
        contrast = energy / np.sqrt(np.maximum(weight.sum(axis=1), 1))
        if not found:
            good = (contrast > LEAST_CONTRAST) & (weight.mean(axis=1) > COVERED)
        energy = np.where(contrast > (LEAST_MIXED if found else 0), energy, np.inf)
        found.append(template / np.maximum(energy, 1e-9)[:, None])
    units = np.stack(found, axis=1)
    score = np.zeros((len(row), (2 * reach + 1) ** 2), np.float32)
    for first in range(0, len(row), 64):  # what is looked through at once stays small
        part = slice(first, first + 64)
        windows = sliding_window_view(region[part], (1, size, size)).reshape(len(region[part]), -1, size * size)
        score[part] = _correlation(windows, weight[part], flat[part], units[part])
    shift, whiten, correlation = _peaks(score, weight, reach, floor)
    return Shifts(shift, whiten, np.where(good, correlation, 0), int(good.sum()))


def _without(values: Floats, basis: Floats) -> Floats:
    """(n, p) the values less what an orthonormal basis (n, k, p) explains of them."""
    return np.asarray(values - np.einsum("nk,nkp->np", np.einsum("nkp,np->nk", basis, values), basis))


def _planes(weight: Floats) -> Floats:
    """(n, 3, p) an orthonormal basis of the planes over each patch's weighted pixels."""
    steps = np.arange(-HALF, HALF + 1) / HALF
    up, across = (axis.ravel() for axis in np.meshgrid(steps, steps, indexing="ij"))
    found: list[Floats] = []
    for plane in (np.ones_like(up), across, up):
        vector = weight * plane
        for earlier in found:
            vector = vector - np.einsum("np,np->n", vector, earlier)[:, None] * earlier
        found.append(vector / np.maximum(np.linalg.norm(vector, axis=1), 1e-6)[:, None])
    return np.stack(found, axis=1).astype(np.float32)


def _correlation(windows: Floats, weight: Floats, flat: Floats, units: Floats) -> Floats:
    """(n, s) multiple correlation of each patch's pictures (n, t, p) with each place round it, the plane taken out of both; the
    first picture counts only where it has its own sign."""
    seen = windows * weight[:, None]
    square = np.einsum("nsp,nsp->ns", seen, seen)
    parts = seen @ np.concatenate([flat, units], axis=1).swapaxes(1, 2)
    left = square - np.einsum("nsk,nsk->ns", parts[..., :3], parts[..., :3])
    least = LEAST_CONTRAST**2 * weight.sum(axis=1, keepdims=True) / 4
    explained = parts[..., 3]
    if units.shape[1] > 1:
        explained = np.sqrt(np.maximum(explained, 0) ** 2 + np.einsum("nsk,nsk->ns", parts[..., 4:], parts[..., 4:]))
    return np.asarray(explained / np.sqrt(np.maximum(left, least)))


def _peaks(score: Floats, weight: Floats, reach: int, floor: float) -> tuple[Floats, Floats, Floats]:
    """Shift, whitening and correlation at the best of each patch's places, between pixels by the correlation's own bend."""
    count, side = len(score), 2 * reach + 1
    best = score.argmax(axis=1)
    up, right = np.divmod(best, side)
    inside = (up > 0) & (up < side - 1) & (right > 0) & (right < side - 1)
    up, right = np.clip(up, 1, side - 2), np.clip(right, 1, side - 2)
    grid, rows = score.reshape(count, side, side), np.arange(count)
    near = np.stack([[grid[rows, up + a, right + b] for b in (-1, 0, 1)] for a in (-1, 0, 1)])  # (3, 3, n)
    slope = np.stack([(near[1, 2] - near[1, 0]) / 2, (near[2, 1] - near[0, 1]) / 2], axis=1)
    xx, yy = near[1, 2] - 2 * near[1, 1] + near[1, 0], near[2, 1] - 2 * near[1, 1] + near[0, 1]
    xy = (near[2, 2] - near[2, 0] - near[0, 2] + near[0, 0]) / 4
    bend = -np.stack([np.stack([xx, xy], 1), np.stack([xy, yy], 1)], axis=1)
    values, ways = np.linalg.eigh(bend)
    values = np.maximum(values, 1e-4)
    step = np.einsum("nij,nj,nkj,nk->ni", ways, 1 / values, ways, slope)
    step *= np.minimum(1.0, 0.75 / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-9))
    shift = np.stack([right - reach, up - reach], axis=1) + step
    correlation = np.where(inside, grid[rows, up, right], 0)
    # A unit patch against itself moved by d loses d' B d / 2; noise that leaves 1 - c of it over gives that variance.
    freedom = np.maximum(weight.sum(axis=1) / 4, 4.0)  # the pixels of a blurred picture go together in fours
    spread = np.maximum(1 - np.clip(correlation, 0, 1), 0.02) / freedom
    deviation = np.sqrt(spread[:, None] / values + floor**2)
    whiten = np.einsum("nij,nj,nkj->nik", ways, 1 / deviation, ways)
    return shift, whiten, np.where(correlation > LEAST_CORRELATION, correlation, 0)
