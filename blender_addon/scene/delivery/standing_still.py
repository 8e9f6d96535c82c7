"""Keeps Cycles from rebuilding the BVH of the whole scene for each frame of a turntable.

In a final render Cycles applies the transform of each mesh with one user and puts it into one common BVH, which is rebuilt when
anything moves. A mesh with two users keeps its own BVH. So each mesh that does not move gets a second object during the turn,
negligibly small and invisible to camera and light rays.
"""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Iterator

import bpy

SIZE = 1e-4
"""Scale of the second object; Cycles would skip an object of scale 0."""
UNSEEN = ("visible_camera", "visible_diffuse", "visible_glossy", "visible_transmission", "visible_shadow")
"""All kinds of rays but volume scatter, of which there is none: Cycles would skip an object that no ray can see."""


@contextlib.contextmanager
def standing_still(scene: bpy.types.Scene, moving: Collection[bpy.types.Object]) -> Iterator[None]:
    """Inside the block, Cycles keeps from frame to frame the BVHs of all meshes except those of the objects `moving`."""
    moves = {item.name for item in moving}
    twins: list[str] = []
    try:
        for item in list(scene.objects):
            if item.name not in moves and _shared(item):
                twins.append(_twin(scene, item))
        yield
    finally:
        for name in twins:
            if name in bpy.data.objects:
                bpy.data.objects.remove(bpy.data.objects[name])


def _shared(item: bpy.types.Object) -> bool:
    """Whether a second object would share the item's mesh in Cycles: nothing like a modifier makes it a mesh of its own."""
    return (
        item.type == "MESH"
        and not (item.hide_render or item.modifiers or item.animation_data or item.data.shape_keys)
        and len(item.data.polygons) > 0
        and all(slot.link == "DATA" for slot in item.material_slots)
    )


def _twin(scene: bpy.types.Scene, item: bpy.types.Object) -> str:
    twin = bpy.data.objects.new(f"{item.name} again", item.data)
    twin.matrix_world = item.matrix_world
    twin.scale = (SIZE, SIZE, SIZE)
    for name in UNSEEN:
        setattr(twin, name, False)
    scene.collection.objects.link(twin)
    return str(twin.name)
