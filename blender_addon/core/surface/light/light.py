"""Fits the environment (radiance from many directions, never negative) that explains a texture on its shape.

A matt texture shows t = rho (E_sky + E_bounce) / pi. E_sky is linear in the radiance of the room in each direction, through
the surface's own visibility; E_bounce needs no guess of the albedo: what a blocked direction shows is the texture itself,
whose linear value *is* that part's radiance. Unknown: the radiances (with rho folded in), and one reflectance for the bounce.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from ...statistics import robust_deviation
from ...threads import in_parallel, product, summed_product
from ..pigment import chromaticity, find_pigments
from .spherical_harmonics import sphere_directions
from .visibility import Visibility


@record
class LightFitConstants:
    """Numbers of the fit of the light."""

    rounds: int = 6
    """Rounds of reweighting; two more move the cut on the bench's owl by 0.01 %."""
    colourless: int = 3
    """Further rounds at the beginning, in which the light is taken to have no colour (a guess)."""
    clearly: float = 0.9
    """Share of the other start's cost below which the fit that began without coloured light is taken (a guess)."""
    typical: float = 0.1
    """Log residual of a good fit (a guess)."""
    steps: int = 400
    """Steps of the projected gradient, to bound the time."""
    powers: int = 60
    """Steps of the power iteration for its rate: on the demo's owl the answer is then within 2e-9 of the eigenvalue."""


LIGHT_FIT = LightFitConstants()


@record
class Light:
    """A fitted environment. radiance: (d, 3) >= 0 towards `directions` (d, 3). reflectance: (3,) of the bounce.

    deviation: robust standard deviation of log(texture / fit) over the receivers, paint of a colour of its own left out.
    contrast: the same of the texture alone. pigment: standard deviation of that paint's log levels.
    """

    directions: Floats
    radiance: Floats
    reflectance: Floats
    deviation: float
    contrast: float
    pigment: float

    @property
    def explained(self) -> float:
        """Part 0 to 1 of the texture's variation (variance of the log) that the fit explains."""
        return float(np.clip(1 - (self.deviation / max(self.contrast, 1e-9)) ** 2, 0, 1))


@record
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
    Paint is identified by its colour (`pigment`) between the rounds. Coloured light and coloured paint can each explain the
    other, so that the fit starts twice: with all colour held to be the light's, and with all held to be the paint's. The second
    must explain clearly more to be taken.

    normals: (n, 3) unit. smoothness: weight of the difference of neighbouring directions, over that of a relative error.
    """
    rows = np.flatnonzero(weights > 0)
    level = np.maximum(np.median(texture[rows], axis=0), 1e-6)
    seen = _Seen(sky_design(visibility, normals)[rows], bounce[rows] / level, texture[rows] / level, weights[rows])
    rough = smoothness * (_roughness(visibility.directions) + 0.01 * np.eye(len(visibility.directions)))
    ways = list(in_parallel(lambda rounds: _fitted(seen, rough, colourless=rounds), (0, LIGHT_FIT.colourless)))
    light, left, pigment = ways[1] if ways[1][1].cost < LIGHT_FIT.clearly * ways[0][1].cost else ways[0]
    contrast = np.log(np.maximum(seen.target.mean(axis=1), 0.05))
    return Light(
        visibility.directions,
        light[:-1] * level,
        light[-1],
        left.deviation,
        robust_deviation(contrast),
        float(np.sqrt(np.average(pigment.mean(axis=1) ** 2, weights=seen.weights))),
    )


@record
class _Seen:
    """What is fitted: the sky's design (r, d), the bounce (r, 3) and the texture (r, 3), both over the median; weights (r,)."""

    design: Floats
    cast: Floats
    target: Floats
    weights: Floats


@record
class _Left:
    """A fit's residual: its robust standard deviation (log), and the cost, the mean of log(1 + (error / typical)^2)."""

    deviation: float
    cost: float


def _fitted(seen: _Seen, rough: Floats, *, colourless: int) -> tuple[Floats, _Left, Floats]:
    """Light (d + 1, 3), what it leaves and the levels of the pigments (r, 3). In the `colourless` rounds at the
    beginning the light is taken to have no colour."""
    count = seen.design.shape[1]
    weights = seen.weights / seen.weights.mean()
    shown = np.log(np.maximum(seen.target, 1e-3))
    light = np.full((count + 1, 3), 1.0 / np.pi)
    pigment, robust = np.zeros_like(shown), np.ones(len(shown))
    left = _Left(0.0, 0.0)
    for number in range(colourless + LIGHT_FIT.rounds):
        plain, cast = np.exp(shown - pigment), seen.cast
        if number < colourless:
            plain = np.repeat(np.exp((shown - pigment).mean(axis=1, keepdims=True)), 3, axis=1)
            cast = np.repeat(cast.mean(axis=1, keepdims=True), 3, axis=1)
        bright = np.maximum(plain.mean(axis=1), 0.05)
        light = _fit_channels(seen.design, cast, plain, weights / bright**2 * robust, rough, light)
        remainder = shown - np.log(
            np.maximum(product(seen.design, light[:count].astype(np.float32)) + cast * light[count], 1e-3)
        )
        if number > 0 or colourless:
            hue = chromaticity(remainder)
            pigment = find_pigments(hue, remainder, weights).at(hue)
        error = remainder - pigment
        error = error - np.median(error, axis=0)
        grey = error.mean(axis=1)
        left = _Left(
            robust_deviation(grey),
            float(np.average(np.log1p((error / LIGHT_FIT.typical) ** 2).mean(axis=1), weights=weights)),
        )
        robust = 1 / (1 + (grey / (2 * (left.deviation + 1e-6))) ** 2)
    return light, left, pigment


