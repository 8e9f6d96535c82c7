"""The scan's own colour: its texture or vertex colours on a plain matt surface."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..builder import Tree, make_group
from ..kind import Recipe

if TYPE_CHECKING:
    import bpy


def own_colour_group() -> bpy.types.NodeTree:
    """The node group of a surface in the scan's own colour, with an adjustable sheen."""
    return make_group("Own colour", _own)


def _own(tree: Tree) -> None:
    colour = tree.input("Colour", "colour", (0.5, 0.5, 0.5), help="The scan's own colour, light taken out where that was done")
    level = tree.input("Level", "float", 1.0, low=0.1, high=4.0, help="Brighter or darker than the picture")
    rough = tree.input("Roughness", "float", 0.62, help="0 polished, 1 chalky")
    coat = tree.input("Polish", "float", 0.0, help="A clear polish or varnish")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    held = tree.vector("MINIMUM", tree.vector("SCALE", colour, scale=level), (0.95, 0.95, 0.95))
    uneven = tree.node("TexNoise", {"Vector": mm, "Scale": 0.8, "Detail": 4.0, "Roughness": 0.6})["Factor"]
    fine = tree.node("TexNoise", {"Vector": mm, "Scale": 5.0, "Detail": 2.0, "Roughness": 0.6})["Factor"]
    bent = tree.node("Bump", {"Strength": 1.0, "Distance": 3e-6, "Height": fine, "Normal": normal})["Normal"]
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": held,
            "Roughness": tree.math("ADD", rough, tree.math("MULTIPLY_ADD", uneven, 0.16, -0.08), clamp=True),
            "Diffuse Roughness": tree.math("MULTIPLY", rough, 0.7),
            "IOR": 1.5,
            "Specular IOR Level": 0.4,
            "Coat Weight": coat,
            "Coat Roughness": 0.08,
            "Normal": bent,
        },
        label="Own colour surface",
    )
    tree.output("Shader", "shader", shader["BSDF"])


RECIPE = Recipe(
    own_colour_group, lambda settings: {"Level": 1.0}, lambda settings: "its own colour", samples=(("Own colour", {}),)
)
