"""Which way does each pixel's surface face, and how pale is it, by photos under lamps from several places?

For a matt surface the light of each lamp is linear in b, the albedo times the normal (Woodham 1980): with three lamps and more
b follows. Here the scan's form is what is expected beforehand (b near r n, freer along the surface than across it), which
carries one and two lamps too; and each photo counts by its noise, not at all where it is blown, in shadow (darker than the
rest says) or glossy (brighter): iteratively reweighted least squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]

BLOWN = 0.98
"""Decoded value from which a pixel may have been cut at white."""
READ, SHOT = 0.004, 0.0004
"""Noise of a decoded value of white 1: standard deviation in the dark, and variance a unit of light. A phone at its lowest
sensitivity and a JPEG's own error (our bench's measure, a guess for others)."""
OFF = 0.03
"""Relative error that the model itself has (bounced light, the lamp's own shape): our bench's measure."""
TILT = 0.45
"""Standard deviation of the slope that fine relief adds to the scan's form: a guess."""
ROUNDS = 5


@dataclass(frozen=True)
class Shaded:
    """What is known of n pixels. normals: (n, 3) unit of the coarse form. ways: (n, k, 3) unit to the lamps. strength: (n, k)
    light on a facing surface. room: light of the room. values: (n, k) light seen; usable: (n, k) bool."""

    normals: Floats
    ways: Floats
    strength: Floats
    room: float
    values: Floats
    usable: NDArray[Any]


@dataclass(frozen=True)
class Facing:
    """normals: (n, 3) unit. albedo: (n,). doubt: (n, 2) standard deviation of the slope along the way that
    the lamps tell best and along that they tell least. lamps: (n,)
    how many photos spoke."""

    normals: Floats
    albedo: Floats
    doubt: Floats
    lamps: Floats


def three_lights(ways: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Unit normals (n, 3) and albedo (n,) of three lights of strength 1 in ways (3, 3) that give values (n, 3): Woodham
    1980."""
    b = np.linalg.solve(ways, values.T).T
    albedo = np.linalg.norm(b, axis=1)
    return b / np.maximum(albedo, 1e-12)[:, None], albedo


def facing(shaded: Shaded, albedo: Floats, *, paint: float, tilt: float = TILT) -> Facing:
    """The normals by all lamps. albedo: (n,) expected; paint: standard deviation of its log."""
    # what the room adds counts along the coarse normal, so that the whole stays linear in b
    design = shaded.strength[..., None] * shaded.ways + shaded.room * shaded.normals[:, None]
    noise = np.sqrt(READ**2 + SHOT * np.maximum(shaded.values, 0)) + OFF * np.maximum(shaded.values, 0)
    across = np.einsum("ni,nj->nij", shaded.normals, shaded.normals)
    prior = across / paint**2 + (np.eye(3) - across) / tilt**2
    prior /= np.maximum(albedo, 1e-4)[:, None, None] ** 2
    expected = albedo[:, None] * shaded.normals
    pull = np.einsum("nij,nj->ni", prior, expected)
    weight = shaded.usable / noise**2
    b = expected
    for turn in range(ROUNDS):
        if turn:
            lit = shaded.strength * np.maximum(np.einsum("nkc,nc->nk", shaded.ways, b), 0)
            off = (shaded.values - lit - shaded.room * np.einsum("nc,nc->n", b, shaded.normals)[:, None]) / noise
            soft = 1.0 / (1.0 + (off / 2.5) ** 2) ** 2
            weight = np.where(np.einsum("nkc,nc->nk", shaded.ways, b) > 0, shaded.usable * soft, 0) / noise**2
        told = np.einsum("nki,nk,nkj->nij", design, weight, design, optimize=True)
        b = np.linalg.solve(told + prior, (np.einsum("nki,nk->ni", design, weight * shaded.values) + pull)[..., None])[..., 0]
    pale = np.maximum(np.linalg.norm(b, axis=1), 1e-6)
    errors = np.linalg.inv(told + prior)
    flat = np.eye(3) - np.einsum("ni,nj->nij", b, b) / (pale**2)[:, None, None]
    spread = np.einsum("nij,njk,nkl->nil", flat, errors, flat, optimize=True)
    doubt = np.sqrt(np.maximum(np.linalg.eigvalsh(spread)[:, 1:], 0)) / pale[:, None]
    return Facing(b / pale[:, None], pale, doubt, (weight * noise**2 > 0.25).sum(axis=1))
