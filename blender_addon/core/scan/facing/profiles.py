"""What does a standing thing show in each direction? Its mirror planes, face-like patches, detail, the sides of its base.

Every profile is (DIRECTIONS,) values; direction k looks at the thing from 10 k degrees counter-clockwise from -Y.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ...arrays import Bools, Floats
from ...mesh.planar import convex_outline
from ..symmetry import mirror_profile

STEP_DEG = 10.0
DIRECTIONS = 36
ANGLES = STEP_DEG * np.arange(DIRECTIONS)
PIXELS = 72
WINDOWS = (8, 11, 15)
"""Widths in pixels of what may be a face: a ninth to a fifth of the height of the whole."""
CELLS = 30
"""Cells along the diagonal in which roughness is measured: a few hundredths of the size, as eyes and fingers are."""
WORKED = 0.1
"""How far detail must lie to one side to count in full: 0.02 to 0.3 for figures, less than 0.05 by chance, on the
development scans."""
HEAD = 0.72
"""Share of the height over which the head is looked for: common practice for figures, seven heads high or fewer."""


@dataclass(frozen=True)
class Standing:
    """A standing thing: points (n, 3) with z up, the ground at 0 and the axis of its box at x = y = 0, unit normals (n, 3), and
    from what height on it is the piece rather than its stand."""

    points: Floats
    normals: Floats
    piece_low: float

    @property
    def piece(self) -> Bools:
        """(n,) which points are the piece's."""
        high = float(self.points[:, 2].max())
        return self.points[:, 2] > self.piece_low + 0.02 * (high - self.piece_low)


@dataclass(frozen=True)
class Profiles:
    """What speaks for each direction; all (DIRECTIONS,), about 0 to 1 or -1 to 1.

    mirror, head_mirror: likeness of left and right of the piece and of its head. face: the strongest face-like patch.
    worked: how much more detail lies towards there. base: whether a side of the base is square to it. round_share: what of
    the form does not depend on the direction.
    """

    mirror: Floats
    head_mirror: Floats
    face: Floats
    worked: Floats
    base: Floats
    round_share: float


def profiles(thing: Standing) -> Profiles:
    """Measure a standing thing in every direction."""
    piece = thing.points[thing.piece]
    low, high = float(piece[:, 2].min()), float(piece[:, 2].max())
    head = piece[piece[:, 2] > low + HEAD * (high - low)]
    mirror, round_share = mirror_profile(piece, ANGLES)
    head_mirror = mirror_profile(head, ANGLES)[0] if len(head) > 200 else np.zeros(DIRECTIONS)
    return Profiles(
        np.clip(mirror, 0.0, 1.0), np.clip(head_mirror, 0.0, 1.0), _faces(thing, low + 0.45 * (high - low)),
        np.clip(_worked(thing) / WORKED, -1.0, 1.0), _base_sides(thing), round_share,
    )  # fmt: skip


def directions() -> Floats:
    """(DIRECTIONS, 2) unit vectors from the thing to the eye, seen from above."""
    angle = np.radians(ANGLES)
    return np.stack([np.sin(angle), -np.cos(angle)], axis=1)


def _worked(thing: Standing) -> Floats:
    """Where the worked side is: the mean normal weighted by roughness less the plain mean, along each direction.

    Makers put more work into the side that is meant to be seen: face, chest and hands, rather than back (common practice).
    """
    points, normals = thing.points[thing.piece], thing.normals[thing.piece]
    mean, rough, count = _cells(points, normals, float(np.linalg.norm(np.ptp(thing.points, axis=0))) / CELLS)
    if not len(count) or not (count * rough).sum() > 0:
        return np.zeros(DIRECTIONS)
    shift = np.average(mean, axis=0, weights=count * rough) - np.average(mean, axis=0, weights=count)
    return directions() @ shift[:2]


def _cells(points: Floats, normals: Floats, size: float) -> tuple[Floats, Floats, Floats]:
    """Of cubes of that size with points enough: mean normal (k, 3), roughness (k,) 0 to 1, and points (k,)."""
    place = np.floor((points - points.min(axis=0)) / size).astype(np.int64)
    span = place.max(axis=0) + 1
    _, cell, count = np.unique(
        (place[:, 0] * span[1] + place[:, 1]) * span[2] + place[:, 2], return_inverse=True, return_counts=True
    )
    total = np.stack([np.bincount(cell.reshape(-1), normals[:, axis]) for axis in range(3)], axis=1)
    length = np.linalg.norm(total, axis=1)
    good = (count >= 4) & (length > 0)
    return total[good] / length[good, None], 1.0 - length[good] / count[good], count[good].astype(float)


