"""How far do values scatter when a few of them are outliers? The robust estimate that all methods here share."""

from __future__ import annotations

import numpy as np

from .arrays import Floats

NORMAL = 1.4826
"""1 / 0.6745: the median absolute deviation of a normal distribution times this is its standard deviation (Hampel 1974, "The
influence curve and its role in robust estimation")."""


def robust_deviation(values: Floats, centre: float | None = None) -> float:
    """The standard deviation of the bulk of `values` (n,), n > 0, by their median absolute deviation.

    centre: what they deviate from; their median where it is None.
    """
    return NORMAL * float(np.median(np.abs(values - (np.median(values) if centre is None else centre))))
