"""Smooth random fields for synthetic surfaces: gradient noise on the plane and its sums, the same for a seed everywhere."""

from __future__ import annotations

import numpy as np

from .arrays import Floats, Ints


def noise(x: Floats, y: Floats | float = 0.0, *, seed: int = 0) -> Floats:
    """Gradient noise, about -1 to 1, with a feature size of 1.

    Parameters
    ----------
    x, y : arrays that broadcast, any unit (divide by the wanted feature size first).
    seed : another seed is another field.

    Returns
    -------
    Array of the broadcast shape. Zero on the integer lattice, continuous second derivative (K. Perlin, "Improving noise",
    2002: quintic fade), with hashed directions on the unit circle in place of his table.
    """
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    column, row = np.floor(x), np.floor(y)
    u, v = x - column, y - row
    column, row = column.astype(np.int64), row.astype(np.int64)
    fade_u, fade_v = (t * t * t * (t * (t * 6 - 15) + 10) for t in (u, v))
    corners = [
        along * (u - right) + across * (v - down) for (right, down), (along, across) in _directions(column, row, seed).items()
    ]
    low = corners[0] + fade_u * (corners[1] - corners[0])
    high = corners[2] + fade_u * (corners[3] - corners[2])
    return 1.5 * (low + fade_v * (high - low))


def _directions(column: Ints, row: Ints, seed: int) -> dict[tuple[int, int], tuple[Floats, Floats]]:
    """The direction (cosine, sine) at the four corners of the lattice cells `column`, `row`, by the corner's (right, down)."""
    steps = [(right, down) for down in (0, 1) for right in (0, 1)]
    if not column.size:
        return {step: (np.zeros(column.shape), np.zeros(column.shape)) for step in steps}
    left, top = int(column.min()), int(row.min())
    wide, high = int(column.max()) - left + 2, int(row.max()) - top + 2
    if wide * high > column.size:
        angles = {step: _hashed(column + step[0], row + step[1], seed) * (2 * np.pi) for step in steps}
        return {step: (np.cos(angle), np.sin(angle)) for step, angle in angles.items()}
    # Fewer corners than places: each direction is computed once and looked up.
    columns, rows = np.broadcast_arrays(left + np.arange(wide), (top + np.arange(high))[:, None])
    angle = _hashed(columns, rows, seed).ravel() * (2 * np.pi)
    along, across = np.cos(angle), np.sin(angle)
    first = (row - top) * wide + (column - left)
    return {step: (along.take(place), across.take(place)) for step in steps for place in [first + step[1] * wide + step[0]]}


def layered(x: Floats, y: Floats | float = 0.0, *, seed: int = 0, octaves: int = 4, gain: float = 0.5) -> Floats:
    """A sum of `octaves` noises, about -1 to 1, each half the size and `gain` times the height of the one before.

    x, y: places, in sizes of the largest features. seed: of the noise.
    """
    total: Floats = np.zeros(np.broadcast(np.asarray(x), np.asarray(y)).shape)
    height, scale, whole = 1.0, 1.0, 0.0
    for octave in range(octaves):
        total = total + height * noise(np.asarray(x) * scale, np.asarray(y) * scale, seed=seed * 31 + octave)
        whole += height
        height *= gain
        scale *= 2.03
    return total / whole


def smoothstep(low: float, high: float, value: Floats) -> Floats:
    """0 below `low`, 1 above `high`, cubic between."""
    t = np.clip((np.asarray(value, float) - low) / (high - low), 0.0, 1.0)
    return t * t * (3 - 2 * t)


def _hashed(column: Ints, row: Ints, seed: int) -> Floats:
    """Evenly spread numbers 0 to 1 from lattice places, by integer mixing (the finaliser of MurmurHash3, public domain)."""
    with np.errstate(over="ignore"):
        h = column.astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15)
        h ^= row.astype(np.uint64) * np.uint64(0xC2B2AE3D27D4EB4F) + np.uint64((seed * 0x165667B19E3779F9) & (2**64 - 1))
        h ^= h >> np.uint64(33)
        h *= np.uint64(0xFF51AFD7ED558CCD)
        h ^= h >> np.uint64(33)
        h *= np.uint64(0xC4CEB9FE1A85EC53)
        h ^= h >> np.uint64(33)
    return (h >> np.uint64(11)).astype(float) / float(2**53)
