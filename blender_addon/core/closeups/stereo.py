"""What are the normal and the albedo of each pixel, by photos under lamps at several places? Photometric stereo.

For a matt surface the light of each lamp is linear in b, the albedo times the normal (Woodham 1980): with three lamps and more
b follows. Here the scan's form is the prior (b near r n, with more freedom along the surface than across it), which makes one
or two lamps sufficient; and each photo is weighted by its noise, and ignored where it is clipped, in shadow (darker than the
others imply) or glossy (brighter): iteratively reweighted least squares.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from ..records import record

BLOWN = 0.98
"""Decoded value above which a pixel may have been clipped."""
READ, SHOT = 0.004, 0.0004
"""Noise of a decoded value of white 1: standard deviation in the dark, and variance a unit of light. A phone at its lowest
sensitivity and a JPEG's own error (our bench's measure, a guess for others)."""
OFF = 0.03
"""Relative error of the model itself (bounced light, the lamp's shape): measured on our bench."""
TILT = 0.45
"""Standard deviation of the slope that fine relief adds to the scan's form: a guess."""
ROUNDS = 5
"""Of reweighting: a guess."""


@record
class Shaded:
    """What is known of n pixels. normals: (n, 3) unit of the coarse form. ways: (n, k, 3) unit directions to the lamps.
    strength: (n, k) light on a facing surface. room: light of the room. values: (n, k) light seen; usable: (n, k) bool."""

    normals: Floats
    ways: Floats
    strength: Floats
    room: float
    values: Floats
    usable: Bools


@record
class Facing:
    """normals: (n, 3) unit. albedo: (n,). doubt: (n, 2) standard deviation of the slope in the direction that the lamps
    determine best, and in the one that they determine least. lamps: (n,) the number of photos used."""

    normals: Floats
    albedo: Floats
    doubt: Floats
    lamps: Floats


def facing(shaded: Shaded, albedo: Floats, *, paint: float, tilt: float = TILT) -> Facing:
    """The normals by all lamps.

    albedo: (n,) expected. paint: standard deviation of its log. tilt: standard deviation of the slope against the coarse
    normal.
    """
    # what the room adds counts along the coarse normal, so that the whole stays linear in b
    design = shaded.strength[..., None] * shaded.ways + shaded.room * shaded.normals[:, None]
    noise = np.sqrt(READ**2 + SHOT * np.maximum(shaded.values, 0)) + OFF * np.maximum(shaded.values, 0)
    across = shaded.normals[:, :, None] * shaded.normals[:, None]
    prior = (across / paint**2 + (np.eye(3) - across) / tilt**2) / np.maximum(albedo, 1e-4)[:, None, None] ** 2
    expected = albedo[:, None] * shaded.normals
    bias = np.einsum("nij,nj->ni", prior, expected)
    weight = shaded.usable / noise**2
    b, errors = expected, prior
    for turn in range(ROUNDS):
        if turn:
            towards = np.einsum("nkc,nc->nk", shaded.ways, b)
            room = shaded.room * np.einsum("nc,nc->n", b, shaded.normals)[:, None]
            off = (shaded.values - shaded.strength * np.maximum(towards, 0) - room) / noise
            weight = np.where(towards > 0, shaded.usable / (1.0 + (off / 2.5) ** 2) ** 2, 0) / noise**2
        information = products(design, weight)
        errors = inverse(information + prior)
        b = np.einsum("nij,nj->ni", errors, np.einsum("nki,nk->ni", design, weight * shaded.values) + bias)
    pale = np.maximum(np.linalg.norm(b, axis=1), 1e-6)
    facing_now = b / pale[:, None]
    return Facing(facing_now, pale, _doubt(errors, facing_now) / pale[:, None], (weight * noise**2 > 0.25).sum(axis=1))


def products(design: Floats, weight: Floats) -> Floats:
    """(n, 3, 3) sums over the photos of weight times design (n, k, 3) times itself."""
    information = np.zeros((len(design), 3, 3))
    for i in range(3):
        weighed = weight * design[..., i]
        for j in range(i, 3):
            information[:, i, j] = information[:, j, i] = np.einsum("nk,nk->n", weighed, design[..., j])
    return information


def inverse(matrix: Floats) -> Floats:
    """(n, 3, 3) inverses of symmetric matrices by their cofactors: ten times faster than one by one."""
    first, second, third = matrix[:, 0], matrix[:, 1], matrix[:, 2]
    turned = np.stack([np.cross(second, third), np.cross(third, first), np.cross(first, second)], axis=1)
    return np.asarray(turned / np.einsum("ni,ni->n", first, turned[:, 0])[:, None, None])


def _doubt(errors: Floats, normals: Floats) -> Floats:
    """(n, 2) square roots of the covariance's two principal values (n, 3, 3) across the normals, the smaller first."""
    flat = np.eye(3) - normals[:, :, None] * normals[:, None]
    spread = flat @ errors @ flat
    total, square = np.einsum("nii->n", spread), np.einsum("nij,nij->n", spread, spread)
    apart = np.sqrt(np.maximum(2 * square - total**2, 0))
    return np.sqrt(np.maximum(np.stack([total - apart, total + apart], axis=1) / 2, 0))
