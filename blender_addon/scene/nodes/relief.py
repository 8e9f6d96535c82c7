"""The group that adds the recovered relief to a material, and the group that finds recesses and raised edges.

The first has a live Strength and gives the normal and the height; the second uses the cavity attribute and that height.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..meshes import MM
from .builder import Socket, Tree, Value, make_group

if TYPE_CHECKING:
    import bpy

CAVITY = "cavity"
"""Float vertex attribute, computed with the material: -1 on raised edges to +1 in recesses (see `core/surface/cavity.py`)."""

UV_DEFAULT = "UVMap"


BANDS = {"Fine": "relief_fine", "Middle": "relief_middle", "Broad": "relief_broad"}
"""Inputs of the relief's group for the strength of a band, and the material step's settings for them."""

RELIEF_MASK = "relief_mask"
"""Colour attribute painted on a piece: mid-grey (0.5) leaves the relief unchanged, white doubles it, black removes it."""


def relief_group(
    normal: bpy.types.Image | None,
    height: bpy.types.Image | None,
    *,
    uv: str = UV_DEFAULT,
    bands: tuple[bpy.types.Image, bpy.types.Image] | None = None,
) -> bpy.types.NodeTree:
    """The group for a piece's relief maps; without maps it gives the smooth surface.

    normal: tangent-space +Y normal map. height: map of the relief's height in mm. bands: map of the slopes without the fine
    relief, and map of the broad relief only (`core/surface/relief/bands.py`), for adjusting the three bands. uv: the name of
    the UV layer.
    """

    def build(tree: Tree) -> None:
        strength = tree.input(
            "Strength", "float", 1.0, low=0.0, high=4.0, help="How much of the recovered relief is shown; 1 is as measured"
        )
        painted = tree.input(
            "Mask", "float", 0.5, help="Painted on the piece: 0.5 as it is, 1 doubles the relief, 0 takes it away"
        )
        strength = tree.math("MULTIPLY", tree.math("MULTIPLY", painted, 2.0), strength)
        coordinates = tree.node("UVMap", uv_map=uv)["UV"] if normal or height else None
        if normal is not None:
            picture = tree.node("TexImage", {"Vector": coordinates}, image=normal, interpolation="Cubic", label="Relief normal")
            colour = picture["Color"] if bands is None else _banded(tree, picture["Color"], coordinates, bands)
            bent = tree.node("NormalMap", {"Strength": strength, "Color": colour}, space="TANGENT", uv_map=uv)["Normal"]
        else:
            bent = tree.node("NewGeometry")["Normal"]
        depth: Value = 0.0
        if height is not None:
            picture = tree.node(
                "TexImage", {"Vector": coordinates}, image=height, interpolation="Linear", label="Relief height"
            )
            depth = tree.math("MULTIPLY", picture["Color"], strength)
        tree.output("Normal", "vector", bent)
        tree.output("Height", "float", depth)

    return make_group("Relief", build)


def _banded(tree: Tree, colour: Value, coordinates: Value, bands: tuple[Value, Value]) -> Socket:
    """A normal map's colour with its three bands of slopes scaled by their strengths; unchanged where all are 1."""
    fine, middle, broad = (
        tree.input(name, "float", 1.0, low=0.0, high=4.0, help=f"Strength of the {name.lower()} relief; 1 is as measured")
        for name in BANDS
    )
    vector = tree.vector("MULTIPLY_ADD", colour, (2.0, 2.0, 2.0), (-1.0, -1.0, -1.0))
    upright = tree.math("MAXIMUM", tree.node("SeparateXYZ", {"Vector": vector})["Z"], 0.05)
    slope = tree.vector("SCALE", vector, scale=tree.math("DIVIDE", 1.0, upright))
    low, lowest = (
        tree.node("TexImage", {"Vector": coordinates}, image=image, interpolation="Cubic", label=label)["Color"]
        for image, label in zip(bands, ("Relief without the fine", "Broad relief"), strict=True)
    )
    total = tree.vector("SCALE", tree.vector("SUBTRACT", slope, low), scale=fine)
    total = tree.vector("ADD", total, tree.vector("SCALE", tree.vector("SUBTRACT", low, lowest), scale=middle))
    total = tree.vector("ADD", total, tree.vector("SCALE", lowest, scale=broad))
    flat = tree.vector("MULTIPLY", total, (1.0, 1.0, 0.0))
    unit = tree.vector("NORMALIZE", tree.vector("ADD", flat, (0.0, 0.0, 1.0)))
    return tree.vector("MULTIPLY_ADD", unit, (0.5, 0.5, 0.5), (0.5, 0.5, 0.5))


def form_group() -> bpy.types.NodeTree:
    """The group for recesses and raised parts, 0 to 1, from cavity and relief height in mm, with irregular borders."""

    def build(tree: Tree) -> None:
        mm = tree.input("Position", "vector", help="Position on the piece in mm")
        height = tree.input("Height", "float", 0.0, low=-5.0, high=5.0, help="Height of the relief in mm")
        cavity = tree.node("Attribute", attribute_name=CAVITY, attribute_type="GEOMETRY")["Factor"]
        ragged = tree.node("TexNoise", {"Vector": mm, "Scale": 1.1, "Detail": 2.0, "Roughness": 0.6})["Factor"]
        ragged = tree.math("MULTIPLY_ADD", ragged, 0.5, -0.25)
        deep = tree.math("MULTIPLY", height, -8.0)  # a stroke 0.06 mm deep counts as one half
        total = tree.math("ADD", cavity, deep)
        recess = tree.span(tree.math("ADD", total, tree.math("MULTIPLY", ragged, 0.5)), 0.08, 0.85, smooth=True)
        raised = tree.span(tree.math("SUBTRACT", ragged, total), 0.15, 0.85, smooth=True)
        tree.output("Recess", "float", recess)
        tree.output("Raised", "float", raised)

    return make_group("Recess and edge", build)


def tooled(tree: Tree, normal: Value) -> Socket:
    """How far a tool has tilted the surface, 0 to 1 for 2 to 14 degrees between the normals with and without the relief.

    A material's own texture is weakened there, so that it never hides a mark of the piece.
    """
    tilt = tree.vector("DISTANCE", normal, tree.node("NewGeometry")["Normal"])
    return tree.span(tilt, 0.035, 0.25, smooth=True)


def millimetres(tree: Tree) -> Socket:
    """Position on the object in mm, whatever the object's place in the scene."""
    return tree.vector("SCALE", tree.node("TexCoord")["Object"], scale=MM)