def _base_sides(thing: Standing) -> Floats:
    """-1 to 1: whether the sides of the base lie square to a direction. Bases are set square to what they carry."""
    high = float(thing.points[:, 2].max())
    low = thing.points[thing.points[:, 2] < max(thing.piece_low, 0.03 * high)][:, :2]
    outline = convex_outline(low)
    if len(outline) < 3:
        return np.zeros(DIRECTIONS)
    along = np.roll(outline, -1, axis=0) - outline
    length = np.linalg.norm(along, axis=1)
    turn = (length * np.exp(4j * np.arctan2(along[:, 1], along[:, 0]))).sum() / length.sum()
    return np.asarray(np.real(turn * np.exp(-4j * np.radians(ANGLES))), float)


def _faces(thing: Standing, above: float) -> Floats:
    """How face-like the most face-like patch over a height is, from each direction.

    A face is a patch of detail whose left half mirrors its right half: in the picture of its normals, freed of what is
    larger than a feature, the sideways part changes its sign across the middle and the upward part does not.
    """
    reach = float(np.linalg.norm(thing.points[:, :2], axis=1).max())
    size = 1.02 * max(float(thing.points[:, 2].max()), 2.0 * reach)
    rows = (np.arange(PIXELS) + 0.5) / PIXELS * size > above
    found = np.zeros(DIRECTIONS)
    for place, (sideways, upward, seen) in enumerate(_pictures(thing, size)):
        found[place] = max(_symmetric_detail(sideways, upward, seen, rows, width) for width in WINDOWS)
    return np.asarray(sum(np.roll(found, step) for step in (-1, 0, 1)) / 3.0 / 0.3, float)


def _symmetric_detail(sideways: Floats, upward: Floats, seen: Bools, rows: Bools, width: int) -> float:
    """Of all square windows of that width, the most detail (in normals) that is symmetrical about the window's middle."""
    half = width // 2
    alike, strength, covered = (np.zeros(seen.shape) for _ in range(3))
    for apart in range(half):
        left, right = apart, -1 - apart
        both = np.roll(seen, left, axis=1) & np.roll(seen, right, axis=1)
        one, two = np.roll(sideways, left, axis=1), np.roll(sideways, right, axis=1)
        up, down = np.roll(upward, left, axis=1), np.roll(upward, right, axis=1)
        alike += both * (up * down - one * two)
        strength += both * 0.5 * (up**2 + down**2 + one**2 + two**2)
        covered += both
    alike, strength, covered = (_box_rows(values, width) / half for values in (alike, strength, covered))
    value = np.where(rows[:, None] & (covered > 0.85), alike / np.sqrt(strength + 1e-3), 0.0)
    return float(value.max())


def _pictures(thing: Standing, size: float) -> Iterator[tuple[Floats, Floats, Bools]]:
    """From each direction: the fine part of the normals sideways and upwards (PIXELS, PIXELS), row 0 below, and what is
    seen."""
    for eye in directions():
        right = np.array([-eye[1], eye[0]])
        facing = thing.normals[:, :2] @ eye > 0.05
        points, normals = thing.points[facing], thing.normals[facing]
        column = ((points[:, :2] @ right / size + 0.5) * PIXELS).astype(int)
        row = (points[:, 2] / size * PIXELS).astype(int)
        inside = (column >= 0) & (column < PIXELS) & (row >= 0) & (row < PIXELS)
        cell, near = (row * PIXELS + column)[inside], (points[:, :2] @ eye)[inside]
        front = np.full(PIXELS**2, -np.inf)
        np.maximum.at(front, cell, near)
        ahead = near > front[cell] - 0.03 * size
        cell, normals = cell[ahead], normals[inside][ahead]
        count, sideways, upward = (
            np.bincount(cell, values, PIXELS**2).reshape(PIXELS, PIXELS).astype(float)
            for values in (np.ones(len(cell)), normals[:, :2] @ right, normals[:, 2])
        )
        seen = _blurred((count > 0).astype(float), 1.0) > 0.5
        weight = seen.astype(float)
        yield _fine(count * weight, sideways * weight) * weight, _fine(count * weight, upward * weight) * weight, seen


def _fine(count: Floats, total: Floats) -> Floats:
    """The mean of what fell into each pixel, a little smoothed, less the same smoothed widely."""
    near = _blurred(total, 0.8) / np.maximum(_blurred(count, 0.8), 1e-3)
    wide = _blurred(total, 2.8) / np.maximum(_blurred(count, 2.8), 1e-3)
    return near - wide


def _blurred(picture: Floats, sigma: float) -> Floats:
    """A picture blurred by a Gaussian of `sigma` pixels, nothing beyond its edge."""
    reach = int(np.ceil(3.0 * sigma))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        padded = np.pad(picture, [(reach, reach) if axis == each else (0, 0) for each in (0, 1)])
        picture = sum(weight * np.take(padded, np.arange(step, step + PIXELS), axis=axis) for step, weight in enumerate(kernel))  # type: ignore[assignment]
    return picture


def _box_rows(picture: Floats, width: int) -> Floats:
    """The mean over `width` rows about each row."""
    reached = np.cumsum(np.pad(picture, ((width // 2 + 1, width - width // 2 - 1), (0, 0))), axis=0)
    return (reached[width:] - reached[:-width])[: len(picture)] / width
