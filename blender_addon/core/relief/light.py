"""Which light makes the texture look as it does on this shape? An environment of many directions, fitted, never negative.

A matt texture shows t = rho (E_sky + E_bounce) / pi. E_sky is linear in the radiance of the room in each direction, through
the surface's own visibility; E_bounce needs no guess of the albedo: what a blocked direction shows is the texture itself,
whose linear value *is* that part's radiance. Unknown: the radiances (with rho folded in), and one reflectance for the bounce.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .spherical_harmonics import sphere_directions
from .visibility import Visibility

Floats = NDArray[Any]

ROUNDS = 6  # of reweighting
STEPS = 400  # of the projected gradient


@dataclass(frozen=True)
class Light:
    """A fitted environment. radiance: (d, 3) >= 0 towards `directions` (d, 3). reflectance: (3,) of the bounce.

    spread: robust standard deviation of log(texture / fit) over the receivers. contrast: the same of the texture alone.
    """

    directions: Floats
    radiance: Floats
    reflectance: Floats
    spread: float
    contrast: float

    @property
    def explained(self) -> float:
        """Part 0 to 1 of the texture's variation (variance of the log) that the fit explains."""
        return float(np.clip(1 - (self.spread / max(self.contrast, 1e-9)) ** 2, 0, 1))


@dataclass(frozen=True)
class Shading:
    """The fitted light on the receivers. irradiance: (n, 3) a channel, in units of the texture. flux: (n, 3, 3), axis by
    channel: the vector whose product with a normal near the receiver's is the irradiance.
    """

    irradiance: Floats
    flux: Floats


def half_sphere(count: int) -> Floats:
    """(count, 3) directions of which, with their opposites, the whole sphere is evenly covered."""
    whole = sphere_directions(2 * count)
    return whole[:count]


def bounced(visibility: Visibility, normals: Floats, seen_radiance: Floats) -> tuple[Floats, Floats]:
    """Irradiance over pi (n, 3) from blocked directions, and its flux (n, 3, 3), axis by channel.

    seen_radiance: (s, 3) texture value at each sample.
    """
    scale = visibility.solid_angle / np.pi
    flux = np.zeros((len(normals), 3, 3), np.float32)
    for place, direction in enumerate(visibility.directions):
        rows = np.flatnonzero(visibility.source[:, place] >= 0)
        blocked = (1 - visibility.open[rows, place].astype(np.float32)) * scale
        came = seen_radiance[visibility.source[rows, place]] * blocked[:, None]
        flux[rows] += direction[None, :, None] * came[:, None, :]
    return np.einsum("nac,na->nc", flux, normals), flux


def fit_light(
    visibility: Visibility, normals: Floats, texture: Floats, weights: Floats, bounce: Floats, *, smoothness: float = 3e-3
) -> Light:
    """The environment that best explains vertex means `texture` (n, 3) > 0 with `weights` (n,), given `bounce` (n, 3).

    Relative errors count, the outlying ones little (iteratively reweighted, Cauchy); neighbouring directions are held alike.
    """
    rows = np.flatnonzero(weights > 0)
    design = sky_design(visibility, normals)[rows]
    level = np.median(texture[rows], axis=0)
    target = texture[rows] / np.maximum(level, 1e-6)
    cast = bounce[rows] / np.maximum(level, 1e-6)
    rough = _roughness(visibility.directions)
    bright = np.maximum(target.mean(axis=1), 0.05)
    base = weights[rows] / weights[rows].mean() / bright**2
    robust = np.ones(len(rows))
    count = design.shape[1]
    light = np.full((count + 1, 3), 1.0 / np.pi)
    error = np.zeros(len(rows))
    for _ in range(ROUNDS):
        light = _fit_channels(design, cast, target, base * robust, rough, smoothness, light)
        model = np.maximum(design @ light[:count] + cast * light[count], 1e-3)
        error = np.log(np.maximum(target, 1e-3)).mean(axis=1) - np.log(model).mean(axis=1)
        spread = 1.4826 * np.median(np.abs(error - np.median(error))) + 1e-6
        robust = 1 / (1 + (error / (2 * spread)) ** 2)
    contrast = np.log(bright)
    return Light(
        visibility.directions,
        light[:count] * level,
        light[count],
        float(1.4826 * np.median(np.abs(error - np.median(error)))),
        float(1.4826 * np.median(np.abs(contrast - np.median(contrast)))),
    )


