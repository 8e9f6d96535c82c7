"""The density mask of the debris: an image over the table, painted by a brush and packed into the .blend."""

from __future__ import annotations

import bpy
import numpy as np

from ...core.arrays import Floats
from ..images import read_pixels, size_of

NAME, SIZE, USUAL = "Debris mask", 512, 0.5
"""Name of the image, its longer side in pixels, and the grey value that leaves the density unchanged."""


def mask_over(table: bpy.types.Object) -> bpy.types.Image:
    """A new, uniform mask over a table object's extent."""
    width, depth = extent_of(table)[1] - extent_of(table)[0]
    size = np.maximum(np.round(SIZE * np.array([width, depth]) / max(width, depth)).astype(int), 8)
    image = bpy.data.images.new(NAME, int(size[0]), int(size[1]), float_buffer=True, is_data=True)
    image.pixels.foreach_set(np.tile(np.array([USUAL, USUAL, USUAL, 1.0], np.float32), int(size[0] * size[1])))
    return image


def extent_of(table: bpy.types.Object) -> Floats:
    """(2, 2) lowest and highest x and y of a table's vertices, scene units."""
    points = np.zeros(3 * len(table.data.vertices), np.float32)
    table.data.vertices.foreach_get("co", points)
    flat = points.reshape(-1, 3)[:, :2]
    return np.stack([flat.min(axis=0), flat.max(axis=0)]).astype(float)


def brushed(grey: Floats, extent: Floats, stroke: Floats, *, radius: float, lay: bool) -> Floats:
    """A mask (h, w) after a stroke with a soft edge.

    stroke: points (n, 2), in the radius's unit. lay: to white, else black. grey: (h, w) 0 to 1, row 0 at the bottom. extent:
    (2, 2) lower left and upper right corner of the mask, in the radius's unit.
    """
    height, width = grey.shape
    low, high = np.asarray(extent, float)
    x = low[0] + (np.arange(width) + 0.5) / width * (high[0] - low[0])
    y = low[1] + (np.arange(height) + 0.5) / height * (high[1] - low[1])
    least = np.full(grey.shape, np.inf)
    for place in np.asarray(stroke, float).reshape(-1, 2):
        least = np.minimum(least, np.hypot(x[None] - place[0], y[:, None] - place[1]))
    cover = np.clip((radius - least) / (0.3 * radius), 0.0, 1.0)
    return grey + cover * ((1.0 if lay else 0.0) - grey)


def brushed_over(
    table: bpy.types.Object, former: bpy.types.Image | None, stroke: Floats, *, radius: float, lay: bool
) -> bpy.types.Image:
    """A copy of the former mask, or a new uniform one, with a stroke painted into it and packed into the file.

    stroke: points (n, 2) on the table; radius: in the same scene units. Blender's undo does not restore pixels, so each stroke
    makes a new image; an unused former one is dropped when the file is saved. lay: paint white, where debris lies; else black.
    """
    image = mask_over(table)
    if former is not None and former.size[0] and former.size[1]:
        image.scale(*size_of(former))
        pixels = read_pixels(former)
    else:
        pixels = read_pixels(image)
    pixels[..., :3] = brushed(pixels[..., 0], extent_of(table), stroke, radius=radius, lay=lay)[..., None]
    image.pixels.foreach_set(np.ascontiguousarray(pixels, np.float32).ravel())
    image.update()
    image.pack()
    return image
