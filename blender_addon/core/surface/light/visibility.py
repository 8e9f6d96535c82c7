"""What does each point of the surface see in each direction: the room, or another part of the piece?

One depth map a direction (Williams, "Casting curved shadows on curved surfaces", 1978), seen orthographically over a dense
random sample of the surface: array work alone, its cost hardly grows with the mesh. Opposite directions share a projection.
Only what looks away from the light can hide it from a point in front of it (the far sides of a solid; Wang and Molnar,
"Second-depth shadow mapping", 1994), so that no surface shades itself; and what the point sees is the first of these above it.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.triangles import across, face_areas, face_normals, faces_by_area, unit, weights_within
from ...rasters import corner_shares
from ...records import record
from ...threads import in_parallel, product


@record
class VisibilityConstants:
    """Numbers of the depth maps."""

    per_pixel: float = 4.0
    """Samples per pixel of the depth map on a face seen head-on: 2 % of pixels stay empty."""
    depths: int = 1 << 14
    """Depth steps of the buffer that finds the nearest sample, to bound memory."""
    lift: float = 0.2
    """Pixels by which a receiver is lifted off its surface (a guess)."""
    slack: float = 0.25
    """Pixels by which an occluder must exceed it (a guess)."""


VISIBILITY = VisibilityConstants()


@record
class Samples:
    """Points spread over the occluding surfaces: position (s, 3) float32, unit normal (s, 3) float32, face (s,), weight (s, 3)
    barycentric."""

    position: Floats
    normal: Floats
    face: Ints
    weight: Floats
    spacing: float


@record
class Visibility:
    """What receivers see. directions: (d, 3) unit, towards the light. open: (n, d) float16, part of the direction that is
    free, 0 below the horizon. source: (n, d) int32, the sample that is seen where something blocks it, -1 where nothing does.
    """

    directions: Floats
    open: Floats
    source: Ints

    @property
    def solid_angle(self) -> float:
        """Steradians that each direction stands for."""
        return 4 * np.pi / len(self.directions)


def spread_samples(vertices: Floats, faces: Ints, *, count: int, seed: int) -> Samples:
    """`count` points on the faces, evenly by area (systematic along the faces, random within each).

    vertices: (n, 3). faces: (m, 3). seed: of the random places. Raises ValueError for a surface without area.
    """
    areas = face_areas(vertices.astype(float), faces)
    total = float(areas.sum())
    if not total > 0:
        raise ValueError("the surface has no area")
    rng = np.random.default_rng(seed)
    face = faces_by_area(np.cumsum(areas), (np.arange(count) + rng.random(count)) / count)
    weight = weights_within(rng.random(count, dtype=np.float32), rng.random(count, dtype=np.float32))
    corners = faces[face]
    position = sum(vertices[corners[:, k]].astype(np.float32) * weight[:, k : k + 1] for k in range(3))
    normal = face_normals(vertices, faces)[face].astype(np.float32)
    return Samples(position, normal, face, weight, float(np.sqrt(total / count)))


def look_round(samples: Samples, points: Floats, normals: Floats, half_directions: Floats) -> Visibility:
    """What receivers at `points` (n, 3) with unit `normals` see along `half_directions` (d, 3) and their opposites.

    The directions of the result are the given ones, then their opposites. Units: those of the samples.
    """
    count = len(half_directions)
    directions = np.concatenate([half_directions, -half_directions]).astype(np.float32)
    pixel = samples.spacing * np.sqrt(VISIBILITY.per_pixel)
    lifted = (points + normals * (VISIBILITY.lift * pixel)).astype(np.float32)
    facing = product(normals.astype(np.float32), directions.T)
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
        turned = product(samples.normal, frame[:, 2:])[:, 0]
        fallen = (received[:, :2] - low) / np.float32(pixel) - 0.5
        corners = corner_shares(fallen[:, 0], fallen[:, 1], int(size[0]))
        for sign, column in ((1, place), (-1, place + count)):
            rows = np.flatnonzero(facing[:, column] > 0)
            back = np.flatnonzero(sign * turned < 0)
            occluders = _Occluders(back, sign * seen[back, 2], flat[back], int(size[0] * size[1]))
            own = [(corner[rows], part[rows]) for corner, part in corners]
            free[rows, column], source[rows, column] = _test(
                occluders, sign * received[rows, 2] + VISIBILITY.slack * pixel, own
            )

    for _ in in_parallel(look, range(count)):
        pass
    return Visibility(directions, free, source)


def _frame(direction: Floats) -> Floats:
    """(3, 3) columns: two axes across `direction`, then itself."""
    first = unit(across(direction))
    return np.stack([first, np.cross(direction, first), direction], axis=1).astype(np.float32)


def _reach(points: Floats) -> Floats:
    """(2, 2) least and greatest of the first two coordinates; by columns, as numpy is slow along short rows."""
    return np.array([[end(points[:, axis]) for axis in range(2)] for end in (np.min, np.max)], np.float32)


@record
class _Occluders:
    """What can hide the light of one direction: sample, depth towards the light and pixel of `pixels` (k,)."""

    sample: Ints
    depth: Floats
    pixel: Ints
    pixels: int


def _test(occluders: _Occluders, limit: Floats, taps: list[tuple[Ints, Floats]]) -> tuple[Floats, Ints]:
    """(r,) part of the direction that is free for receivers, and (r,) the sample that blocks it, -1 for none.

    limit: (r,) how high occluders may stand without shading them. taps: four pixels (r,) round them and their weights.
    """
    nearest = np.full(occluders.pixels, -np.inf, np.float32)
    np.maximum.at(nearest, occluders.pixel, occluders.depth)
    lit, best = np.zeros((2, len(limit)), np.float32)
    where = np.full(len(limit), -1, np.int32)
    for tap, weight in taps:
        clear = nearest[tap] <= limit
        lit += weight * clear
        stronger = ~clear & (weight > best)
        where[stronger] = tap[stronger]
        best[stronger] = weight[stronger]
    blocked = np.flatnonzero(where >= 0)
    blocker = np.full(len(limit), -1, np.int32)
    blocker[blocked] = _first_above(occluders, limit[blocked], where[blocked])
    return lit, blocker


def _first_above(occluders: _Occluders, height: Floats, pixel: Ints) -> Ints:
    """(r,) the sample of the lowest occluder above `height` (r,) in its `pixel` (r,), -1 for none.

    Pixel, depth and place are packed into one whole number each, so that one sort and one search do.
    """
    if not len(height) or not len(occluders.depth):
        return np.full(len(height), -1, np.int32)
    low = min(float(occluders.depth.min()), float(height.min()))
    high = max(float(occluders.depth.max()), float(height.max()))
    bits = len(occluders.depth).bit_length()

    def packed(where: Ints, depth: Floats) -> Ints:
        step = ((depth - low) * ((VISIBILITY.depths - 1) / max(high - low, 1e-9))).astype(np.int64)
        return (where.astype(np.int64) * VISIBILITY.depths + step) << bits

    keys = np.sort(packed(occluders.pixel, occluders.depth) | np.arange(len(occluders.depth)))
    asked = packed(pixel, height)
    met = keys[np.minimum(np.searchsorted(keys, asked), len(keys) - 1)]
    same = ((met >> bits) // VISIBILITY.depths == pixel) & (met >= asked)
    return np.where(same, occluders.sample[met & ((1 << bits) - 1)], -1).astype(np.int32)
