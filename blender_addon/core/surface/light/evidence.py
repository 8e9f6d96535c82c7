"""Does a texture hold the light of a room at all? Three tests; a map without light fails at least one of them.

First, the fitted irradiance varies over the form. Second, brightness follows the surface's direction: a smooth light, fitted on
some parts of the form, predicts the brightness of the other parts from their normals alone (Ramamoorthi and Hanrahan 2001: nine
harmonics hold nearly all that a matt surface shows). Third, the residual of that fit does not depend on the normals again, as
the mirror images of gloss and metal do. An albedo, a grey map of recesses or of thickness, a
painting fail at the first or the second, bare metal at the third.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...records import record
from ...threads import product, summed_product
from ..pigment import PIGMENTS, chromaticity, find_pigments
from .spherical_harmonics import basis


@record
class EvidenceConstants:
    """Numbers of the test whether a texture holds light."""

    uneven: tuple[float, float] = (0.12, 0.25)
    """Standard deviation of the log of irradiance between which trust rises: 0.01 to 0.05 where there is no light, 0.42 to 0.64
    under four lights on two measured sculptures, on which the limits were chosen."""
    follows: tuple[float, float] = (0.15, 0.30)
    """Part of the brightness that the normals predict between which trust rises: -0.03 to 0.06 without light, 0.12 on a map
    of thickness, 0.65 to 0.85 under the four lights (chosen there)."""
    left_over: tuple[float, float] = (0.006, 0.02)
    """Part of the texture's variance that the light left over and that goes with the normals between which trust falls: 0.0014
    at most on two measured sculptures under five lights and on made-up pieces under two, 0.028 and 0.047 on bare metal, 0.024
    and more on maps of thickness and openness (chosen there)."""
    least: float = 0.1
    """Trust below which a texture counts as one without light: what little would be carved is not worth what may be wrong."""
    folds: int = 5
    """Of the cross-validation (common practice: 5 to 10)."""
    finest_folds: float = 8.0
    """The form is cut into blocks of an eighth of its size, so that a part's own paint does not predict itself."""
    most: int = 20_000
    """Places that the fit uses, to bound the time."""
    ridge: float = 1e-3
    """Added to the diagonal, over its mean, so that directions which no place faces stay finite."""


EVIDENCE = EvidenceConstants()


@record
class LightEvidence:
    """The figures of the three tests.

    uneven: standard deviation of the log of the fitted irradiance.
    follows: part of the variance of the log texture, its paint divided out, that a smooth light predicts on parts of the form
        that it was not fitted on (cross-validated).
    left_over: part of that variance which is the fit's residual and which the normals predict again.
    Negative values: the prediction is worse than the mean.
    """

    uneven: float
    follows: float
    left_over: float

    @property
    def trust(self) -> float:
        """0 to 1: how far the texture is to be read as a photo of a lit, matt surface."""
        trust = (
            _rise(self.uneven, EVIDENCE.uneven)
            * _rise(self.follows, EVIDENCE.follows)
            * (1.0 - _rise(self.left_over, EVIDENCE.left_over))
        )
        return trust if trust > EVIDENCE.least else 0.0

    @property
    def doubt(self) -> float:
        """0 to 1: how sure it is that there is no light, by the clearest of the three signs; 0 where all of them are even."""
        signs = (
            (EVIDENCE.uneven[0] - self.uneven) / EVIDENCE.uneven[0],
            (EVIDENCE.follows[0] - self.follows) / EVIDENCE.follows[0],
        )
        return float(np.clip(max(*signs, (self.left_over - EVIDENCE.left_over[1]) / EVIDENCE.left_over[1]), 0.0, 1.0))

    def words(self) -> tuple[str, ...]:
        """What speaks for and against a light, for a person."""
        said = [
            f"the light that would fit varies by {100 * self.uneven:.0f} % over the form",
            f"{100 * max(self.follows, 0):.0f} % of the brightness goes with the surface's direction",
        ]
        if self.left_over > EVIDENCE.left_over[0]:
            said.append(f"{100 * self.left_over:.0f} % of it is left over and goes with it again, as gloss does")
        return tuple(said)


