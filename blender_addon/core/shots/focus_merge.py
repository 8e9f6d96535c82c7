"""How are the slices of a focus bracket merged into one sharp picture? By depth, without halos along near edges.

A slice focused on the background shows a near object blurred beyond its outline, so that just outside the outline it holds the
near object's colour. There a nearer slice is taken instead, in which the near object is sharp and does not spill and the
background is merely soft. Each pixel takes the slices in which the sum of its own blur and of what spills over it is least.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from ..arrays import Bools, Floats
from .focus_bracket import blur_px
from .optics import Optics

LAYERS = 24
"""Most depth layers into which pixels are sorted to find what spills over what."""


def merge(slices: Floats, depth_mm: Floats, focus_mm: Floats, optics: Optics, *, px_per_mm: float) -> Floats:
    """(h, w, c) the picture that is sharp wherever any slice is, from `slices` (n, h, w, c), scene-linear.

    depth_mm: (h, w) distance along the axis of what each pixel shows, from a picture without blur; inf for nothing. focus_mm:
    (n,) where each slice is in focus. optics: the lens, with the distance at which the frame was set; px_per_mm: pixels per mm
    of sensor. Raises ValueError when the shapes do not fit.
    """
    slices, focus = np.asarray(slices, np.float32), np.asarray(focus_mm, float)
    if slices.ndim != 4 or slices.shape[0] != len(focus) or slices.shape[1:3] != depth_mm.shape:
        raise ValueError(f"slices {slices.shape}, depth {depth_mm.shape} and {len(focus)} distances do not fit together")
    weights = slice_weights(depth_mm, focus, optics, px_per_mm=px_per_mm)
    return np.einsum("nhw,nhwc->hwc", weights, slices)


def slice_weights(depth_mm: Floats, focus_mm: Floats, optics: Optics, *, px_per_mm: float) -> Floats:
    """(n, h, w) float32 share of each slice in each pixel; they add up to 1.

    depth_mm: (h, w) along the axis, not finite where there is nothing. focus_mm: (n,) distances in focus, one a slice.
    """
    depth = np.where(np.isfinite(depth_mm), depth_mm, 1e9)
    cost = np.stack([
        blur_px(optics, focus, depth, px_per_mm=px_per_mm).astype(np.float32)
        + SPILL * spill(depth, focus, optics, px_per_mm=px_per_mm)
        for focus in focus_mm
    ])  # fmt: skip
    # Slices whose costs differ by less than a third of a pixel share the pixel; otherwise the least cost wins.
    share = 1.0 / (np.maximum(cost - cost.min(axis=0), 0.0) + 0.33) ** 4
    return share / share.sum(axis=0)


SPILL = 4.0
"""Weight of spill against a pixel's own blur: another object's colour is more disturbing than softness."""


def spill(depth_mm: Floats, focus_mm: float, optics: Optics, *, px_per_mm: float) -> Floats:
    """(h, w) how far (pixels) into the blur of something nearer each pixel lies when the lens is focused at `focus_mm`.

    depth_mm: (h, w) along the axis.
    """
    deep = np.zeros(depth_mm.shape, np.float32)
    edges = _layers(depth_mm)
    for low, high in pairwise(edges):
        layer = (depth_mm >= low) & (depth_mm < high)
        radius = 0.5 * float(blur_px(optics, focus_mm, 0.5 * (low + min(high, 2.0 * low)), px_per_mm=px_per_mm))
        if radius < 0.75 or not layer.any():
            continue
        behind = depth_mm >= high
        away = distance_to(layer, int(np.ceil(radius)) + 1)
        deep = np.maximum(deep, np.where(behind, np.maximum(radius + 0.5 - away, 0.0), 0.0).astype(np.float32))
    return deep


def _layers(depth_mm: Floats) -> Floats:
    """Edges of depth layers, evenly spaced in reciprocal distance, over the depths that occur."""
    near, far = 1.0 / float(depth_mm.min()), 1.0 / float(depth_mm.max())
    if near - far < 1e-12:
        return 1.0 / np.array([near * 1.001, far * 0.999])
    edges = 1.0 / np.linspace(near, far, LAYERS + 1)
    edges[0] *= 0.999
    edges[-1] *= 1.001
    return edges


def distance_to(mask: Bools, most: int) -> Floats:
    """(h, w) distance in pixels to the nearest True, exact up to `most`, larger beyond (two separable passes)."""
    width = mask.shape[1]
    far = float(most + 1)
    along = _run_distance(mask, far)
    best = along * along
    for shift in range(1, min(most, width - 1) + 1):
        moved = along[:, shift:] ** 2 + shift * shift
        np.minimum(best[:, :-shift], moved, out=best[:, :-shift])
        moved = along[:, :-shift] ** 2 + shift * shift
        np.minimum(best[:, shift:], moved, out=best[:, shift:])
    return np.sqrt(best)


def _run_distance(mask: Bools, far: float) -> Floats:
    """Distance within each column to the nearest True, at most `far`."""
    rows = np.arange(mask.shape[0], dtype=np.float32)[:, None]
    last = np.maximum.accumulate(np.where(mask, rows, -1e9), axis=0)
    following = np.minimum.accumulate(np.where(mask, rows, 1e9)[::-1], axis=0)[::-1]
    return np.minimum(np.minimum(rows - last, following - rows), far).astype(np.float32)
