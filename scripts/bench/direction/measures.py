"""What do heroes say of their composition? Figures from pictures (h, w, 3; 8 bits) and from their id passes (h, w)."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np

from blender_addon.core.colour import delta_e_2000, lab
from blender_addon.core.srgb import decode

from .heroes import BACKDROP, FIRST_PROP, PIECE, TABLE

HEAD = 0.3
"""Share of the piece's height, from its top, that counts as its head."""
NEAR = 0.03
"""Share of the frame's height within which an edge meets the head."""
EDGE = 8.0
"""Change of L* over `NEAR` of the frame from which a backdrop's blurred edge is seen as one. Set by eye."""


BLURRED = 0.05
"""Share of the frame's height over which the blurred far edge of the table reaches into the backdrop. Set by eye."""


def lightness_and_colour(picture: Any) -> Any:
    """(h, w, 3) CIE L*a*b* of an 8-bit sRGB picture."""
    return lab(decode(np.asarray(picture, float) / 255.0))


def prop_shares(ids: Any) -> tuple[float, float]:
    """Height and area of the largest prop over those of the piece; 0 where there is none."""
    piece = ids == PIECE
    tall, large = float(np.ptp(np.flatnonzero(piece.any(axis=1))) + 1), float(piece.sum())
    heights, areas = [0.0], [0.0]
    for number in np.unique(ids[ids >= FIRST_PROP]):
        mask = ids == number
        heights.append(float(np.ptp(np.flatnonzero(mask.any(axis=1))) + 1) / tall)
        areas.append(float(mask.sum()) / large)
    return max(heights), max(areas)


LEAST_PIXELS = 24
"""A prop that shows less than this is no spot of colour."""


def chroma_ratio(colours: Any, ids: Any) -> float:
    """Mean chroma C* of the most colourful prop over that of the piece (colours: L*a*b*)."""
    chroma = np.hypot(colours[..., 1], colours[..., 2])
    own = float(chroma[ids == PIECE].mean())
    props = [
        chroma[ids == number].mean() for number in np.unique(ids[ids >= FIRST_PROP]) if (ids == number).sum() >= LEAST_PIXELS
    ]
    return float(max(props, default=0.0)) / max(own, 1e-6)


def outline_apart(colours: Any, ids: Any) -> float:
    """Percent of the piece's outline that stands 12 L* or 15 dE (CIEDE2000) off what lies behind it, 2 pixels to each side."""
    piece = ids == PIECE
    inside = _mean_near(colours, piece & ~_grown(~piece, 1), 2)
    outside = _mean_near(colours, ~piece & ~_grown(piece, 1), 2)
    rim = piece & _grown(~piece, 1)
    rim[[0, -1]], rim[:, [0, -1]] = False, False
    known = rim & np.isfinite(inside[..., 0]) & np.isfinite(outside[..., 0])
    if not known.any():
        return 0.0
    inner, outer = inside[known], outside[known]
    apart = (np.abs(inner[:, 0] - outer[:, 0]) >= 12.0) | (delta_e_2000(inner, outer) >= 15.0)
    return 100.0 * float(apart.mean())


def head_edges(colours: Any, ids: Any) -> float:
    """Percent of the head's outline within `NEAR` of which the backdrop changes its lightness by more than `EDGE`."""
    piece, behind = ids == PIECE, ids == BACKDROP
    rows = np.flatnonzero(piece.any(axis=1))
    head = piece.copy()
    head[rows[0] + round(HEAD * len(rows)) :] = False
    rim = head & _grown(~piece, 1)
    if not rim.any():
        return 0.0
    reach = max(1, round(NEAR * ids.shape[0]))
    # The pixels along the piece mix with it, and the table's far edge, which is no edge of the backdrop, is blurred over more.
    clear = behind & ~_grown(piece, 2) & ~_grown(~behind & ~piece, max(2, round(BLURRED * ids.shape[0])))
    high = np.where(clear, colours[..., 0], -np.inf)
    low = np.where(clear, colours[..., 0], np.inf)
    met = 0
    for row, column in np.argwhere(rim):
        part = np.s_[max(0, row - reach) : row + reach + 1, max(0, column - reach) : column + reach + 1]
        if clear[part].any():
            met += high[part].max() - low[part].min() > EDGE
    return 100.0 * met / int(rim.sum())


def backdrop_colour(colours: Any, ids: Any) -> Any:
    """(3,) mean L*a*b* of what shows behind the table."""
    behind = ids == BACKDROP
    return colours[behind].mean(axis=0) if behind.any() else np.full(3, np.nan)


