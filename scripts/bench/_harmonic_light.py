"""A baseline for removing light from a texture: nine spherical harmonics, without bounced light and without paint.

The irradiance is fitted to the texture in the harmonics of Ramamoorthi & Hanrahan, "An efficient representation for irradiance
environment maps" (2001), with robust weights.
"""

from __future__ import annotations

import numpy as np

from blender_addon.core.arrays import Floats, Ints
from blender_addon.core.statistics import robust_deviation
from blender_addon.core.surface.light.spherical_harmonics import basis

COSINE = (np.pi, 2 * np.pi / 3, np.pi / 4, 0.0)
"""A_l of the clamped cosine for l = 0 to 3 (Ramamoorthi & Hanrahan 2001, equation 8)."""


def degrees(order: int) -> Ints:
    """The degree l of each column of `basis`."""
    return np.repeat(np.arange(order + 1), 2 * np.arange(order + 1) + 1)


def irradiance_basis(normals: Floats, order: int = 2) -> Floats:
    """(n, k): irradiance in directions `normals` from each harmonic of radiance, E = sum A_l L_lm Y_lm(n)."""
    return basis(normals, order) * np.array(COSINE)[degrees(order)]


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
