"""How well does left mirror right in an upright piece, for all vertical planes at once?

Seen from above the surface is a density over (radius, height) rings and angle. Mirroring at the angle a maps angle t to
2 a - t, so the density's likeness to its own mirror image, for all a at once, is a convolution of each ring with itself
(as in Sun and Sherrah, *3D symmetry detection using the extended Gaussian image*, IEEE TPAMI 19, 1997, there on normals).
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats

KERNEL = np.array([1.0, 2.0, 3.0, 2.0, 1.0]) / 9.0
"""Weights by which the density is smoothed along the angle."""
PART_BINS = (90, 6, 12)
"""Angles, radii and heights by which a part of few points is looked at: a twelfth of the bins of the whole. With a quarter of
these again the labelled scans' fronts are less likely."""
TURNED_ALIKE, NEAREST_TURN_DEG = 0.65, 40.0
"""Likeness to itself from which a turned piece looks the same, and the least such turn. Forms with a front reach 0.54 (a
headless torso; 0.4 the others, of 60), those with several alike have 0.73 and more (a tripod, a two-handled jar, a chess
rook)."""
MOST_CHANCE = 1.0 / 0.15
"""The most by which a likeness is raised for what is chance (a guess)."""


def best_mirror(points: Floats) -> tuple[float, float, float]:
    """The best vertical mirror plane of an upright piece (n, 3), z up: how well left mirrors right (0 to 1) in the part of the
    form that depends on the angle, the plane's angle in degrees (counter-clockwise from +X), and the share of the form that
    does not depend on the angle (1 for a solid of revolution)."""
    density = _rings(points[:, :2] - points[:, :2].mean(axis=0), points[:, 2], np.ones(len(points)), 180)
    likeness, round_share = _mirror_likeness(density)
    best = int(likeness.argmax())
    return max(float(likeness[best]), 0.0), best * 180.0 / len(likeness), round_share


def mirror_profile(points: Floats, angles_deg: Floats) -> tuple[Floats, float]:
    """How well left mirrors right seen from each direction (k,), -1 to 1, and the share that does not depend on the angle.

    points (n, 3) of an upright piece, z up; angles_deg (k,) counter-clockwise from -Y.
    """
    density = _rings(points[:, :2] - points[:, :2].mean(axis=0), points[:, 2], np.ones(len(points)), 180)
    likeness, round_share = _mirror_likeness(density)
    return _from_directions(likeness, angles_deg), round_share


def part_profile(points: Floats, angles_deg: Floats) -> Floats:
    """The same likeness (k,) for a part that holds few of the points (n, 3), such as the head.

    Its bins are coarser, and what chance alone makes of so few random points is taken off the part that depends on the angle:
    otherwise two equal halves of a head of 2000 points come out at 0.2 to 0.3.
    """
    bins, radii, heights = PART_BINS
    density = _rings(points[:, :2] - points[:, :2].mean(axis=0), points[:, 2], np.ones(len(points)), bins, radii, heights)
    chance = len(points) * (float(np.square(KERNEL).sum()) - 1.0 / bins)
    varying = float(np.square(density - density.mean(axis=1, keepdims=True)).sum())
    likeness, _ = _mirror_likeness(density)
    return _from_directions(likeness * min(varying / max(varying - chance, 1e-30), MOST_CHANCE), angles_deg)


def turns_alike(points: Floats) -> Floats:
    """The turns about the vertical (k,), degrees, by which an upright piece (n, 3) comes to look the same: 180 for a jar with
    two handles, 120 and 240 for a tripod; none for what has a front, nor for a solid of revolution.

    By the density's likeness to itself, turned; what chance alone makes of so many random points is taken off.
    """
    bins = 180
    density = _rings(points[:, :2] - points[:, :2].mean(axis=0), points[:, 2], np.ones(len(points)), bins)
    varying = density - density.mean(axis=1, keepdims=True)
    chance = len(points) * (float(np.square(KERNEL).sum()) - 1.0 / bins)
    energy = float(np.square(varying).sum())
    if not energy > chance:
        return np.zeros(0)
    power = np.square(np.abs(np.fft.fft(varying, axis=1))).sum(axis=0)
    likeness = np.fft.ifft(power).real / max(energy - chance, energy / MOST_CHANCE)
    angle = np.arange(bins) * 360.0 / bins
    peak = (likeness >= np.roll(likeness, 1)) & (likeness > np.roll(likeness, -1)) & (likeness > TURNED_ALIKE)
    return angle[peak & (angle > NEAREST_TURN_DEG) & (angle < 360.0 - NEAREST_TURN_DEG)]


def _from_directions(likeness: Floats, angles_deg: Floats) -> Floats:
    """The likeness (2 * bins / 2,) of mirror angles, read at the directions (k,) that a viewer looks from."""
    known = np.arange(len(likeness) + 1) * 180.0 / len(likeness)
    return np.interp((np.asarray(angles_deg) - 90.0) % 180.0, known, np.append(likeness, likeness[0]))


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
    return sum(part * np.roll(density, shift, axis=1) for part, shift in zip(KERNEL, range(-2, 3), strict=True))


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
