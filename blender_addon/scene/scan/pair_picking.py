"""Shows two scans side by side to pick the same points on both, and converts the points to the scans' own coordinates."""

from __future__ import annotations

from collections.abc import Sequence

import bpy
import numpy as np
from mathutils import Matrix, Vector

from .aiming import aimed

FIRST, FURTHER = "first", "further"
FEWEST = 3
"""The fewest pairs of points that determine a scan's pose: with two, it could still rotate about the line through them."""


class PairPicking:
    """Copies of the upright first scan and of a further one, side by side at the same size, and the points picked on each.

    The copies share the scans' meshes and are removed by `end`.
    """

    def __init__(self, scene: bpy.types.Scene, upright: bpy.types.Object, further: bpy.types.Object):
        self.matrix = Matrix(np.array(upright.get("bozzetto_matrix", np.eye(4).ravel()), float).reshape(4, 4).tolist())
        self.names = {
            FIRST: _copied(scene, upright, "Pick on the first scan").name,
            FURTHER: _copied(scene, further, "Pick on the further scan").name,
        }
        self.spots: dict[str, list[Vector]] = {FIRST: [], FURTHER: []}
        first, second = self.item(FIRST), self.item(FURTHER)
        first.matrix_world = Matrix.Identity(4)
        (low, high), (low_two, high_two) = _bounds(first), _bounds(second)
        size = (high - low).length / max((high_two - low_two).length, 1e-30)
        beside = Vector((high.x + 0.25 * (high - low).length, 0.5 * (low + high).y, low.z))
        corner = size * Vector((low_two.x, 0.5 * (low_two + high_two).y, low_two.z))
        second.matrix_world = Matrix.Translation(beside - corner) @ Matrix.Scale(size, 4)

    def item(self, which: str) -> bpy.types.Object:
        """The copy that shows one of the scans."""
        return bpy.data.objects[self.names[which]]

    def wanted(self) -> str:
        """The scan on which the next point is to be picked."""
        return FIRST if len(self.spots[FIRST]) <= len(self.spots[FURTHER]) else FURTHER

    def pick(self, origin: Vector, direction: Vector, *, reach: float = 0.0) -> bool:
        """Pick where a ray (world space, metres) hits the wanted scan, or a corner within `reach`; False if it misses."""
        found = self.aimed(origin, direction, reach=reach)
        if found is not None:
            self.spots[self.wanted()].append(found[0])
        return found is not None

    def aimed(self, origin: Vector, direction: Vector, *, reach: float = 0.0) -> tuple[Vector, bool] | None:
        """The point that `pick` would take, in the scan's own space, and whether it is snapped to a corner."""
        return aimed(self.item(self.wanted()), origin, direction, reach=reach)

    def undo(self) -> None:
        """Remove the last point."""
        last = FIRST if self.wanted() == FURTHER else FURTHER
        if self.spots[last]:
            self.spots[last].pop()

    def done(self) -> bool:
        """Whether there are enough pairs."""
        return len(self.spots[FURTHER]) >= FEWEST

    def shown(self) -> list[tuple[int, Vector]]:
        """(number of its pair, world position) of each point."""
        return [
            (number, self.item(which).matrix_world @ spot)
            for which, spots in self.spots.items() for number, spot in enumerate(spots, 1)
        ]  # fmt: skip

    def pairs(self) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
        """(point on the further scan, point on the first), each in its scan's own coordinates."""
        own = self.matrix.inverted()
        both = zip(self.spots[FURTHER], self.spots[FIRST], strict=False)
        return [(tuple(further), tuple(own @ first)) for further, first in both]

    def end(self) -> None:
        """Remove the copies; the meshes belong to the scans and stay."""
        for name in self.names.values():
            if name in bpy.data.objects:
                bpy.data.objects.remove(bpy.data.objects[name])


def _copied(scene: bpy.types.Scene, item: bpy.types.Object, name: str) -> bpy.types.Object:
    copied = bpy.data.objects.new(name, item.data)
    scene.collection.objects.link(copied)
    return copied


def _bounds(item: bpy.types.Object) -> tuple[Vector, Vector]:
    corners = np.array(item.bound_box)
    return Vector(corners.min(axis=0)), Vector(corners.max(axis=0))


def _own_matrix(item: bpy.types.Object) -> Matrix:
    """The transform from a scan's own coordinates to the space of the object that shows it."""
    matrix = item.get("bozzetto_matrix")
    return Matrix(np.array(matrix, float).reshape(4, 4).tolist()) if matrix is not None else Matrix.Identity(4)


def own_place(item: bpy.types.Object, place: Sequence[float]) -> tuple[float, ...]:
    """A world position on an object that shows a scan, in that scan's own coordinates."""
    return tuple((item.matrix_world @ _own_matrix(item)).inverted() @ Vector(place))


def world_place(item: bpy.types.Object, place: Sequence[float]) -> Vector:
    """The world position of a point in a scan's own coordinates, on the object that shows the scan."""
    return item.matrix_world @ _own_matrix(item) @ Vector(place)
