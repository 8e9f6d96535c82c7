"""Is the finished scan good enough for the pictures asked for, and if not, what helps: spray, closer, light, another scan?"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from .patches import Patches

FILLS = 0.7
"""Share of a picture's longer side that the piece fills, about what the camera step frames."""
LUMPS_MM, LUMPS_SHARE = 0.05, 0.0006
"""rms from which a surface is lumpy: in mm, and as a share of the longest side, whichever is more (guesses, tried
on the demo and in its test): bumps 4 mm long of 0.05 mm lean by 0.08, about 4.5 degrees (2 pi 0.05 / 4)."""
QUIET = 50.0
"""Percentile of the discs' rms up to which discs are counted: the quieter half holds no edge of the form."""
FEWEST_DISCS = 24
"""Least number of counted discs to judge lumps by."""
LIT = 0.4
"""Least share of the picture's variance that the direction of the surface explains: below it the picture shows paint or no
light, and tells nothing about the surface (0.77 on our dusted owl, 0.27 on a painted bust)."""
TEXELS_A_PIXEL, EDGE_PIXELS = 0.5, 20.0
"""Least texels a pixel, and longest triangle edge in pixels, before a texel two pixels wide or a facet on the outline is
visible (our guesses)."""
SOFT_TEXELS = 4.5
"""10-90 % width of the sharpest edges, in texels, from which a texture holds less detail than its size: a blur of 1.75
texels."""
OPEN_PERCENT = 2.0
"""Area that would close the open rims other than the underside's, in percent of the surface, from which it is reported."""

SPRAY = "dust the piece before the next scan (read the cautions first), or light it softly from all sides and take more photos"
CLOSER = "scan again from closer, with photos of more pixels on the piece"
SHARPER = "take sharper photos: `photos FOLDER` says which are soft"
COVER = "scan again with photos from below and into the hollows"
SMALLER = "or ask for smaller pictures (render.size)"


@record
class Findings:
    """What was measured of a scan; nan where it could not be.

    lumps_mm: rms of bumps of 1 to 10 mm that the picture does not show; discs: how many were looked at. texels_a_pixel,
    edge_pixels: texels, and a triangle's edge, in pixels of the picture asked for. soft_texels: 10-90 % width of the texture's
    sharp edges. open_percent: what holes beside the largest rim would take of the surface. longest_mm: longest side; assumed:
    whether that is a guess.
    """

    lumps_mm: float
    discs: int
    texels_a_pixel: float
    edge_pixels: float
    soft_texels: float
    open_percent: float
    longest_mm: float
    assumed: bool


@record
class Complaint:
    """kind: 'lumps', 'texels', 'triangles', 'soft' or 'holes'. words: what was found, with the figure, and what helps."""

    kind: str
    words: str


def lumps(patches: Patches, lit: float) -> tuple[float, int]:
    """(rms in mm, discs) of bumps that the picture does not show; nan where it can't be said.

    Under the light that the picture holds each true bump has a lighter and a darker side. The part of that shading which is in
    the picture, g = sum(shown) / sum(expected), is the share of true bumps in the energy; the rest, 1 - g, is the scanner's.
    lit: share of the picture's variance that the surface's direction explains.
    """
    if lit < LIT or not np.isfinite(patches.expected).any():
        return float("nan"), 0
    known = np.isfinite(patches.expected)
    quiet = known & (patches.rms <= np.percentile(patches.rms[known], QUIET))
    count = int(quiet.sum())
    if count < FEWEST_DISCS:
        return float("nan"), count
    true = patches.shown[quiet].sum() / max(patches.expected[quiet].sum(), 1e-12)
    return float(np.sqrt(np.mean(patches.rms[quiet] ** 2) * np.clip(1.0 - true, 0.0, 1.0))), count


def shading_of(normals: Floats, shades: Floats) -> tuple[Floats, float]:
    """(n,) log luminance (n,) as a linear function of the normals (n, 3), least squares, and the share (0 to 1) of its variance
    that this explains: the first order of a light that falls on a matt surface (Ramamoorthi & Hanrahan 2001)."""
    known = np.isfinite(shades)
    if known.sum() < 100:
        return np.zeros(len(shades)), 0.0
    form = np.concatenate([normals, np.ones((len(normals), 1))], axis=1)
    modelled: Floats = form @ np.linalg.lstsq(form[known], shades[known], rcond=None)[0]
    rest = shades[known] - modelled[known]
    return modelled, float(1.0 - rest.var() / max(float(shades[known].var()), 1e-12))


def complaints(found: Findings) -> list[Complaint]:
    """What is not good enough; nothing is said of what could not be measured."""
    said = []
    guess = f" (if it is {found.longest_mm:.0f} mm long, which is assumed)" if found.assumed else ""
    if found.lumps_mm > max(LUMPS_MM, LUMPS_SHARE * found.longest_mm):
        words = f"The surface has lumps that its picture does not show: {found.lumps_mm:.2f} mm rms, 1 to 10 mm wide{guess}"
        said.append(Complaint("lumps", f"{words}; {SPRAY}"))
    if found.texels_a_pixel < TEXELS_A_PIXEL:
        words = f"The texture has {found.texels_a_pixel:.2f} texels a pixel of the pictures asked for"
        said.append(Complaint("texels", f"{words}; {CLOSER}, {SMALLER}"))
    if found.edge_pixels > EDGE_PIXELS:
        words = f"The triangles are coarse: an edge takes {found.edge_pixels:.0f} pixels of the pictures asked for"
        said.append(Complaint("triangles", f"{words}; export the scan with more triangles, {SMALLER}"))
    if found.soft_texels > SOFT_TEXELS:
        words = f"The texture is soft: its sharpest edges are {found.soft_texels:.1f} texels wide"
        said.append(Complaint("soft", f"{words}; {SHARPER}"))
    if found.open_percent > OPEN_PERCENT:
        words = f"Holes beside the underside take {found.open_percent:.1f} % of the surface"
        said.append(Complaint("holes", f"{words}; {COVER}"))
    return said
