"""Have the metals the colour that their measured optical constants give, seen by the CIE 1931 observer in daylight?

Optical constants n and k, as tabulated in the papers:
- gold, silver, copper: P. B. Johnson & R. W. Christy, *Optical constants of the noble metals*, Phys. Rev. B 6, 4370 (1972);
- iron: P. B. Johnson & R. W. Christy, *Optical constants of transition metals*, Phys. Rev. B 9, 5056 (1974);
- brass (70 % copper, 30 % zinc) and gilding metal (90 to 10): M. R. Querry, *Optical constants*, Contractor Report
  CRDC-CR-85034, US Army (1985), every second row.
All were read from the public-domain database of M. N. Polyanskiy, *Refractiveindex.info database of optical constants*,
Scientific Data 11, 94 (2024).
"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.colour import TO_XYZ
from blender_addon.core.surface.reflectance import METALS

colour = pytest.importorskip("colour")

GOLD = """0.3679 1.48 1.895, 0.3815 1.46 1.933, 0.3974 1.47 1.952, 0.4133 1.46 1.958, 0.4305 1.45 1.948, 0.4509 1.38 1.914,
0.4714 1.31 1.849, 0.4959 1.04 1.833, 0.5209 0.62 2.081, 0.5486 0.43 2.455, 0.5821 0.29 2.863, 0.6168 0.21 3.272,
0.6595 0.14 3.697, 0.7045 0.13 4.103, 0.7560 0.14 4.542, 0.8211 0.16 5.083"""
SILVER = """0.3679 0.07 1.657, 0.3815 0.05 1.864, 0.3974 0.05 2.070, 0.4133 0.05 2.275, 0.4305 0.04 2.462, 0.4509 0.04 2.657,
0.4714 0.05 2.869, 0.4959 0.05 3.093, 0.5209 0.05 3.324, 0.5486 0.06 3.586, 0.5821 0.05 3.858, 0.6168 0.06 4.152,
0.6595 0.05 4.483, 0.7045 0.04 4.838, 0.7560 0.03 5.242, 0.8211 0.04 5.727"""
COPPER = """0.3679 1.36 1.975, 0.3815 1.33 2.045, 0.3974 1.32 2.116, 0.4133 1.28 2.207, 0.4305 1.25 2.305, 0.4509 1.24 2.397,
0.4714 1.25 2.483, 0.4959 1.22 2.564, 0.5209 1.18 2.608, 0.5486 1.02 2.577, 0.5821 0.70 2.704, 0.6168 0.30 3.205,
0.6595 0.22 3.747, 0.7045 0.21 4.205, 0.7560 0.24 4.665, 0.8211 0.26 5.180"""
IRON = """0.368 2.02 2.43, 0.381 2.12 2.50, 0.397 2.24 2.58, 0.413 2.35 2.65, 0.431 2.48 2.71, 0.451 2.59 2.77, 0.471 2.67 2.82,
0.496 2.74 2.88, 0.521 2.86 2.91, 0.549 2.95 2.93, 0.582 2.94 2.99, 0.617 2.88 3.05, 0.659 2.92 3.10, 0.704 2.86 3.19,
0.756 2.87 3.28, 0.821 2.94 3.39"""
BRASS = """0.36 1.503 1.815, 0.38 1.487 1.818, 0.40 1.445 1.805, 0.42 1.350 1.786, 0.44 1.191 1.797, 0.46 0.994 1.883,
0.48 0.816 2.046, 0.50 0.686 2.250, 0.52 0.602 2.464, 0.54 0.549 2.668, 0.56 0.505 2.860, 0.58 0.468 3.059, 0.60 0.450 3.253,
0.62 0.449 3.434, 0.64 0.444 3.609, 0.66 0.445 3.778, 0.68 0.444 3.943, 0.70 0.446 4.106, 0.72 0.450 4.266, 0.74 0.455 4.424,
0.76 0.458 4.579, 0.78 0.464 4.737"""
GILDING_METAL = """0.36 1.238 1.483, 0.38 1.156 1.587, 0.40 1.098 1.693, 0.42 1.047 1.796, 0.44 1.002 1.897, 0.46 0.959 1.990,
0.48 0.912 2.073, 0.50 0.846 2.140, 0.52 0.738 2.211, 0.54 0.592 2.329, 0.56 0.457 2.516, 0.58 0.377 2.739, 0.60 0.346 2.950,
0.62 0.333 3.137, 0.64 0.323 3.312, 0.66 0.317 3.478, 0.68 0.311 3.638, 0.70 0.306 3.795, 0.72 0.304 3.947, 0.74 0.300 4.097,
0.76 0.296 4.245, 0.78 0.293 4.394"""
MEASURED = {"gold": GOLD, "silver": SILVER, "copper": COPPER, "iron": IRON, "brass": BRASS, "bronze": GILDING_METAL}
"""Wavelength in micrometres, n, k. Bronze by its nearest measured neighbour: see `METALS`."""


def seen(table: str) -> np.ndarray:
    """(3,) linear Rec. 709 reflectance at normal incidence, in the light of D65, for the CIE 1931 observer.

    |(n + ik - 1) / (n + ik + 1)|^2 at each nanometre (Fresnel), from n and k between whose rows a straight line is drawn.
    """
    wave, n, k = np.array([row.split() for row in table.split(",")], float).T
    at = np.arange(380.0, 781.0)
    index = np.interp(at, 1000.0 * wave, n) + 1j * np.interp(at, 1000.0 * wave, k)
    reflected = np.abs((index - 1.0) / (index + 1.0)) ** 2
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D65"]
    matching, daylight = observer[at], light.copy().interpolate(colour.SpectralShape(380, 780, 1))[at]
    xyz = (reflected * daylight) @ matching / (daylight @ matching[:, 1])
    return np.linalg.solve(TO_XYZ, xyz)


@pytest.mark.parametrize("name", MEASURED)
def test_a_metal_is_as_its_optical_constants_give_it(name: str) -> None:
    """To half a hundredth, to which the table is rounded; no channel may give back more light than it gets."""
    assert METALS[name][1] == pytest.approx(np.clip(seen(MEASURED[name]), 0.0, 1.0), abs=0.005)


def test_all_metals_were_measured() -> None:
    assert set(MEASURED) == set(METALS)


def test_the_integration_gives_white_for_a_perfect_mirror() -> None:
    """Of n = 0 and any k nothing is lost; the white of D65 is (1, 1, 1) to the rounding of the primaries, four digits."""
    assert seen("0.3 0.0 3.0, 0.9 0.0 3.0") == pytest.approx(np.ones(3), abs=2e-3)
