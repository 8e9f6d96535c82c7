"""Which camera shows many points of the piece where they were found, each known better along one way than along the other?

Levenberg's and Marquardt's steps over turn, place, image distance and radial term with Cauchy's weights.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from ..camera import PhotoCamera, moved
from ..pose import jacobian

RADIAL = 0.012
"""Standard deviation of the radial term of a photo whose lens was corrected by the camera, as nearly all are (common practice);
on a rounded piece it looks like another distance, so that it is held nearer to 0 than by spots alone. A guess."""
TOGETHER = 2.25
"""Patches that count as one beside what is known beforehand or marked by hand: patches of 15 pixels in cells of 10 overlap."""


@record
class Seen:
    """points: (n, 3) mm. pixels: (n, 2). whiten: (n, 2, 2) as `Matches` has it. drift: (n, 2, q) pixels by which each of q
    errors that all points have in common moves them, at one standard deviation of it; None for none."""

    points: Floats
    pixels: Floats
    whiten: Floats
    drift: Floats | None = None

    def scaled(self, factor: float) -> Seen:
        """The same on the photo at another size."""
        drift = None if self.drift is None else self.drift * factor
        return Seen(self.points, self.pixels * factor, self.whiten / factor, drift)

    def beside(self, other: Seen | None, scale: float) -> Seen:
        """With others, without drift, whose own deviations hold, where a deviation of these is `scale` of what they say."""
        if other is None:
            return self
        parts = (
            (self.points, other.points),
            (self.pixels, other.pixels),
            (self.whiten, np.sqrt(TOGETHER) * scale * other.whiten),
        )
        drift = None
        if self.drift is not None:
            drift = np.concatenate([self.drift, np.zeros((len(other.points), *self.drift.shape[1:]))])
        points, pixels, whiten = (np.concatenate(pair) for pair in parts)
        return Seen(points, pixels, whiten, drift)


def marked(points: Floats, pixels: Floats, click: float) -> Seen:
    """Spots (n, 3) mm and (n, 2) pixels that were marked by hand, `click` pixels off."""
    return Seen(points, pixels, np.broadcast_to(np.eye(2) / click, (len(points), 2, 2)))


@record
class Prior:
    """What is known beforehand. distance: image distance in pixels, and the deviation of its log, `spread`."""

    distance: float
    spread: float


def errors(camera: PhotoCamera, seen: Seen) -> Floats:
    """(n, 2) in deviations."""
    return np.einsum("nij,nj->ni", seen.whiten, camera.project(seen.points)[0] - seen.pixels)


def resected(
    start: PhotoCamera, seen: Seen, prior: Prior, *, rounds: int = 25, scale: float = 1.0, free: bool = True
) -> PhotoCamera:
    """The camera of least cost near `start`.

    scale: deviations that count as one. free: image distance and radial term change, too. rounds: of Levenberg-Marquardt, at
    most. What all points have in common (`seen.drift`) is solved for beside it.
    """
    camera, damping = start, 1e-4
    shared = _Shared(seen, scale)
    common = np.zeros(shared.count)
    cost = _cost(camera, seen, prior, scale, shared.off(common)) + float(common @ common)
    for _ in range(rounds):
        normal, slope = _equations(camera, seen, prior, scale, shared, common)
        if not free:
            normal, slope = _held(normal, slope)
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-12), slope)
        step /= max(1.0, float(np.abs(step[6])) / 0.5, float(np.linalg.norm(step[:3])) / 0.3)
        trial, other = moved(camera, step[:8]), common + step[8:]
        new = _cost(trial, seen, prior, scale, shared.off(other)) + float(other @ other)
        if new < cost and (trial.project(seen.points)[1] > 0).all():
            done = cost - new < 1e-7 * (1 + cost)
            camera, common, cost, damping = trial, other, new, max(damping / 6, 1e-9)
            if done:
                break
        else:
            damping *= 8
            if damping > 1e7:
                break
    return camera


class _Shared:
    """The errors that all points have in common, in deviations of the points."""

    def __init__(self, seen: Seen, scale: float):
        drift = np.zeros((len(seen.points), 2, 0)) if seen.drift is None else seen.drift
        self.count = drift.shape[2]
        self.change = np.einsum("nij,njq->niq", seen.whiten, drift) / scale

    def off(self, common: Floats) -> Floats:
        """(n, 2) what they make of the points' errors."""
        return np.asarray(self.change @ common)


@record
class Equations:
    """The normal equations where a camera ended. normal: (8 + q, 8 + q), of its steps and of what all points have in common.
    change: (n, 2, 8 + q) of the points' errors by these, in deviations. weight: (n,) of the points."""

    normal: Floats
    change: Floats
    weight: Floats


def equations_at(camera: PhotoCamera, seen: Seen, prior: Prior, scale: float, *, free: bool = True) -> Equations:
    """Those of a camera that was solved for.

    scale, free: as for `resected`.
    """
    shared = _Shared(seen, scale)
    common = np.zeros(shared.count)
    for _ in range(3):  # linear but for the weights
        normal, slope = _equations(camera, seen, prior, scale, shared, common)
        common = common - np.linalg.solve(normal[8:, 8:], slope[8:])
    change, weight, _ = _linear(camera, seen, scale, shared, common)
    normal, _ = _equations(camera, seen, prior, scale, shared, common)
    if not free:
        normal, _ = _held(normal, np.zeros(len(normal)))
        change[:, :, 6:8] = 0
    return Equations(normal, change, weight)


def _held(normal: Floats, slope: Floats) -> tuple[Floats, Floats]:
    """The equations with image distance and radial term as they are."""
    normal, slope = normal.copy(), slope.copy()
    normal[6:8], normal[:, 6:8], slope[6:8] = 0, 0, 0
    normal[[6, 7], [6, 7]] = 1
    return normal, slope


def _cost(camera: PhotoCamera, seen: Seen, prior: Prior, scale: float, shared: Floats) -> float:
    off = np.sum((errors(camera, seen) / scale + shared) ** 2, axis=1)
    far = np.log(camera.distance / prior.distance) / prior.spread
    return float(4 * np.log1p(off / 4).sum() / TOGETHER + np.log1p(far**2) + (camera.radial / RADIAL) ** 2)


def _equations(
    camera: PhotoCamera, seen: Seen, prior: Prior, scale: float, shared: _Shared, common: Floats
) -> tuple[Floats, Floats]:
    change, weight, off = _linear(camera, seen, scale, shared, common)
    far = np.log(camera.distance / prior.distance) / prior.spread
    own = np.array([0.0] * 6 + [1 / prior.spread**2 / (1 + far**2), 1 / RADIAL**2] + [1.0] * shared.count)
    gradient = np.array([0.0] * 6 + [far / prior.spread / (1 + far**2), camera.radial / RADIAL**2, *common])
    weighted = change * weight[:, None, None]
    return np.einsum("nik,nil->kl", weighted, change) + np.diag(own), np.einsum("nik,ni->k", weighted, off) + gradient


def _linear(camera: PhotoCamera, seen: Seen, scale: float, shared: _Shared, common: Floats) -> tuple[Floats, Floats, Floats]:
    """(n, 2, 8 + q) change of the points' errors, their weights (n,) and the errors (n, 2), in deviations."""
    off = errors(camera, seen) / scale + shared.off(common)
    weight = 1.0 / (1.0 + np.sum(off**2, axis=1) / 4) / TOGETHER
    change = np.einsum("nij,njk->nik", seen.whiten, jacobian(camera, seen.points).reshape(-1, 2, 8)) / scale
    return np.concatenate([change, shared.change], axis=2), weight, off
