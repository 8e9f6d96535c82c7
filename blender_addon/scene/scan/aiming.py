"""Finds the point of a mesh under the cursor, and the corner or edge nearby that it should snap to."""

from __future__ import annotations

import bpy
import numpy as np
from mathutils import Vector

from ...core.arrays import Floats
from ...core.scan.snapping import snapped


def aimed(item: bpy.types.Object, origin: Vector, direction: Vector, *, reach: float = 0.0) -> tuple[Vector, bool] | None:
    """The point where a ray (world space, metres) hits an object's mesh, in the object's space; None where it misses.

    The second value says whether the point was snapped to a corner or edge nearby.
    reach: snapping distance in world space, metres; 0 turns snapping off.
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
    """(n, 3) float32 vertices of the mesh, in its own space."""
    values = np.zeros(len(mesh.vertices) * 3, np.float32)
    mesh.attributes["position"].data.foreach_get("vector", values)
    return values.reshape(-1, 3)
