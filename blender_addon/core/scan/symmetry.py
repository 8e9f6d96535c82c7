"""How well does left mirror right in an upright piece, for all vertical planes at once?

Seen from above the surface is a density over (radius, height) rings and angle. Mirroring at the angle a maps angle t to
2 a - t, so the density's likeness to its own mirror image, for all a at once, is a convolution of each ring with itself
(as in Sun and Sherrah, *3D symmetry detection using the extended Gaussian image*, IEEE TPAMI 19, 1997, there on normals).
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats


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