def light_evidence(places: Floats, normals: Floats, texture: Floats, weights: Floats, irradiance: Floats) -> LightEvidence:
    """The evidence of a texture (n, 3) > 0, linear, at `places` (n, 3) with unit `normals`, under its fitted irradiance (n, 3).

    weights: (n,) how much each place counts, 0 where it has no texture. Paint is identified by its colour and divided out.
    """
    rows = np.flatnonzero(weights > 0)
    if len(rows) > EVIDENCE.most:
        rows = rows[np.random.default_rng(1).choice(len(rows), EVIDENCE.most, replace=False, shuffle=False)]
    share = weights[rows] / weights[rows].mean()
    shown, light = (_floored(values[rows]) for values in (texture, irradiance))
    remainder = shown - light
    hue = chromaticity(remainder)
    paint = find_pigments(hue, remainder, share).at(hue).mean(axis=1)
    if float(np.sqrt(np.average(np.square(paint), weights=share))) < PIGMENTS.plain:
        paint = np.zeros(len(rows))
    bright, level = shown.mean(axis=1) - paint, light.mean(axis=1)
    fold = _folds(places[rows])
    rest = bright - level
    part = _variance(rest, share) / max(_variance(bright, share), 1e-12)  # a fit that leaves nothing leaves no gloss
    return LightEvidence(
        uneven=float(np.sqrt(_variance(level, share))),
        follows=predicted_share(basis(normals[rows], 2), bright, share, fold),
        left_over=part * predicted_share(basis(normals[rows], 3), rest, share, fold),
    )


def _floored(values: Floats) -> Floats:
    """Log of values (n, 3), none below a fiftieth of the median of its channel."""
    return np.log(np.maximum(values, 0.02 * np.median(values, axis=0) + 1e-6))


def predicted_share(design: Floats, values: Floats, weights: Floats, fold: Ints) -> float:
    """Part of the variance of `values` that a linear fit on the other folds predicts; 1 is all.

    design: (n, k). values, weights: (n,). fold: (n,) number of each row's fold.
    """
    guess = np.zeros(len(values))
    for own in np.unique(fold):
        others, here = fold != own, fold == own
        if others.sum() < 2 * design.shape[1]:
            return 0.0
        weighted = design[others] * weights[others, None]
        matrix = summed_product(weighted, design[others])
        matrix[np.diag_indices_from(matrix)] += EVIDENCE.ridge * np.trace(matrix) / len(matrix)
        mean = float(np.average(values[others], weights=weights[others]))
        right = summed_product(weighted, (values[others] - mean)[:, None])
        guess[here] = mean + product(design[here], np.linalg.solve(matrix, right))[:, 0]
    mean = float(np.average(values, weights=weights))
    variance = _variance(values, weights)
    if variance < 1e-9:
        return 0.0
    return 1.0 - float(np.average(np.square(values - guess), weights=weights)) / variance


def _variance(values: Floats, weights: Floats) -> float:
    return float(np.average(np.square(values - np.average(values, weights=weights)), weights=weights))


def _folds(places: Floats) -> Ints:
    """(n,) fold, from 0, of each place (n, 3): by blocks, of which near ones lie in different folds."""
    size = max(float(np.ptp(places, axis=0).max()), 1e-9) / EVIDENCE.finest_folds
    block = np.floor((places - places.min(axis=0)) / size).astype(np.int64)
    return (block @ np.array([1, 2, 3])) % EVIDENCE.folds


def _rise(value: float, ends: tuple[float, float]) -> float:
    return float(np.clip((value - ends[0]) / (ends[1] - ends[0]), 0.0, 1.0))
