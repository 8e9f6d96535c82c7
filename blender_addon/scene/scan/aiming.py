"""What on a mesh does a ray from the eye meet, and which spot nearby is meant?"""

from __future__ import annotations

import bpy
import numpy as np
from mathutils import Vector

from ...core.arrays import Floats
from ...core.scan.snapping import snapped


def aimed(item: bpy.types.Object, origin: Vector, direction: Vector, *, reach: float = 0.0) -> tuple[Vector, bool] | None:
    """The spot in which a ray (world, metres) meets an object's mesh, in the object's own space, and whether a corner or an
    edge nearby was caught instead; None where the ray misses it.

    reach: how far off a spot may be caught, in the world, metres; 0: none is.
    """
    back = item.matrix_world.inverted_safe()
    met, place, _, _ = item.ray_cast(back @ Vector(origin), (back.to_3x3() @ Vector(direction)).normalized())
    if not met:
        return None
    if reach <= 0.0:
        return place.copy(), False
    scale = max(item.matrix_world.median_scale, 1e-30)
    spot, caught = snapped(np.array(place, np.float64), _vertices(item.data), reach / scale)
    return Vector(spot), caught


def _vertices(mesh: bpy.types.Mesh) -> Floats:
    """(n, 3) float32 the mesh's vertices in its own space."""
    values = np.zeros(len(mesh.vertices) * 3, np.float32)
    mesh.attributes["position"].data.foreach_get("vector", values)
    return values.reshape(-1, 3)
