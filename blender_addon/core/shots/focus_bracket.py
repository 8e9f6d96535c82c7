"""Which focus distances cover a depth that no single f-number holds? Slices at a stated overlap.

The slices are taken from one spot and scaled to the same field of view, as they are when a stack is merged. Then a point at
distance d, with the lens focused at s, is blurred in the picture by A v |1/s - 1/d| (A the aperture, v the image distance of
the picture's field of view; from c = A m |d - s|/d with m s = v), so each slice is sharp over an equal stretch of reciprocal
distance.
"""

from __future__ import annotations

import math

import numpy as np

from ..arrays import Floats
from ..records import record
from .optics import Optics


@record
class Bracket:
    """Focus distances (n,) in mm, nearest first; near and far end (n,) of each slice's sharp depth; the overlap reached, 0 to
    1."""

    focus_mm: Floats
    near_mm: Floats
    far_mm: Floats
    overlap: float


def reach(optics: Optics, coc_mm: float) -> float:
    """Half of a slice's sharp stretch in reciprocal distance, 1/mm: c/(A v)."""
    return coc_mm / (optics.aperture_mm * optics.magnification * optics.focus_mm)


def bracket(optics: Optics, near_mm: float, far_mm: float, coc_mm: float, *, overlap: float = 0.3, most: int = 200) -> Bracket:
    """Slices whose sharp depths cover near to far, each overlapping its neighbour by at least `overlap` of its stretch.

    `optics` gives the lens, the f-number and the distance at which the frame was set. For a depth D and slices w in reciprocal
    distance there are ceil((D - w)/(w (1 - overlap))) + 1, evenly spaced; the first begins at near, the last ends at far.
    Raises ValueError for impossible ends or when more than `most` slices would be needed.
    """
    if not 0.0 < near_mm <= far_mm or not math.isfinite(far_mm):
        raise ValueError(f"a bracket needs a near end before a far end, not {near_mm:g} and {far_mm:g} mm")
    if not 0.0 <= overlap < 0.95:
        raise ValueError(f"the overlap must lie between 0 and 0.95, not {overlap:g}")
    half = reach(optics, coc_mm)
    first, last = 1.0 / near_mm, 1.0 / far_mm
    depth = first - last
    count = 1 if depth <= 2.0 * half else math.ceil((depth - 2.0 * half) / (2.0 * half * (1.0 - overlap)) - 1e-9) + 1
    if count > most:
        raise ValueError(f"{count} slices would be needed, more than {most}: choose a larger f-number or less depth")
    middle = np.array([0.5 * (first + last)]) if count == 1 else np.linspace(first - half, last + half, count)
    step = abs(middle[1] - middle[0]) if count > 1 else 0.0
    farthest = np.where(middle > half, 1.0 / np.maximum(middle - half, 1e-12), np.inf)
    return Bracket(1.0 / middle, 1.0 / (middle + half), farthest, 1.0 - step / (2.0 * half) if count > 1 else 1.0)


def gap(slices: Bracket, near_mm: float, far_mm: float) -> float:
    """The length (mm) between near and far that no slice holds sharp."""
    order = np.argsort(slices.near_mm)
    reached, missing = near_mm, 0.0
    for near, far in zip(slices.near_mm[order], slices.far_mm[order], strict=True):
        if near > reached:
            missing += min(near, far_mm) - reached
        reached = max(reached, min(far, far_mm))
        if reached >= far_mm:
            break
    return max(missing + max(far_mm - reached, 0.0), 0.0) if missing or reached < far_mm * (1 - 1e-12) else 0.0


def blur_px(optics: Optics, focus_mm: float, distance_mm: Floats | float, *, px_per_mm: float) -> Floats:
    """Blur diameter in pixels at distances, with the lens focused at `focus_mm`, scaled to the field of view of `optics`.

    distance_mm: depths along the axis, any shape. px_per_mm: pixels a mm of the plane in focus.
    """
    scale = optics.aperture_mm * optics.magnification * optics.focus_mm * px_per_mm
    with np.errstate(divide="ignore"):
        return scale * np.abs(1.0 / focus_mm - 1.0 / np.asarray(distance_mm, float))
