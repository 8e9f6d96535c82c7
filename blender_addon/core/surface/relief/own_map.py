"""Adds to the fine form that a scan brings itself, in a normal map or in triangles that were thinned away, what only the photo
shows.

Relief read from a photo is a least-squares estimate: it shrinks with its uncertainty, and its covariance with the truth equals
its own variance. So cov(photo, map) / var(photo), a band of wavelengths, is the part of the photo's
relief that the map has: 1 for a map that is complete there, however much fainter the photo's relief is, 0 for one that is flat.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from ..speckle import masked_blur
from ..textured_surface import TexturedSurface


@record
class OwnMapConstants:
    """Numbers of joining the scan's own normal map with what is recovered."""

    sigmas_mm: tuple[float, ...] = (0.06, 0.12, 0.25)
    """Gaussians between the bands, mm: about half way at wavelengths of 0.3, 0.6 and 1.3 mm."""


OWN_MAP = OwnMapConstants()


@record
class OwnForm:
    """Fine form of the scan's own in n texels. normals: (n, 3) float32, tangent-space, +Y. height_mm: (n,) float32 over the
    mesh; 0 where only a normal map is known, which tells no heights."""

    normals: Floats
    height_mm: Floats


def slopes_of_normals(smooth: Floats, own: Floats) -> Floats:
    """(n, 3) surface gradient of the height whose relief turns unit normals `smooth` (n, 3) into `own` (n, 3)."""
    along = np.maximum(np.einsum("ij,ij->i", smooth, own), 0.1)  # steeper than 84 degrees is not relief
    return smooth - own / along[:, None]


def added_by_photo(surface: TexturedSurface, own: Floats, photo: Floats, height_mm: Floats) -> tuple[Floats, Floats]:
    """Slopes (n, 3) and height (n,) of the photo's relief that a normal map lacks.

    surface: with its n texels. own: (n, 3) slopes of the map. photo: (n, 3) slopes read from the photo. height_mm: (n,) their
    height.
    """
    values = np.concatenate([photo, height_mm[:, None]], axis=1)
    rest = np.concatenate([values, own], axis=1)
    total = np.zeros_like(values)
    for sigma in (*OWN_MAP.sigmas_mm, None):
        smooth = np.zeros_like(rest) if sigma is None else _blurred(surface, rest, sigma)
        band, rest = rest - smooth, smooth
        shown, known = band[:, :3], band[:, 4:]
        has = float(np.clip((shown * known).sum() / max(float((shown * shown).sum()), 1e-12), 0, 1))
        total += (1 - has) * band[:, :4]
    return total[:, :3].astype(np.float32), total[:, 3].astype(np.float32)


def _blurred(surface: TexturedSurface, values: Floats, sigma_mm: float) -> Floats:
    mask, sigma = surface.texels.mask(), sigma_mm / surface.texel_mm
    columns = [masked_blur(surface.texels.scatter(column), mask, sigma) for column in values.T]
    return np.stack([column.reshape(-1)[surface.texels.index] for column in columns], axis=1)
