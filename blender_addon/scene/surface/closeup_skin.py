"""Reads the piece's colour and recovered relief, from which it is rendered under any light to be compared with photographs."""

from __future__ import annotations

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.closeups.placing.look import Skin, Texture
from ...core.closeups.seen import Form
from ...core.mesh.triangles import TriangleMesh, edges, unit
from ...core.surface.normal_maps import decode, from_tangent_space, tangent_frames
from ...core.surface.relief.own_map import slopes_of_normals
from ...core.surface.texels import rasterize, typical_texel_mm
from ..images import read_pixels
from ..meshes import MM, read_mesh
from ..stage import Stage
from .own_texture import own_colour_of
from .surface_texture import colour_layer, read_linear

LARGEST = 2048
"""Longest side in px at which textures are read; photos are compared at 1000 px."""


def skin_of(stage: Stage, form: Form) -> Skin:
    """The piece's texture or vertex colours and relief, as far as the scan and the earlier steps provide them."""
    item = stage.require("piece")
    triangles = read_mesh(item, scale=MM)
    image, _ = own_colour_of(stage, item, "piece")
    if image is not None and triangles.uv is not None and len(triangles.faces) == len(form.faces):
        try:
            picture = read_linear(image, limit=LARGEST)
        except ValueError:
            picture = None
        if picture is not None:
            height, width = picture.shape[:2]
            texel = typical_texel_mm(triangles.vertices, triangles.faces, triangles.uv, height=height, width=width)
            slopes = _slopes(stage.find("relief_normal", "piece"), triangles, form, (height, width))
            if texel > 0:
                return Skin(form, texel_mm=texel, texture=Texture(triangles.uv, picture, slopes))
    layer = colour_layer(triangles)
    colours = None if layer is None else triangles.colours[layer][:, :3]
    return Skin(form, texel_mm=_edge_mm(form), colours=colours)


def _edge_mm(form: Form) -> float:
    pairs, _ = edges(form.faces)
    return float(np.median(np.linalg.norm(form.vertices[pairs[:, 0]] - form.vertices[pairs[:, 1]], axis=1)))


def _slopes(image: bpy.types.Image | None, triangles: TriangleMesh, form: Form, size: tuple[int, int]) -> Floats | None:
    """(h, w, 3) slopes of the relief recovered from the scan's texture, at the advised strength, in a raster of `size`."""
    if image is None or triangles.uv is None:
        return None
    pixels = read_pixels(image, limit=LARGEST)
    texels = rasterize(triangles.uv, height=size[0], width=size[1])
    row, column = np.divmod(texels.index, size[1])
    row, column = row * pixels.shape[0] // size[0], column * pixels.shape[1] // size[1]
    frames = tangent_frames(form.vertices, triangles.faces, triangles.uv, form.normals)
    normal = unit(texels.interpolate(form.faces, form.normals))
    mapped = from_tangent_space(texels, frames, normal, decode(pixels[row, column, :3]))
    return texels.scatter(float(image.get("strength", 1.0)) * slopes_of_normals(normal, mapped))
