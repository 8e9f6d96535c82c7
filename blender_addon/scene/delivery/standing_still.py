"""Why does a turn not build the whole scene for each frame? What stands still is made something that Cycles keeps.

For a final picture Cycles bakes the place of each mesh that one object uses into one common tree, which is built anew when
anything moves. A mesh of two objects keeps a tree of its own. So each mesh that does not move gets a second object for the
time of the turn: too small to matter, and seen by no ray.
"""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Iterator

import bpy

SIZE = 1e-4
"""Scale of the second object: not 0, at which Cycles would leave it out."""
UNSEEN = ("visible_camera", "visible_diffuse", "visible_glossy", "visible_transmission", "visible_shadow")
"""All but volumes, of which there are none: an object that is seen by nothing at all would be left out, too."""


@contextlib.contextmanager
def standing_still(scene: bpy.types.Scene, moving: Collection[bpy.types.Object]) -> Iterator[None]:
    """Inside the block, Cycles keeps the trees of all meshes but those of the objects `moving` from one frame to the next."""
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
    """Whether a second object of the item's mesh would be the same to Cycles: nothing makes its mesh another one."""
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
