"""How far may a camera be off that patches of the piece were solved for?

Neighbouring patches are wrong together: where a scan rounds off a stroke, or reads it from one light, all patches along it lie
off the same way. The camera's covariance therefore has two parts: of errors that each patch has for itself, and of a field of
errors that changes smoothly over the photo (the sandwich form for correlated errors: Conley, GMM Estimation with Cross
Sectional Dependence, Journal of Econometrics 92, 1999, with a field of known covariance in place of the sampled one). What is
held by what is known beforehand (image distance, radial term, what all points have in common) counts with its own deviation.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from ..camera import PhotoCamera
from ..pose import jacobian
from .resection import Prior, Seen, equations_at

NODES = 24
"""Places of the field along the piece's diagonal, however much of it a photo shows: 4 mm apart on our bench's owl. The
correlation of two patches' errors falls there from 0.2 at 3 mm to 0.1 at 10."""
FIELD = 0.5
"""Standard deviation of the field's nodes in that of a patch. Set on our bench's owl, so that the places of 8 cameras are off
by 0.94 of what is then predicted (root mean square)."""
QUANTILE = 0.9
"""Quantile of the points' moves that stands for what the piece may be shifted by."""


@record
class Uncertainty:
    """Standard deviations. turn_deg: of the camera's turn. place_percent: of its place, in percent of the distance. shift: of
    points of the piece on the photo, in pixels: the 0.9 quantile of the points."""

    turn_deg: float
    place_percent: float
    shift: float


def covariance_of(camera: PhotoCamera, seen: Seen, prior: Prior, scale: float, *, diagonal: float, free: bool = True) -> Floats:
    """(8, 8) of the steps, as `moved` has them, by which a camera that was solved for may be off; infinite variances where the
    points leave it open.

    diagonal: of the piece, pixels. scale, free: as for `resected`.
    """
    at = equations_at(camera, seen, prior, scale, free=free)
    try:
        inverse = np.linalg.inv(at.normal)
    except np.linalg.LinAlgError:  # patches on one line, say
        return np.diag(np.full(8, np.inf))
    off = np.linalg.norm(camera.project(seen.points)[0] - seen.pixels, axis=1)
    nodes = np.concatenate([seen.whiten * part[:, None, None] for part in _nodes(seen.pixels, diagonal / NODES).T], axis=2)
    nodes *= FIELD * float(np.median(off)) / 1.18 / scale  # the median length of errors in a plane is 1.18 deviations
    rows = 2 * len(seen.points)
    together = (at.change * at.weight[:, None, None]).reshape(rows, -1).T @ nodes.reshape(rows, -1)
    spread = inverse @ together
    return np.asarray((inverse + spread @ spread.T)[:8, :8])


def uncertainty(camera: PhotoCamera, seen: Seen, covariance: Floats) -> Uncertainty:
    """Of a camera with a covariance (8, 8) of its steps, and of the points that it shows."""
    if not np.isfinite(covariance).all():
        return Uncertainty(np.inf, np.inf, np.inf)
    change = jacobian(camera, seen.points).reshape(-1, 2, 8)
    moves = np.einsum("nik,kl,nil->n", change, covariance, change)
    far = float(np.linalg.norm(seen.points.mean(axis=0) - camera.place))
    turn, place = (float(np.sqrt(np.trace(covariance[part, part]))) for part in (slice(0, 3), slice(3, 6)))
    return Uncertainty(np.degrees(turn).item(), 100.0 * place / far, float(np.sqrt(np.quantile(moves, QUANTILE))))


def _nodes(pixels: Floats, step: float) -> Floats:
    """(n, k) weights of the field's nodes, `step` pixels apart, at pixels (n, 2), bilinear; only nodes that have some."""
    low, high = pixels.min(axis=0), pixels.max(axis=0)
    count = np.maximum(np.ceil((high - low) / step).astype(int), 1)
    cell = np.minimum(((pixels - low) / step).astype(int), count - 1)
    part = (pixels - low) / step - cell
    weights = np.zeros((len(pixels), int(np.prod(count + 1))))
    for right in (0, 1):
        for down in (0, 1):
            share = np.abs(1 - right - part[:, 0]) * np.abs(1 - down - part[:, 1])
            weights[np.arange(len(pixels)), (cell[:, 0] + right) * (count[1] + 1) + cell[:, 1] + down] += share
    return np.asarray(weights[:, weights.any(axis=0)])