def sky_design(visibility: Visibility, normals: Floats) -> Floats:
    """(n, d): irradiance over pi that unit radiance in each direction gives."""
    cosine = np.maximum(normals.astype(np.float32) @ visibility.directions.T, 0)
    return cosine * visibility.open * np.float32(visibility.solid_angle / np.pi)


def _roughness(directions: Floats) -> Floats:
    """(d, d) matrix R: x R x sums the squared differences of neighbouring directions (Gaussian of half a neighbour's angle)."""
    reach = np.sqrt(4 * np.pi / len(directions))
    angle = np.arccos(np.clip(directions @ directions.T, -1, 1))
    near = np.exp(-0.5 * (angle / reach) ** 2)
    np.fill_diagonal(near, 0)
    near /= near.sum(axis=1).mean()
    return np.diag(near.sum(axis=1)) - near


def _fit_channels(
    design: Floats, cast: Floats, target: Floats, weight: Floats, rough: Floats, smoothness: float, start: Floats
) -> Floats:
    """One reweighted round: non-negative least squares for the three channels by accelerated projected gradient."""
    count = design.shape[1]
    out = np.zeros((count + 1, 3))
    weighted = design * weight[:, None].astype(np.float32)
    core = (weighted.T @ design).astype(float)
    scale = np.trace(core) / count
    core += smoothness * scale * (rough + 0.01 * np.eye(count))
    for channel in range(3):
        side = weighted.T @ cast[:, channel]
        corner = float(cast[:, channel] ** 2 @ weight)
        hold = 0.05 * corner + 1e-9
        matrix = np.block([[core, side[:, None]], [side[None, :], np.array([[corner + hold]])]])
        right = np.append(weighted.T @ target[:, channel], cast[:, channel] * weight @ target[:, channel] + hold * 0.6)
        out[:, channel] = _non_negative(matrix, right, start[:, channel], ceiling=0.95)
    return out


def _non_negative(matrix: Floats, right: Floats, start: Floats, *, ceiling: float) -> Floats:
    """argmin x M x / 2 - b x with x >= 0 and the last entry <= ceiling; scaled FISTA (Beck & Teboulle 2009)."""
    scale = 1 / np.sqrt(np.maximum(np.diag(matrix), 1e-12))
    matrix = matrix * scale[:, None] * scale[None, :]
    right = right * scale
    top = np.full(len(right), np.inf)
    top[-1] = ceiling / scale[-1]
    rate = 1 / max(np.linalg.eigvalsh(matrix)[-1], 1e-12)
    current = np.clip(start / scale, 0, top)
    ahead, pace = current, 1.0
    for _ in range(STEPS):
        following = np.clip(ahead - rate * (matrix @ ahead - right), 0, top)
        faster = (1 + np.sqrt(1 + 4 * pace * pace)) / 2
        ahead = following + (pace - 1) / faster * (following - current)
        current, pace = following, faster
    return current * scale


def shade(light: Light, visibility: Visibility, normals: Floats, bounce_flux: Floats) -> Shading:
    """The fitted light on the receivers: bounce_flux is that of `bounced`."""
    facing = (normals.astype(np.float32) @ visibility.directions.T) > 0
    weight = facing * visibility.open * np.float32(visibility.solid_angle / np.pi)
    radiance = light.radiance.astype(np.float32)
    flux = np.stack(
        [weight @ (radiance * visibility.directions[:, axis : axis + 1]) for axis in range(3)], axis=1
    ) + bounce_flux * light.reflectance.astype(np.float32)
    return Shading(np.einsum("nac,na->nc", flux, normals), flux)
