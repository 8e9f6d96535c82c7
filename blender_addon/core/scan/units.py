"""In what unit is a scan written, and how fine is its texture? Guesses from sizes, densities from UVs."""

from __future__ import annotations

import math

import numpy as np

from ..mesh.triangles import TriangleMesh, face_areas
from ..records import record

MM_PER_UNIT = {"m": 1000.0, "cm": 10.0, "mm": 1.0, "in": 25.4}
"""By the unit's key."""
USUAL_SIZE_MM = 100.0
"""Longest side of a piece in the hand: a guess."""
PLAUSIBLE_MM = (15.0, 600.0)
"""Longest side of a piece that is scanned on a desk, from a chess piece to a large bust (common practice)."""

COUNTABLE = (5e-10, 1e9)
"""Longest sides, in any unit, for which squared areas stay within the range of 32-bit floats."""


@record
class UnitGuess:
    """The likeliest unit: its key in MM_PER_UNIT or '' when none gives a plausible size; the longest side in mm then."""

    unit: str
    longest_mm: float


def guess_unit(longest: float, *, metres_by_format: bool = False) -> UnitGuess:
    """Which unit makes a longest side of `longest` units a thing that stands on a desk?

    Of metres, centimetres and millimetres the one whose size is nearest to 100 mm by ratio, if it is plausible at all.
    metres_by_format: the format says metres (glTF); taken whenever that is plausible.
    """
    if not longest > 0:
        return UnitGuess("", 0.0)
    order = ("m", "cm", "mm")
    sizes = {unit: longest * MM_PER_UNIT[unit] for unit in order}
    plausible = [unit for unit in order if PLAUSIBLE_MM[0] <= sizes[unit] <= PLAUSIBLE_MM[1]]
    if not plausible:
        return UnitGuess("", 0.0)
    if metres_by_format and "m" in plausible:
        return UnitGuess("m", sizes["m"])
    best = min(plausible, key=lambda unit: abs(math.log(sizes[unit] / USUAL_SIZE_MM)))
    return UnitGuess(best, sizes[best])


def unit_chances(longest: float, *, metres_by_format: bool = False) -> dict[str, float]:
    """The chance of each unit, given a longest side of `longest` units; they add up to 1, or there are none where none is
    plausible.

    A size counts by how near it is to the usual one by ratio (a normal law of a factor of 3 in the logarithm), inches a
    tenth as much as the others; a format that says metres makes them 20 times as likely. All guesses.
    """
    if not longest > 0:
        return {}
    weights = {}
    for unit, scale in MM_PER_UNIT.items():
        size = longest * scale
        if PLAUSIBLE_MM[0] <= size <= PLAUSIBLE_MM[1]:
            weights[unit] = math.exp(-0.5 * (math.log(size / USUAL_SIZE_MM) / math.log(3.0)) ** 2)
    if "in" in weights:
        weights["in"] *= 0.1
    if metres_by_format and "m" in weights:
        weights["m"] *= 20.0
    total = sum(weights.values())
    return {unit: weight / total for unit, weight in weights.items()}


MOST_MEASURED = 100_000
"""Faces of which about so many, spread over all, are measured: the density is known to some thousandths then."""


def texels_per_unit(mesh: TriangleMesh, sizes: dict[int, tuple[int, int]]) -> float:
    """Texels per unit length on the surface, over faces with a texture: sqrt(texels covered / area covered).

    sizes: material slot to (width, height) in pixels of its texture. 0.0 where there is nothing to measure.
    """
    if mesh.uv is None or not sizes:
        return 0.0
    some = slice(None, None, max(1, len(mesh.faces) // MOST_MEASURED))
    uv, faces = mesh.uv[some], mesh.faces[some]
    (x, right, left), (y, up, down) = uv[..., 0].T, uv[..., 1].T
    covered = 0.5 * np.abs((right - x) * (down - y) - (up - y) * (left - x)).astype(float)
    areas = face_areas(mesh.vertices, faces)
    slots = np.zeros(len(faces), int) if mesh.material is None else mesh.material[some]
    texels = surface = 0.0
    for slot, (width, height) in sizes.items():
        chosen = (slots == slot) & (covered > 1e-12)
        texels += float(covered[chosen].sum()) * width * height
        surface += float(areas[chosen].sum())
    return math.sqrt(texels / surface) if surface > 0 else 0.0
