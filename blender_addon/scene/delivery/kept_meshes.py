"""Keeps Cycles from evaluating meshes and rebuilding the BVH of the whole scene for each frame of a turntable or a film.

In a final render Cycles applies the transform of each mesh with one user and puts it into one common BVH, which is rebuilt when
anything moves. A mesh with two users keeps its own BVH, and only its place changes. So each mesh is given a second object
during the render, negligibly small and invisible to camera and light rays. A mesh that our modifier subdivides would be
evaluated anew for each frame, and it belongs to one object alone, as does one whose materials are the object's: a stand-in
with the finished mesh takes the object's place.

Between two renders nothing of this is in the scene, so that a .blend that is saved meanwhile is as the user knows it.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import bpy

from .. import roles
from ..surface.rendered_form import form_of
from ..temporary import changed

SIZE = 1e-4
"""Scale of the second object; Cycles would skip an object of scale 0."""
UNSEEN = ("visible_camera", "visible_diffuse", "visible_glossy", "visible_transmission", "visible_shadow")
"""All kinds of rays but volume scatter, of which there is none: Cycles would skip an object that no ray can see."""
OF, STAND_IN, SECOND = "bozzetto_in_place_of", "stand-in", "second object"
"""Property of what is added here: the name of the item that it belongs to, and what it is."""


class KeptMeshes:
    """The stand-ins and second objects of a scene for a series of renders. Call `close` after the last.

    Between two renders the window's undo may remove or renumber data. So no reference is kept: they are looked up for each
    render, and made again where they are gone.
    """

    def __init__(self, scene: bpy.types.Scene):
        self._scene = scene.name

    @contextlib.contextmanager
    def in_place(self) -> Iterator[None]:
        """Inside the block, which holds one render, Cycles keeps the BVH of each mesh from the render before."""
        scene = bpy.data.scenes[self._scene]
        there = {tuple(item[OF]): item for item in bpy.data.objects if roles.has(item, OF)}
        linked: list[tuple[bpy.types.Collection, bpy.types.Object]] = []
        hidden: list[bpy.types.Object] = []
        try:
            for item in [item for item in scene.objects if _able(scene, item)]:
                shown = item
                if _formed(item) or _wears_its_own(item):
                    shown = there.get((item.name, STAND_IN)) or _stand_in(scene, item)
                    shown.matrix_basis = item.matrix_basis
                    linked += [(collection, shown) for collection in item.users_collection]
                    hidden.append(item)
                linked.append((scene.collection, there.get((item.name, SECOND)) or _second(item, shown.data)))
            for collection, added in linked:
                collection.objects.link(added)
            for item in hidden:
                item.hide_render = True
            yield
        finally:
            for item in hidden:
                item.hide_render = False
            for collection, added in linked:
                if added.name in collection.objects:
                    collection.objects.unlink(added)

    def close(self) -> None:
        """Remove all that was added."""
        for item in [item for item in bpy.data.objects if roles.has(item, OF)]:
            bpy.data.objects.remove(item)
        for mesh in [mesh for mesh in bpy.data.meshes if roles.has(mesh, OF)]:
            bpy.data.meshes.remove(mesh)


def _able(scene: bpy.types.Scene, item: bpy.types.Object) -> bool:
    """Whether a second object would share the item's mesh in Cycles, if need be by a stand-in."""
    return (
        item.type == "MESH"
        and not (item.hide_render or item.animation_data or item.data.shape_keys)
        and len(item.data.polygons) > 0
        and (_formed(item) or not _shown_modifiers(item))
        and (_replaceable(scene, item) or not (_formed(item) or _wears_its_own(item)))
    )


def _shown_modifiers(item: bpy.types.Object) -> list[bpy.types.Modifier]:
    return [modifier for modifier in item.modifiers if modifier.show_render]


def _formed(item: bpy.types.Object) -> bool:
    """Whether our subdivision, and nothing else, changes the item's mesh in renders."""
    shown = _shown_modifiers(item)
    return bool(shown) and shown == [form_of(item)]


def _wears_its_own(item: bpy.types.Object) -> bool:
    """Whether a material belongs to the item, not to its mesh: then Cycles takes the mesh for the item's own."""
    return any(slot.link == "OBJECT" for slot in item.material_slots)


def _replaceable(scene: bpy.types.Scene, item: bpy.types.Object) -> bool:
    """Whether a stand-in would look the same: its mesh can be evaluated, it can be in all the item's collections, and no
    material reads its name."""
    return (
        _layer_showing(scene, item) is not None
        and all(collection.library is None for collection in item.users_collection)
        and not any(slot.material and _reads_object(slot.material.node_tree) for slot in item.material_slots)
    )


def _layer_showing(scene: bpy.types.Scene, item: bpy.types.Object) -> bpy.types.ViewLayer | None:
    """A view layer that shows the item, since Blender evaluates no mesh that the viewport hides; None where none does."""
    return next((layer for layer in scene.view_layers if item.visible_get(view_layer=layer)), None)


def _reads_object(tree: bpy.types.NodeTree | None) -> bool:
    """Whether a material's nodes read what Blender knows of the object; its random number follows from the name."""
    nodes = tree.nodes if tree else ()
    return any(node.bl_idname == "ShaderNodeObjectInfo" or _reads_object(getattr(node, "node_tree", None)) for node in nodes)


def _stand_in(scene: bpy.types.Scene, item: bpy.types.Object) -> bpy.types.Object:
    """An object with all that the item is: its modifier's mesh, which wears the item's materials, instead of the modifier."""
    added = item.copy()
    for key in {roles.JOB, roles.ROLE} & set(added.keys()):
        del added[key]
    added.modifiers.clear()
    added.data = mesh = _finished(scene, item)
    for place, slot in enumerate(item.material_slots):
        if place < len(mesh.materials):
            mesh.materials[place] = slot.material
        else:
            mesh.materials.append(slot.material)
        added.material_slots[place].link = "DATA"
    added.name = f"{item.name} for the render"
    added[OF] = (item.name, STAND_IN)
    return added


def _finished(scene: bpy.types.Scene, item: bpy.types.Object) -> bpy.types.Mesh:
    """A mesh of its own, as our modifier makes it for renders."""
    layer = _layer_showing(scene, item)
    changes = [(modifier, "show_viewport", modifier.show_render) for modifier in item.modifiers]
    with changed(changes), bpy.context.temp_override(scene=scene, view_layer=layer):
        graph = bpy.context.evaluated_depsgraph_get()
        mesh = bpy.data.meshes.new_from_object(item.evaluated_get(graph), preserve_all_data_layers=True, depsgraph=graph)
    mesh[OF] = (item.name, STAND_IN)
    return mesh


def _second(item: bpy.types.Object, mesh: bpy.types.Mesh) -> bpy.types.Object:
    """A second object of a mesh, far too small to be seen."""
    added = bpy.data.objects.new(f"{item.name} again", mesh)
    added.matrix_world = item.matrix_world
    added.scale = (SIZE, SIZE, SIZE)
    for name in UNSEEN:
        setattr(added, name, False)
    added[OF] = (item.name, SECOND)
    return added
