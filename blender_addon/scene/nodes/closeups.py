"""Adds the maps of close-up photos to a material: their normal over that of the relief, their colour over the scan's."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .builder import Socket, Tree, Value, make_group

if TYPE_CHECKING:
    import bpy

LAYER = "Close-ups"
"""Name of the UV layer that all close-up photos share."""


def closeup_group(normal: bpy.types.Image, weight: bpy.types.Image) -> bpy.types.NodeTree:
    """The group for the close-ups' maps. normal: tangent-space +Y normal map in their UV layer. weight: its weight, 0 to 1."""

    def build(tree: Tree) -> None:
        under = tree.input("Normal", "vector", help="Normal of the surface with the relief of the scan")
        strength = tree.input(
            "Strength", "float", 1.0, low=0.0, high=4.0, help="How much of the close-ups' relief shows; 1 is as measured"
        )
        coordinates = tree.node("UVMap", uv_map=LAYER)["UV"]
        picture = tree.node("TexImage", {"Vector": coordinates}, image=normal, interpolation="Cubic", label="Close-up normal")
        more = tree.math("MAXIMUM", strength, 1.0)
        bent = tree.node("NormalMap", {"Strength": more, "Color": picture["Color"]}, space="TANGENT", uv_map=LAYER)["Normal"]
        share = tree.node("TexImage", {"Vector": coordinates}, image=weight, label="Close-up weight")["Color"]
        share = tree.math("MULTIPLY", share, tree.math("MINIMUM", strength, 1.0))
        moved = tree.vector("SCALE", tree.vector("SUBTRACT", bent, under), scale=share)
        tree.output("Normal", "vector", tree.vector("NORMALIZE", tree.vector("ADD", under, moved)))
        tree.output("Share", "float", share)

    return make_group("Close-ups", build)


def closeup_colour(tree: Tree, colour: Value, under: Value, share: Value) -> Socket:
    """A colour with that of the close-ups mixed in by `share`."""
    coordinates = tree.node("UVMap", uv_map=LAYER)["UV"]
    picture = tree.node("TexImage", {"Vector": coordinates}, image=colour, interpolation="Cubic", label="Close-up colour")
    return tree.mix(share, under, picture["Color"])
