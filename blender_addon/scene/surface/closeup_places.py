"""Data on the close-up photos for other steps and for checking: places, the scan's relief and colour there, an overlay."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...core.arrays import Floats, Pixels8
from ...core.closeups.camera import PhotoCamera
from ...core.closeups.photo_set import PhotoSet, Reading
from ...core.closeups.seen import Form, faces_seen, pixels_seen
from ...core.mesh.triangles import unit
from ...core.rasters import colours_at, repeated_pixel
from ...core.srgb import luminance
from ...core.surface.normal_maps import decode, from_tangent_space, tangent_frames
from ...core.surface.relief.own_map import slopes_of_normals
from ...core.surface.texels import Texels
from ..images import read_pixels
from ..meshes import MM, read_mesh
from ..stage import Stage
from .own_texture import own_colour_of
from .surface_texture import read_linear

PLACES = "bozzetto_closeup_places"
"""Custom property on the close-ups' images: WIDTH numbers per place, see `offered_places`."""
WIDTH = 8
"""Middle (3), normal (3), radius and finest detail."""
OVERLAY = 360
"""Longest side of the overlay, px."""
SQUARES = 6
"""Squares along its longer side that show photo and scan in turn."""


def offered_places(readings: list[tuple[str, PhotoCamera, Reading]]) -> list[float]:
    """For each place eight numbers: centre (3, mm), outward normal (3), radius of the covered area and finest detail, mm."""
    numbers: list[float] = []
    for _, _, reading in readings:
        weight = reading.weight.astype(float)
        total = max(float(weight.sum()), 1e-9)
        middle = (reading.position * weight[:, None]).sum(axis=0) / total
        normal = unit((reading.normal * weight[:, None]).sum(axis=0))
        radius = float(np.sqrt(reading.area_mm2 / np.pi))
        numbers += [*map(float, middle), *map(float, normal), radius, reading.finest or 2 * reading.pixel_mm]
    return numbers


def relief_slopes(stage: Stage, photo_set: PhotoSet) -> Floats | None:
    """(n, 3) slopes recovered from the scan's texture at the photos' pixels, at the advised strength; None without maps."""
    item, image = stage.require("piece"), stage.find("relief_normal", "piece")
    if image is None:
        return None
    triangles = read_mesh(item, scale=MM)
    if triangles.uv is None or len(triangles.faces) != len(photo_set.form.faces):
        return None
    pixels = read_pixels(image)
    texels = photo_set.pixels
    row, column = repeated_pixel(_at(texels, triangles.uv[photo_set.faces]), pixels.shape)
    vertices = triangles.vertices.astype(float)
    frames = tangent_frames(vertices, triangles.faces, triangles.uv, photo_set.form.normals)
    whole = Texels(texels.shape, texels.index, photo_set.faces[texels.face], texels.weight, texels.shared)
    normals = from_tangent_space(whole, frames, photo_set.normal, decode(pixels[row, column, :3]))
    return float(image.get("strength", 1.0)) * slopes_of_normals(photo_set.normal, normals)


def _at(texels: Texels, corners: Floats) -> Floats:
    """(n, 2) UV of each pixel, interpolated from its face's corners (k, 3, 2)."""
    return np.einsum("nc,nci->ni", texels.weight, corners[texels.face])


def overlaid(photo: Floats, camera: PhotoCamera, form: Form) -> Pixels8:
    """(h, w, 3) 8-bit, row 0 at the top: a checkerboard of the photo (h, w, 3), row 0 at the bottom, and of the mesh as the
    solved camera sees it.

    Outlines continue from square to square where the camera is right.
    """
    factor = max(1, round(max(camera.size) / OVERLAY))
    height, width = (side // factor for side in photo.shape[:2])
    small = photo[: height * factor, : width * factor].reshape(height, factor, width, factor, 3).mean(axis=(1, 3))
    faces = np.flatnonzero(faces_seen(camera, form))
    if not len(faces):
        return _as_picture(small)
    texels = pixels_seen(camera, form, faces, (width, height))
    normal = unit(texels.interpolate(form.faces[faces], form.normals))
    lamp = unit(-camera.rotation[2] - 0.6 * camera.rotation[1] - 0.5 * camera.rotation[0])
    shade = np.zeros((height, width), np.float32)
    shade.reshape(-1)[texels.index] = 0.15 + 0.75 * np.clip(normal @ lamp, 0, 1)
    grey = luminance(small)
    row, column = np.indices((height, width)) * SQUARES // max(height, width)
    shown = np.where((row + column) % 2 == 0, grey, shade)
    return _as_picture(np.repeat(shown[..., None], 3, axis=2))


def _as_picture(shown: Floats) -> Pixels8:
    return np.round(255.0 * np.clip(shown, 0.0, 1.0)).astype(np.uint8)[::-1].copy()


def own_colours(stage: Stage) -> Floats | None:
    """(m, 3) linear colour of the scan (its albedo where that was made) at the centre of each face; None without colour."""
    item = stage.require("piece")
    image, _ = own_colour_of(stage, item, "piece")
    triangles = read_mesh(item)
    if image is None or triangles.uv is None:
        return None
    try:
        pixels = read_linear(image)
    except ValueError:
        return None
    return colours_at(pixels, triangles.uv.mean(axis=1))


def coloured(reading: Reading, own: Floats) -> Reading:
    """The reading with its albedo scaled to the scan's own colours (m, 3).

    The lamps' strength is unknown, so each channel is multiplied by one factor, from the medians over the covered area.
    """
    good = reading.weight > 0.5
    if not good.any():
        return reading
    scan = np.median(own[reading.faces[reading.pixels.face[good]]], axis=0)
    factor = scan / np.maximum(np.median(reading.albedo[good], axis=0), 1e-4)
    return replace(reading, albedo=np.clip(reading.albedo * factor, 0, 1).astype(np.float32))