def horizon(ids: Any) -> float:
    """Height in percent of the frame, from its lower edge, at which the table ends in the middle of the picture."""
    levels = []
    for column in range(ids.shape[1]):
        behind = np.flatnonzero(ids[:, column] == BACKDROP)
        if (
            len(behind) and behind[-1] + 1 < ids.shape[0] and ids[behind[-1] + 1, column] == TABLE
        ):  # no prop stands before it there
            levels.append((column, behind[-1] + 1))
    if len(levels) < 2:
        return 100.0
    columns, rows = np.array(levels, float).T
    _, level = np.polyfit(columns - 0.5 * ids.shape[1], rows, 1)  # seen at an angle, the edge runs aslant
    return 100.0 * float(1.0 - level / ids.shape[0])


def largest_overlap(masks: list[Any]) -> float:
    """The largest intersection over union of the props' pixels of any two heroes."""
    shares = [float((a & b).sum()) / max(int((a | b).sum()), 1) for a, b in combinations(masks, 2)]
    return max(shares, default=0.0)


def spectral_residual(luminance: Any, *, width: int = 64) -> Any:
    """(h, w) saliency of a grey picture, drawn down to `width` columns.

    Hou and Zhang, "Saliency detection: a spectral residual approach", CVPR 2007: the log spectrum less its mean over 3 x 3
    cells, with the phase kept, back in the picture, squared and smoothed (by a Gaussian of 2.5 pixels at 64). One thing is
    ours: the picture fades to its mean over a tenth of each side (a Tukey window: Harris, Proc. IEEE 66, 1978), or its
    frame, where the left edge meets the right in the transform, would be the most salient thing in it.
    """
    small = _drawn_down(np.asarray(luminance, float), width)
    small = (small - small.mean()) * np.outer(*(_tukey(length, 0.2) for length in small.shape))
    spectrum = np.fft.fft2(small)
    amplitude = np.log(np.abs(spectrum) + 1e-9)
    mean = sum(np.roll(amplitude, (row, column), (0, 1)) for row in (-1, 0, 1) for column in (-1, 0, 1)) / 9.0
    found = np.abs(np.fft.ifft2(np.exp(amplitude - mean + 1j * np.angle(spectrum)))) ** 2
    return _blurred(found, 2.5)


def _tukey(length: int, share: float) -> Any:
    """A window of 1 with cosine flanks over `share` of its length, both together."""
    off = np.minimum(np.arange(length) + 0.5, length - np.arange(length) - 0.5) / (0.5 * share * length)
    return 0.5 - 0.5 * np.cos(np.pi * np.minimum(off, 1.0))


def holds_the_eye(colours: Any, ids: Any) -> bool:
    """Whether the saliency's maximum lies on the piece, a pixel of the small picture to spare."""
    found = spectral_residual(colours[..., 0])
    row, column = np.unravel_index(int(found.argmax()), found.shape)
    scale_y, scale_x = ids.shape[0] / found.shape[0], ids.shape[1] / found.shape[1]
    part = ids[
        max(0, int((row - 1) * scale_y)) : int((row + 2) * scale_y),
        max(0, int((column - 1) * scale_x)) : int((column + 2) * scale_x),
    ]
    return bool((part == PIECE).any())


def _drawn_down(picture: Any, width: int) -> Any:
    height = max(1, round(width * picture.shape[0] / picture.shape[1]))
    rows = np.linspace(0, picture.shape[0], height + 1).astype(int)
    columns = np.linspace(0, picture.shape[1], width + 1).astype(int)
    sums = np.add.reduceat(np.add.reduceat(picture, rows[:-1], axis=0), columns[:-1], axis=1)
    return sums / np.outer(np.diff(rows), np.diff(columns))


def _blurred(picture: Any, sigma: float) -> Any:
    reach = np.arange(-int(3 * sigma), int(3 * sigma) + 1)
    kernel = np.exp(-0.5 * (reach / sigma) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        padded = np.pad(picture, [(len(reach) // 2,) * 2 if dimension == axis else (0, 0) for dimension in (0, 1)], mode="edge")
        picture = np.apply_along_axis(lambda line: np.convolve(line, kernel, "valid"), axis, padded)
    return picture


def _grown(mask: Any, by: int) -> Any:
    padded = np.pad(mask, by)
    size = 2 * by + 1
    return np.lib.stride_tricks.sliding_window_view(padded, (size, size)).any(axis=(-2, -1))


def _mean_near(values: Any, mask: Any, reach: int) -> Any:
    """(h, w, 3) mean of values over the pixels of a mask within `reach`; nan where there is none."""
    size = 2 * reach + 1
    count = np.lib.stride_tricks.sliding_window_view(np.pad(mask.astype(float), reach), (size, size)).sum(axis=(-2, -1))
    total = np.stack([
        np.lib.stride_tricks.sliding_window_view(np.pad(np.where(mask, values[..., k], 0.0), reach), (size,
        size)).sum(axis=(-2, -1)) for k in range(3)
    ], axis=-1)  # fmt: skip
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count[..., None] > 0, total / count[..., None], np.nan)
