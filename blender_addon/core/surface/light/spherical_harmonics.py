"""Real spherical harmonics to order 3, and directions that cover the sphere evenly.

Orthonormal basis as in Ramamoorthi & Hanrahan, "An efficient representation for irradiance environment maps" (2001).
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats


def basis(directions: Floats, order: int = 2) -> Floats:
    """(n, (order + 1)^2) values of the real harmonics in unit directions (n, 3); order 0 to 3."""
    if not 0 <= order <= 3:
        raise ValueError(f"order must be 0 to 3, not {order}")
    x, y, z = np.asarray(directions, float).T
    columns = [np.full_like(x, 0.5 / np.sqrt(np.pi))]
    if order >= 1:
        columns += [np.sqrt(3 / (4 * np.pi)) * entry for entry in (y, z, x)]
    if order >= 2:
        scale = np.sqrt(15 / (4 * np.pi))
        columns += [scale * x * y, scale * y * z, np.sqrt(5 / (16 * np.pi)) * (3 * z * z - 1)]
        columns += [scale * x * z, scale / 2 * (x * x - y * y)]
    if order >= 3:
        outer, inner = np.sqrt(35 / (32 * np.pi)), np.sqrt(21 / (32 * np.pi))
        columns += [outer * y * (3 * x * x - y * y), np.sqrt(105 / (4 * np.pi)) * x * y * z, inner * y * (5 * z * z - 1)]
        columns += [np.sqrt(7 / (16 * np.pi)) * z * (5 * z * z - 3), inner * x * (5 * z * z - 1)]
        columns += [np.sqrt(105 / (16 * np.pi)) * z * (x * x - y * y), outer * x * (x * x - 3 * y * y)]
    return np.stack(columns, axis=1)


def sphere_directions(count: int) -> Floats:
    """(count, 3) unit directions spread evenly over the sphere on a Fibonacci lattice; each stands for 4 pi / count sr."""
    step = np.arange(count) + 0.5
    z = 1 - 2 * step / count
    turn = np.pi * (1 + np.sqrt(5)) * step
    ring = np.sqrt(1 - z * z)
    return np.stack([np.cos(turn) * ring, np.sin(turn) * ring, z], axis=1)
