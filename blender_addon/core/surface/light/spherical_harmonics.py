"""How is light from all round written in few numbers? Real spherical harmonics to order 3, and the irradiance they give.

Orthonormal basis as in Ramamoorthi & Hanrahan, "An efficient representation for irradiance environment maps" (2001).
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...statistics import robust_deviation

COSINE = (np.pi, 2 * np.pi / 3, np.pi / 4, 0.0)
"""A_l of the clamped cosine for l = 0 to 3 (Ramamoorthi & Hanrahan 2001, equation 8)."""


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


def degrees(order: int) -> Ints:
    """The degree l of each column of `basis`."""
    return np.repeat(np.arange(order + 1), 2 * np.arange(order + 1) + 1)


def irradiance_basis(normals: Floats, order: int = 2) -> Floats:
    """(n, k): irradiance in directions `normals` from each harmonic of radiance, E = sum A_l L_lm Y_lm(n)."""
    return basis(normals, order) * np.array(COSINE)[degrees(order)]


def sphere_directions(count: int) -> Floats:
    """(count, 3) unit directions spread evenly over the sphere on a Fibonacci lattice; each stands for 4 pi / count sr."""
    step = np.arange(count) + 0.5
    z = 1 - 2 * step / count
    turn = np.pi * (1 + np.sqrt(5)) * step
    ring = np.sqrt(1 - z * z)
    return np.stack([np.cos(turn) * ring, np.sin(turn) * ring, z], axis=1)


def robust_fit(design: Floats, values: Floats, weights: Floats, *, ridge: float = 1e-4, rounds: int = 8) -> Floats:
    """(k,) coefficients c with design c ~ values in *relative* terms, by iteratively reweighted least squares.

    design: (n, k). values: (n,) positive. weights: (n,). Each row counts by weight / value^2, and less the further the log of
    its ratio is from the bulk (Cauchy weights at twice the robust standard deviation), so that pigment and highlights weigh
    little.
    """
    level = max(float(np.median(values[weights > 0])) if (weights > 0).any() else 1.0, 1e-6)
    base = weights / np.maximum(values, 0.05 * level) ** 2
    robust = np.ones(len(values))
    solution = np.zeros(design.shape[1])
    for _ in range(rounds):
        weighted = design * (base * robust)[:, None]
        matrix = weighted.T @ design
        matrix[np.diag_indices_from(matrix)] += ridge * np.trace(matrix) / len(matrix)
        solution = np.linalg.solve(matrix, weighted.T @ values)
        error = np.log(np.maximum(design @ solution, 1e-3 * level)) - np.log(np.maximum(values, 1e-3 * level))
        deviation = robust_deviation(error[weights > 0]) + 1e-6
        robust = 1 / (1 + (error / (2 * deviation)) ** 2)
    return solution
