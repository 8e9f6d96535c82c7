"""Reduces a mesh's triangles by Blender's own edge collapse, on a temporary object."""

from __future__ import annotations

import bpy

from ...core.mesh.triangles import TriangleMesh
from ..meshes import make_object, read_mesh

THINNED_FROM = "bozzetto_thinned_from"
"""Property of a cleaned scan that was thinned: how many triangles it had before."""


def decimated(mesh: TriangleMesh, budget: int) -> TriangleMesh:
    """The mesh reduced to about `budget` triangles, with its UVs, colours, materials and face marks."""
    if len(mesh.faces) <= budget:
        return mesh
    item = make_object("Thinning", mesh)
    bpy.context.scene.collection.objects.link(item)  # modifiers are evaluated only for objects in the scene
    for _ in range(int(mesh.material.max()) + 1 if mesh.material is not None and len(mesh.material) else 0):
        item.data.materials.append(None)
    modifier = item.modifiers.new("Thinning", "DECIMATE")
    modifier.ratio = budget / len(mesh.faces)
    modifier.use_collapse_triangulate = True
    data = item.data
    thin = bpy.data.meshes.new_from_object(item.evaluated_get(bpy.context.evaluated_depsgraph_get()))
    result = bpy.data.objects.new("Thinned", thin)
    thinned = read_mesh(result)
    bpy.data.objects.remove(result)
    bpy.data.objects.remove(item)
    bpy.data.meshes.remove(thin)
    bpy.data.meshes.remove(data)
    return thinned
