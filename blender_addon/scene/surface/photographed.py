"""Reads an object and its photo texture as input of `core/surface/relief`, or returns the reason why it can't."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from functools import partial

import bpy
import numpy as np

from ...core.arrays import Bools, Floats, Ints
from ...core.mesh.topology import joined
from ...core.mesh.triangles import TriangleMesh
from ...core.srgb import luminance
from ...core.surface.normal_maps import decode
from ...core.surface.relief.recovery import Photographed
from ...core.surface.texels import typical_texel_mm
from ...core.surface.textured_surface import TexturedSurface, read_surface, vertex_surface, without
from ...job.files.aside import aside
from ...job.step import Progress
from ..images import LARGEST, read_pixels, release, working_size
from ..meshes import MM, read_mesh
from .base_picture import base_picture, faces_showing, picture_of
from .surface_texture import colour_layer, is_linear, linear_colours, read_linear

MOST_TEXELS = 5_000_000  # the most covered texels that are processed; a larger texture is halved
FEWEST_TEXELS = 256
"""With fewer there is no texture to read."""
AGAIN = "export the scan again with its photo texture"
UNPICTURED_PX = 4096
"""Edge in px of the map of the fine form of a scan with UVs and without any picture, before it is halved to what that needs."""


def reading(
    item: bpy.types.Object, progress: Progress, *, finest_texel_mm: float = 0.0, occluders: Sequence[bpy.types.Object] = ()
) -> Generator[Progress, None, Photographed | str]:
    """The object's textured surface in mm, or the end of a sentence "The piece ..." with the reason why there is none.

    finest_texel_mm: a finer texture is halved first. occluders: other objects that stood beside it when it was scanned.
    Yields `progress` while it works.
    """
    triangles, beside = read_mesh(item, scale=MM), _joined(occluders)
    if not len(triangles.faces):
        return "has no faces"
    texture = base_picture(item, triangles) if triangles.uv is not None else None
    if texture is None:
        return _by_vertices(triangles, beside)
    image = texture.image
    if image.size[0] * image.size[1] < FEWEST_TEXELS:
        return f"has a texture of no more than {image.size[0]} x {image.size[1]} pixels; {AGAIN}"
    used = faces_showing(item, triangles, texture.image) & _scanned(triangles)
    name, size = image.name, working_size(image, LARGEST)
    limit = yield from aside(partial(_limit, size, triangles, used, finest_texel_mm), progress)
    image = bpy.data.images[name]
    opaque = image.depth in (24, 48, 96)  # three channels; read first, since reading the pixels may release the image
    linear = is_linear(image)
    raw = read_pixels(image, limit=limit)
    alpha = None if opaque else raw[..., 3].copy()
    pixels = yield from aside(partial(linear_colours, raw, linear=linear), progress)
    del raw
    read = yield from _surface(triangles, used, (pixels.shape[0], pixels.shape[1]), progress)
    if isinstance(read, str):
        return read
    surface, shared = read
    if alpha is not None:
        surface = without(surface, _clear(alpha, surface))
    colours = pixels.reshape(-1, 3)[surface.texels.index]
    flat = yield from aside(partial(_featureless, colours), progress)
    if flat:
        return flat
    theirs = (shared, pixels.reshape(-1, 3)[shared]) if len(shared) else None
    return Photographed(surface, np.ascontiguousarray(colours), beside, theirs)


def unpictured(
    item: bpy.types.Object, progress: Progress, *, finest_texel_mm: float
) -> Generator[Progress, None, TexturedSurface | None]:
    """The object's surface in mm at the texels of its own normal map, where it has no photo texture that could be read; without
    a map at texels of about `finest_texel_mm`. None where its UVs are none or of no use. Yields `progress` while it works."""
    triangles = read_mesh(item, scale=MM)
    if triangles.uv is None or not len(triangles.faces):
        return None
    image = _normal_map(item, triangles)
    used = _scanned(triangles)
    if image is not None:
        used &= faces_showing(item, triangles, image, part="normal")
    width, height = (UNPICTURED_PX, UNPICTURED_PX) if image is None else working_size(image, LARGEST)
    finest = finest_texel_mm if image is None else 0.0
    limit = yield from aside(partial(_limit, (width, height), triangles, used, finest), progress)
    share = limit / max(width, height)
    shape = max(round(height * share), 1), max(round(width * share), 1)
    read = yield from _surface(triangles, used, shape, progress)
    return None if isinstance(read, str) else read[0]


def _surface(
    triangles: TriangleMesh, used: Bools, shape: tuple[int, int], progress: Progress
) -> Generator[Progress, None, tuple[TexturedSurface, Ints] | str]:
    """The surface at the texels of a raster of `shape` (h, w) that show one place each, and the indices (k,) of those that show
    several; or the reason why there is none. used: (m,) the faces that count."""
    surface = yield from aside(partial(read_surface, triangles, used, height=shape[0], width=shape[1]), progress)
    share = float(surface.texels.shared.mean()) if len(surface) else 0.0
    shared = surface.texels.index[surface.texels.shared]
    surface = yield from aside(partial(without, surface, surface.texels.shared), progress)
    if share > 0.5:
        return (
            "has UVs that lie on top of each other (mirrored or stacked islands), so no texel belongs to one place; "
            "unwrap it again"
        )
    if len(surface) < FEWEST_TEXELS or surface.texel_mm <= 0:
        return "has UVs that cover next to nothing of the texture; unwrap it again"
    return surface, shared


def _scanned(triangles: TriangleMesh) -> Bools:
    """(m,) bool: the faces that were scanned and not filled."""
    return ~triangles.face_marks.get("filled", np.zeros(len(triangles.faces), bool))


def _clear(alpha: Floats, surface: TexturedSurface) -> Bools:
    """(n,) bool: transparent texels, where no photo showed the surface; none if most are, since alpha is then unused."""
    clear = alpha.reshape(-1)[surface.texels.index] < 0.5
    return clear & bool(clear.mean() < 0.5)


def _by_vertices(triangles: TriangleMesh, beside: tuple[Floats, Ints] | None) -> Photographed | str:
    """The surface with its vertex colours, for an object without a texture; or the reason why there is none."""
    layer = colour_layer(triangles)
    if layer is None:
        lacks = "texture image" if triangles.uv is not None else "UVs"
        return f"has no {lacks} and no vertex colours; {AGAIN}"
    surface = vertex_surface(triangles)
    colours = np.ascontiguousarray(triangles.colours[layer][surface.texels.index, :3], np.float32)
    return _featureless(colours) or Photographed(surface, colours, beside)


def has_normal_map(item: bpy.types.Object) -> bool:
    """Whether the scan brought a normal map of its own."""
    return _normal_map(item, read_mesh(item)) is not None


def own_normals(item: bpy.types.Object, surface: TexturedSurface) -> Floats | None:
    """(n, 3) float32 tangent-space +Y normals of the scan's own normal map at the surface's texels; None without a map."""
    if surface.on_vertices:
        return None
    image = _normal_map(item, read_mesh(item))
    if image is None:
        return None
    height, width = surface.texels.shape
    pixels = read_linear(image, limit=max(height, width))
    row, column = np.divmod(surface.texels.index, width)
    row, column = (row * pixels.shape[0]) // height, (column * pixels.shape[1]) // width
    return decode(pixels[row, column])


def _normal_map(item: bpy.types.Object, triangles: TriangleMesh) -> bpy.types.Image | None:
    """The normal map of the material whose photo texture shows most of an object, or the one on most of it where there is no
    photo texture; None where there is none, or no UVs."""
    if triangles.uv is None:
        return None
    texture = base_picture(item, triangles)
    if texture is None:
        mapped = base_picture(item, triangles, part="normal")
        return None if mapped is None else mapped.image
    release(texture.image)
    image = picture_of(item.data.materials[texture.slot], "normal")
    return image if image is not None and all(image.size) else None


def shared_share(triangles: TriangleMesh) -> float:
    """Share, 0 to 1, of the textured area's texels that several places of the surface use; measured coarsely."""
    if triangles.uv is None:
        return 0.0
    surface = read_surface(triangles, np.ones(len(triangles.faces), bool), height=512, width=512)
    return float(surface.texels.shared.mean()) if len(surface) else 0.0


