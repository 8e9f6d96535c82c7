"""Six small pictures of the scan from six sides, to choose the front by; drawn in a moment, without a renderer."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..core.mesh import TriangleMesh, face_normals
from ..core.preview import strewn, view
from .images import read_pixels
from .meshes import read_mesh
from .textures import image_of

SIDES = 6


def front_candidates(item: Any, *, size: int = 128, sides: int = SIDES, points: int = 120_000) -> list[tuple[float, Any]]:
    """(angle in degrees, picture (size, size, 4) float, row 0 at the bottom) for `sides` turns of a standing object.

    The angle is how far that side lies from the object's present front, counter-clockwise seen from above: adding it to the
    step's `front` setting (or to the figure `front_deg`) makes that side the front.
    """
    mesh = read_mesh(item)
    faces, weights = strewn(mesh, points)
    places = np.einsum("nk,nkd->nd", weights, mesh.vertices[mesh.faces[faces]].astype(float))
    normals = face_normals(mesh.vertices.astype(float), mesh.faces)[faces]
    colours = surface_colours(item, mesh, faces, weights)
    angles = [360.0 * side / sides for side in range(sides)]
    return [(turn, view(places, normals, colours, yaw_deg=turn, size=size)) for turn in angles]


def surface_colours(item: Any, mesh: TriangleMesh, faces: Any, weights: Any) -> Any:
    """(n, 3) display colours at points of a surface: from the base texture, the vertex colours, or a mid grey."""
    colours = np.full((len(faces), 3), 0.7, np.float32)
    if mesh.colours:
        linear = next(iter(mesh.colours.values()))
        mixed = np.einsum("nk,nkd->nd", weights, linear[mesh.faces[faces]][..., :3])
        colours = np.clip(mixed, 0.0, 1.0) ** (1 / 2.2)
    if mesh.uv is None:
        return colours
    slots = mesh.material[faces] if mesh.material is not None else np.zeros(len(faces), int)
    where = np.einsum("nk,nkd->nd", weights, mesh.uv[faces])
    for slot, holder in enumerate(item.material_slots):
        image = image_of(holder.material)
        if image is None or not image.size[0]:
            continue
        pixels = read_pixels(image)
        chosen = slots == slot
        place = where[chosen] - np.floor(where[chosen])
        rows = np.minimum((place[:, 1] * pixels.shape[0]).astype(int), pixels.shape[0] - 1)
        columns = np.minimum((place[:, 0] * pixels.shape[1]).astype(int), pixels.shape[1] - 1)
        colours[chosen] = pixels[rows, columns, :3]
    return colours
