"""Where is the front of a standing thing? Its mirror plane proposes the axis, its detail the end of it.

Seen from above the surface is a density over (radius, height) rings and angle. Mirroring at the angle a maps angle t to
2 a - t, so the density's likeness to its own mirror image, for all a at once, is a convolution of each ring with itself
(as in Sun and Sherrah, *3D symmetry detection using the extended Gaussian image*, IEEE TPAMI 19, 1997, there on normals).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import Floats

SURE = 0.55
"""Likeness above which a mirror plane is believed; chance reaches about 0.3 on lopsided things."""


@dataclass(frozen=True)
class Front:
    """A proposal: `angle_deg` of the front, counter-clockwise from -Y seen from above; `likeness` of the two halves 0 to 1;
    `sure` whether a mirror plane was found at all (a thing of revolution has none of its own)."""

    angle_deg: float
    likeness: float
    sure: bool


def propose_front(points: Floats, normals: Floats, weights: Floats, *, bins: int = 180) -> Front:
    """Propose the front of a standing thing.

    points (n, 3), z up, any unit; unit normals (n, 3); weights (n,), areas. Of the mirror plane's two ends the one is taken
    whose surface is rougher in its upper half, and over which the upper part leans: faces, chests and hands have more to show
    than backs, heads and muzzles stand out before the feet and tails lie behind (common practice).
    Near-ties between planes go to the one nearest to the present front.
    """
    centre = (weights[:, None] * points).sum(axis=0)[:2] / weights.sum()
    away = points[:, :2] - centre
    density = _rings(away, points[:, 2], weights, bins)
    likeness, round_share = _mirror_likeness(density)
    if round_share > 0.985:
        return Front(0.0, float(likeness.max()), False)
    # mirror angles a and a + 180 are one plane; the axis that points to -Y counts as 0
    step = 360.0 / bins / 2.0
    angles = np.arange(len(likeness)) * step
    off = np.abs((angles - 270.0 + 90.0) % 180.0 - 90.0)  # how far from the plane that holds -Y
    best = int(np.argmax(likeness - 0.0004 * off))
    value = float(likeness[best])
    if value < SURE:
        return Front(0.0, value, False)
    ends = (angles[best], angles[best] + 180.0)
    scores = []
    for end in ends:
        detail = _detail(away, points[:, 2], normals, weights, end)
        kept = abs((end - 270.0 + 180.0) % 360.0 - 180.0) < 20.0
        scores.append(np.log(max(detail, 1e-6)) + 2.0 * _lean(away, points[:, 2], weights, end) + 0.1 * kept)
    end = ends[int(np.argmax(scores))]
    return Front(float((end - 270.0 + 180.0) % 360.0 - 180.0), value, True)


def best_mirror(points: Floats) -> tuple[float, float, float]:
    """Of the upright mirror planes of a standing thing (n, 3), z up, the best one: how well left mirrors right (0 to 1) in what
    depends on the angle at all, at what angle in degrees it stands (counter-clockwise from +X), and the share of the form that
    does not depend on the angle (1 for a thing of revolution)."""
    density = _rings(points[:, :2] - points[:, :2].mean(axis=0), points[:, 2], np.ones(len(points)), 180)
    likeness, round_share = _mirror_likeness(density)
    best = int(likeness.argmax())
    return max(float(likeness[best]), 0.0), best * 180.0 / len(likeness), round_share


def mirror_profile(points: Floats, angles_deg: Floats) -> tuple[Floats, float]:
    """How well left mirrors right seen from each direction (k,), -1 to 1, and the share that does not depend on the angle.

    points (n, 3) of a standing thing, z up; angles_deg (k,) counter-clockwise from -Y.
    """
    density = _rings(points[:, :2] - points[:, :2].mean(axis=0), points[:, 2], np.ones(len(points)), 180)
    likeness, round_share = _mirror_likeness(density)
    known = np.arange(len(likeness) + 1) * 180.0 / len(likeness)
    profile = np.interp((np.asarray(angles_deg) - 90.0) % 180.0, known, np.append(likeness, likeness[0]))
    return profile, round_share


def _rings(away: Floats, z: Floats, weights: Floats, bins: int, radii: int = 12, heights: int = 24) -> Floats:
    """(radii * heights, bins) surface density a ring and angle, a little smoothed along the angle."""
    radius = np.linalg.norm(away, axis=1)
    angle = np.arctan2(away[:, 1], away[:, 0]) / (2.0 * np.pi) % 1.0
    ring = np.minimum((radius / max(float(radius.max()), 1e-30) * radii).astype(int), radii - 1)
    low, high = float(z.min()), float(z.max())
    level = np.minimum(((z - low) / max(high - low, 1e-30) * heights).astype(int), heights - 1)
    column = np.minimum((angle * bins).astype(int), bins - 1)
    place = (ring * heights + level) * bins + column
    density = np.bincount(place, weights, radii * heights * bins).reshape(-1, bins)
    kernel = np.array([1.0, 2.0, 3.0, 2.0, 1.0]) / 9.0
    return sum(part * np.roll(density, shift, axis=1) for part, shift in zip(kernel, range(-2, 3), strict=True))


def _mirror_likeness(density: Floats) -> tuple[Floats, float]:
    """Likeness (2 * bins / 2,) for mirror angles every half bin, and the share of energy that does not depend on the angle.

    The mean of each ring is taken out first, so that 1 is a perfect mirror image and 0 is chance.
    """
    mean = density.mean(axis=1, keepdims=True)
    varying = density - mean
    energy, total = float((varying**2).sum()), float((density**2).sum())
    if not energy > 0:
        return np.ones(density.shape[1]), 1.0
    spectrum = np.fft.fft(varying, axis=1)
    # sum over t of f(t) f(s - t), s = 2 a; bins hold [k, k + 1), so mirrored bin indices add up to s - 1
    folded = np.fft.ifft((spectrum**2).sum(axis=0)).real / energy
    return np.roll(folded, 1), 1.0 - energy / total


def _lean(away: Floats, z: Floats, weights: Floats, end_deg: float) -> float:
    """How far the upper part stands out towards one end over the lower part, over the height."""
    end = np.radians(end_deg)
    along = away @ np.array([np.cos(end), np.sin(end)])
    low, high = float(z.min()), float(z.max())
    part = (z - low) / max(high - low, 1e-30)
    upper, lower = part > 0.6, part < 0.4
    if not upper.any() or not lower.any():
        return 0.0
    return float(np.average(along[upper], weights=weights[upper]) - np.average(along[lower], weights=weights[lower])) / (
        high - low
    )


def _detail(away: Floats, z: Floats, normals: Floats, weights: Floats, end_deg: float) -> float:
    """How rough the upper half looks from one end: spread of the normals that face there, cell by cell of what is seen."""
    end = np.radians(end_deg)
    direction = np.array([np.cos(end), np.sin(end)])
    facing = normals[:, :2] @ direction
    high = z > 0.5 * (z.min() + z.max())
    chosen = high & (facing > 0.2)
    if chosen.sum() < 50:
        return 0.0
    side = away[chosen] @ np.array([-direction[1], direction[0]])
    size = max(float(np.ptp(away)), float(np.ptp(z)), 1e-30) / 24.0
    columns = ((side - side.min()) / size).astype(int)
    rows = ((z[chosen] - z[chosen].min()) / size).astype(int)
    cell = columns * (rows.max() + 1) + rows
    share = weights[chosen] * facing[chosen]
    count = int(cell.max()) + 1
    total = np.bincount(cell, share, count)
    mean = np.stack([np.bincount(cell, share * normals[chosen, axis], count) for axis in range(3)], axis=1)
    full = total > 0
    coherence = np.linalg.norm(mean[full], axis=1) / total[full]
    return float(((1.0 - coherence) * total[full]).sum() / total[full].sum())
