"""Draws small pictures from points on the surface, without a renderer: six sides for choosing the front, and each shot."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import bpy
import numpy as np

from ..core.arrays import Floats, Ints
from ..core.mesh.preview import sampled_by_area, through, view
from ..core.mesh.triangles import TriangleMesh, face_normals
from ..core.rasters import colours_at
from ..core.records import record
from .images import LARGEST, read_pixels
from .meshes import read_mesh
from .shots import lens_drivers as key
from .shots.cameras import MM, shot_view
from .surface.base_picture import picture_of

SIDES = 6
"""Fronts that are offered, 60 degrees apart."""


def front_candidates(
    item: bpy.types.Object, *, size: int = 128, sides: int = SIDES, points: int = 120_000
) -> list[tuple[float, Floats]]:
    """(angle in degrees, picture (size, size, 4) float, row 0 at the bottom) for `sides` views around an upright object.

    The angle is measured from the object's present front, counter-clockwise seen from above. Adding it to the step's `front`
    setting (or to the figure `front_deg`) makes that side the front.

    points: how many points of the surface are drawn.
    """
    looks = looks_of(item, points)
    angles = [360.0 * side / sides for side in range(sides)]
    return [(turn, view(*looks, yaw_deg=turn, size=size)) for turn in angles]


Looks = tuple[Floats, Floats, Floats]
"""Points (n, 3) of a surface in metres, their normals (n, 3) and display colours (n, 3)."""


def looks_of(item: bpy.types.Object, points: int) -> Looks:
    """Points distributed evenly over an object's surface."""
    return _looks(read_mesh(item), paint_of(item), points)


def _looks(mesh: TriangleMesh, paint: Paint, points: int) -> Looks:
    faces, weights = sampled_by_area(mesh, points)
    places = np.einsum("nk,nkd->nd", weights, mesh.vertices[mesh.faces[faces]].astype(float))
    normals = face_normals(mesh.vertices.astype(float), mesh.faces)[faces]
    return places, normals, surface_colours(paint, mesh, faces, weights)


def looks_of_all(items: Sequence[bpy.types.Object], points: int = 240_000) -> Callable[[], Looks]:
    """As `looks_of` for several objects, each with an equal share of the points; a function that needs nothing of Blender, so
    that it can be called in another thread."""
    read = [(read_mesh(item), paint_of(item)) for item in items if len(item.data.polygons)]
    return partial(_joined_looks, read, points // max(len(items), 1))


def _joined_looks(read: Sequence[tuple[TriangleMesh, Paint]], points: int) -> Looks:
    found = [_looks(mesh, paint, points) for mesh, paint in read]
    if not found:
        return np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 3))
    places, normals, colours = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return places, normals, colours


def shot_picture(camera: bpy.types.Object, looks: Looks, *, longest: int = 144) -> Callable[[], Floats]:
    """A function, which can be called in another thread, that draws a preview of a shot (h, w, 4): the subject as its camera
    frames it, with flat tones for table and wall."""
    seen = shot_view(camera)
    width, height = camera[key.RESOLUTION]
    size = (max(1, round(longest * min(1.0, width / height))), max(1, round(longest * min(1.0, height / width))))
    return partial(through, *looks, position=seen.position / MM, rotation=seen.rotation, half=seen.half_slopes, size=size)


def give_thumbnail(camera: str, picture: Floats) -> None:
    """Store a shot's picture as the preview of the camera of that name, which Blender saves with the file and panels show."""
    preview: Any = bpy.data.objects[camera].preview_ensure()
    preview.image_size = (picture.shape[1], picture.shape[0])
    preview.image_pixels_float.foreach_set(np.ascontiguousarray(picture, np.float32).ravel())


@record
class Paint:
    """The base textures of an object, so that its colours can be looked up in another thread.

    pictures: by the number of the material slot, (h, w, 4) stored values.
    """

    pictures: Mapping[int, Floats]


def paint_of(item: bpy.types.Object) -> Paint:
    """The base textures of an object, each at most `LARGEST` px wide."""
    if not item.data.uv_layers:
        return Paint({})
    images = {slot: picture_of(holder.material) for slot, holder in enumerate(item.material_slots)}
    return Paint(
        {slot: read_pixels(image, limit=LARGEST) for slot, image in images.items() if image is not None and image.size[0]}
    )


def surface_colours(paint: Paint, mesh: TriangleMesh, faces: Ints, weights: Floats) -> Floats:
    """(n, 3) display colours at points of a surface: from the base texture, the vertex colours, or a mid grey.

    faces: (n,) the face of each point. weights: (n, 3) its barycentric weights.
    """
    colours = np.full((len(faces), 3), 0.7, np.float32)
    if mesh.colours:
        linear = next(iter(mesh.colours.values()))
        mixed = np.einsum("nk,nkd->nd", weights, linear[mesh.faces[faces]][..., :3])
        colours = np.clip(mixed, 0.0, 1.0) ** (1 / 2.2)
    if mesh.uv is None:
        return colours
    slots = mesh.material[faces] if mesh.material is not None else np.zeros(len(faces), int)
    where = np.einsum("nk,nkd->nd", weights, mesh.uv[faces])
    for slot, pixels in paint.pictures.items():
        chosen = slots == slot
        colours[chosen] = colours_at(pixels, where[chosen])
    return colours


def vertex_colours(paint: Paint, mesh: TriangleMesh) -> Floats | None:
    """(n, 3) display colour at each vertex of an upright mesh; None where the colour is uniform."""
    faces, corner = np.zeros(len(mesh.vertices), np.int64), np.zeros(len(mesh.vertices), np.int64)
    for place in range(3):
        faces[mesh.faces[:, place]], corner[mesh.faces[:, place]] = np.arange(len(mesh.faces)), place
    shown = surface_colours(paint, mesh, faces, np.eye(3)[corner])
    return None if float(np.ptp(shown, axis=0).max()) < 0.02 else shown