def _limit(size: tuple[int, int], triangles: TriangleMesh, used: Bools, finest_texel_mm: float) -> int:
    """The longest side in px to work at, limited by the wanted texel size and by `MOST_TEXELS`. size: of the image, px."""
    width, height = size
    if triangles.uv is None or not used.any():
        return max(width, height)
    faces, uv = triangles.faces[used], triangles.uv[used]
    texel = typical_texel_mm(triangles.vertices, faces, uv, height=height, width=width)
    covered = _uv_area(uv) * width * height
    side = max(width, height)
    while side > 512 and ((texel and 2 * texel <= finest_texel_mm * 1.2) or covered > MOST_TEXELS):
        side, texel, covered = (side + 1) // 2, texel * 2, covered / 4
    return side


def _uv_area(uv: Floats) -> float:
    first, second = uv[:, 1] - uv[:, 0], uv[:, 2] - uv[:, 0]
    return float(min(0.5 * np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]).sum(), 4.0))


def _featureless(colours: Floats) -> str:
    bright = luminance(colours)
    low, high = np.quantile(bright, [0.02, 0.98])
    if not np.isfinite(bright).all():
        return "has a texture with values that are not numbers"
    if high < 0.004:
        return f"has a texture that is black all over; {AGAIN}"
    if low > 0.99:
        return f"has a texture that is white all over; {AGAIN}"
    if high - low < 0.002:
        return f"has a texture of one even colour; {AGAIN}"
    return ""


def _joined(items: Sequence[bpy.types.Object]) -> tuple[Floats, Ints] | None:
    mesh = joined([read_mesh(item, scale=MM) for item in items])
    return (mesh.vertices, mesh.faces) if len(mesh.vertices) else None