def sky_design(visibility: Visibility, normals: Floats) -> Floats:
    """(n, d): irradiance over pi that unit radiance in each direction gives."""
    cosine = np.maximum(product(normals.astype(np.float32), visibility.directions.T), 0)
    return cosine * visibility.open * np.float32(visibility.solid_angle / np.pi)


def _roughness(directions: Floats) -> Floats:
    """(d, d) matrix R: x R x sums the squared differences of neighbouring directions (Gaussian of half a neighbour's angle)."""
    reach = np.sqrt(4 * np.pi / len(directions))
    angle = np.arccos(np.clip(directions @ directions.T, -1, 1))
    near = np.exp(-0.5 * (angle / reach) ** 2)
    np.fill_diagonal(near, 0)
    near /= near.sum(axis=1).mean()
    return np.diag(near.sum(axis=1)) - near


def _fit_channels(design: Floats, cast: Floats, target: Floats, weight: Floats, rough: Floats, start: Floats) -> Floats:
    """One reweighted round: non-negative least squares for the three channels."""
    count = design.shape[1]
    weighted = design * weight[:, None].astype(np.float32)
    core = summed_product(weighted, design).astype(float)
    core += np.trace(core) / count * rough
    corner = (weight[:, None] * cast**2).sum(axis=0)
    hold = 0.05 * corner + 1e-9
    matrix = np.zeros((3, count + 1, count + 1))
    matrix[:, :count, :count] = core
    matrix[:, count, :count] = matrix[:, :count, count] = summed_product(weighted, cast).T
    matrix[:, count, count] = corner + hold
    shared = (weight[:, None] * cast * target).sum(axis=0)
    right = np.concatenate([summed_product(weighted, target), [shared + hold * 0.6]]).T
    return _non_negative(matrix, right, start.T, ceiling=0.95).T


def _non_negative(matrix: Floats, right: Floats, start: Floats, *, ceiling: float) -> Floats:
    """(k, n) argmin x M x / 2 - b x of k problems, M (k, n, n) and b (k, n), with x >= 0 and the last entry <= ceiling, by
    accelerated projected gradient: scaled FISTA (Beck & Teboulle 2009)."""
    scale = 1 / np.sqrt(np.maximum(np.einsum("kii->ki", matrix), 1e-12))
    matrix = matrix * scale[:, :, None] * scale[:, None, :]
    right = right * scale
    top = np.full(right.shape, np.inf)
    top[:, -1] = ceiling / scale[:, -1]
    rate = 1 / np.maximum(_largest_eigenvalue(matrix)[:, None], 1e-12)
    current = np.clip(start / scale, 0, top)
    ahead, pace = current, 1.0
    for _ in range(LIGHT_FIT.steps):
        gradient = np.matmul(matrix, ahead[:, :, None])[:, :, 0] - right
        following = np.minimum(np.maximum(ahead - rate * gradient, 0), top)
        faster = (1 + np.sqrt(1 + 4 * pace * pace)) / 2
        ahead = following + (pace - 1) / faster * (following - current)
        current, pace = following, faster
    return current * scale


def _largest_eigenvalue(matrix: Floats) -> Floats:
    """(k,) no less than the largest eigenvalue of k symmetric matrices (k, n, n) whose entries are positive in the main, by
    power iteration: the last quotient and what it leaves, which bounds its error. LAPACK would start threads (`threads.ALONE`).
    """
    ahead = np.ones((*matrix.shape[:2], 1))
    for _ in range(LIGHT_FIT.powers):
        ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
        last, ahead = ahead, np.matmul(matrix, ahead)
    quotient = (last * ahead).sum(axis=1)
    return quotient[:, 0] + np.linalg.norm(ahead - quotient[:, None] * last, axis=1)[:, 0]


def shade(light: Light, visibility: Visibility, normals: Floats, bounce_flux: Floats) -> Shading:
    """The irradiance of a fitted light on receivers.

    light: the fit. visibility: of the receivers. normals: (n, 3) unit. bounce_flux: as `bounced` gave it.
    """
    facing = product(normals.astype(np.float32), visibility.directions.T) > 0
    weight = facing * visibility.open * np.float32(visibility.solid_angle / np.pi)
    radiance = light.radiance.astype(np.float32)
    flux = np.stack(
        [product(weight, radiance * visibility.directions[:, axis : axis + 1]) for axis in range(3)], axis=1
    ) + bounce_flux * light.reflectance.astype(np.float32)
    return Shading(np.einsum("nac,na->nc", flux, normals), flux)
