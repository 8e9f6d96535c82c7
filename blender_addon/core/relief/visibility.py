"""What does each point of the surface see in each direction: the room, or another part of the piece?

One depth map a direction (Williams, "Casting curved shadows on curved surfaces", 1978), seen orthographically over a dense
random sample of the surface: array work alone, its cost hardly grows with the mesh. Opposite directions share a projection.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..mesh import face_areas, unit
from ..threads import product, spread

Floats = NDArray[Any]
Ints = NDArray[Any]

PER_PIXEL = 4.0  # samples a pixel of the depth map on a face seen squarely: 2 % of pixels stay empty
STEEPEST = 3.0  # tangent of the steepest tilt that the depth slack still follows


@dataclass(frozen=True)
class Samples:
    """Points spread over the occluding surfaces: position (s, 3) float32, face (s,), weight (s, 3) barycentric."""

    position: Floats
    face: Ints
    weight: Floats
    spacing: float


@dataclass(frozen=True)
class Visibility:
    """What receivers see. directions: (d, 3) unit, towards the light. open: (n, d) float16, part of the direction that is
    free, 0 below the horizon. source: (n, d) int32, the sample that blocks it, -1 where nothing does.
    """

    directions: Floats
    open: NDArray[np.float16]
    source: NDArray[np.int32]

    @property
    def solid_angle(self) -> float:
        """Steradians that each direction stands for."""
        return 4 * np.pi / len(self.directions)


def spread_samples(vertices: Floats, faces: Ints, *, count: int, seed: int) -> Samples:
    """`count` points on the faces, evenly by area (systematic along the faces, random within each)."""
    areas = face_areas(vertices.astype(float), faces)
    total = float(areas.sum())
    if not total > 0:
        raise ValueError("the surface has no area")
    rng = np.random.default_rng(seed)
    reach = np.cumsum(areas)
    face = np.searchsorted(reach, (np.arange(count) + rng.random(count)) * (total / count)).clip(0, len(faces) - 1)
    root, turn = np.sqrt(rng.random(count, dtype=np.float32)), rng.random(count, dtype=np.float32)
    weight = np.stack([1 - root, root * (1 - turn), root * turn], axis=1)
    corners = faces[face]
    position = sum(vertices[corners[:, k]].astype(np.float32) * weight[:, k : k + 1] for k in range(3))
    return Samples(position, face, weight, float(np.sqrt(total / count)))


def look_round(samples: Samples, points: Floats, normals: Floats, half_directions: Floats) -> Visibility:
    """What receivers at `points` (n, 3) with unit `normals` see along `half_directions` (d, 3) and their opposites.

    The directions of the result are the given ones, then their opposites. Units: those of the samples.
    """
    count = len(half_directions)
    directions = np.concatenate([half_directions, -half_directions]).astype(np.float32)
    pixel = samples.spacing * np.sqrt(PER_PIXEL)
    lifted = (points + normals * (0.35 * pixel)).astype(np.float32)
    facing = (normals @ directions.T).astype(np.float32)
    free = np.zeros((len(points), 2 * count), np.float16)
    source = np.full((len(points), 2 * count), -1, np.int32)

    def look(place: int) -> None:
        frame = _frame(half_directions[place])
        seen, received = product(samples.position, frame), product(lifted, frame)
        (low, high), (lowest, highest) = _reach(seen), _reach(received)
        low, high = np.minimum(low, lowest) - pixel, np.maximum(high, highest)
        size = np.ceil((high - low) / pixel).astype(int) + 2
        cell = ((seen[:, :2] - low) / pixel).astype(np.int32)
        flat = cell[:, 1] * np.int32(size[0]) + cell[:, 0]
        taps = _taps((received[:, :2] - low) / np.float32(pixel) - 0.5, int(size[0]))
        for sign, column in ((1, place), (-1, place + count)):
            rows = np.flatnonzero(facing[:, column] > 0)
            _test(sign * seen[:, 2], flat, int(size[0] * size[1]), sign * received[:, 2], taps, rows,
                  facing[:, column], pixel, free[:, column], source[:, column])  # fmt: skip

    for _ in spread(look, range(count)):
        pass
    return Visibility(directions, free, source)


def _frame(direction: Floats) -> Floats:
    """(3, 3) columns: two axes across `direction`, then itself."""
    helper = (0.0, 0.0, 1.0) if abs(direction[2]) < 0.9 else (1.0, 0.0, 0.0)
    across = unit(np.cross(direction, helper))
    return np.stack([across, np.cross(direction, across), direction], axis=1).astype(np.float32)


def _reach(points: Floats) -> Floats:
    """(2, 2) least and greatest of the first two coordinates; by columns, as numpy is slow along short rows."""
    return np.array([[end(points[:, axis]) for axis in range(2)] for end in (np.min, np.max)], np.float32)


def _taps(place: Floats, width: int) -> tuple[tuple[Ints, Floats], ...]:
    """The four pixels round each receiver and their bilinear weights."""
    cell = np.floor(place).astype(np.int32)
    part = place - cell
    flat = cell[:, 1] * np.int32(width) + cell[:, 0]
    right, up = part[:, 0], part[:, 1]
    return (
        (flat, (1 - right) * (1 - up)),
        (flat + 1, right * (1 - up)),
        (flat + width, (1 - right) * up),
        (flat + width + 1, right * up),
    )


def _test(
    depth: Floats, flat: Ints, pixels: int, height: Floats, taps: tuple[tuple[Ints, Floats], ...], rows: Ints, facing: Floats,
    pixel: float, free: Floats, source: Ints,
) -> None:  # fmt: skip
    """Fill `free` and `source` of one direction for the receivers in `rows`."""
    nearest = np.full(pixels, -np.inf, np.float32)
    np.maximum.at(nearest, flat, depth)
    first = np.flatnonzero(depth >= nearest[flat])
    sample = np.full(pixels, -1, np.int32)
    sample[flat[first]] = first
    cosine = np.maximum(facing[rows], 0.05)
    slack = pixel * (0.5 + 0.7 * np.minimum(np.sqrt(1 - np.minimum(cosine, 1) ** 2) / cosine, STEEPEST))
    limit = height[rows] + slack
    lit = np.zeros(len(rows), np.float32)
    best = np.zeros(len(rows), np.float32)
    blocker = np.full(len(rows), -1, np.int32)
    for tap, weight in taps:
        tap, weight = tap[rows], weight[rows]
        clear = nearest[tap] <= limit
        lit += weight * clear
        stronger = ~clear & (weight > best)
        blocker[stronger] = sample[tap[stronger]]
        best[stronger] = weight[stronger]
    free[rows] = lit
    source[rows] = blocker
