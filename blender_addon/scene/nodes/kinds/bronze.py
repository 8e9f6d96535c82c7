"""Cast metal: brown patina, bare where it is rubbed, green in the recesses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ....core.surface import reflectance
from ..builder import Tree, make_group
from ..kind import Recipe, Values, label_of

if TYPE_CHECKING:
    import bpy


def bronze_group() -> bpy.types.NodeTree:
    """The node group of cast metal with its patina."""
    return make_group("Bronze", _bronze)


def _bronze(tree: Tree) -> None:
    metal = tree.input("Metal", "colour", (0.96, 0.71, 0.46), help="Reflectance of the bare metal at normal incidence, linear")
    brown = tree.input("Patina", "float", 0.75, help="Thickness of the brown patina")
    brown_colour = tree.input(
        "Patina Colour", "colour", (0.26, 0.145, 0.075), help="Colour that the patina gives the metal, linear"
    )
    green = tree.input("Verdigris", "float", 0.35, help="Green in the recesses and where water has run")
    green_colour = tree.input("Verdigris Colour", "colour", (0.17, 0.33, 0.26), help="Albedo of the verdigris, linear")
    rubbed = tree.input("Rubbed Edges", "float", 0.0, help="An effect: bare metal on raised parts")
    polish = tree.input("Polish", "float", 0.55, help="0 sand-blasted, 1 mirror")
    wax = tree.input("Wax", "float", 0.5, help="The founder's coat of wax")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    recess = tree.input("Recess", "float", 0.0, help="0 to 1 in recesses")
    raised = tree.input("Raised", "float", 0.0, help="0 to 1 on raised parts")

    cloud = tree.node("TexNoise", {"Vector": mm, "Scale": 0.11, "Detail": 5.0, "Roughness": 0.62, "Distortion": 0.8})["Factor"]
    fine = tree.node("TexNoise", {"Vector": mm, "Scale": 1.5, "Detail": 4.0, "Roughness": 0.65})["Factor"]
    bare = tree.math("MULTIPLY", tree.math("MULTIPLY", rubbed, raised), tree.span(fine, 0.25, 0.6, 0.45, 1.0))
    cover = tree.math("MULTIPLY", brown, tree.span(cloud, 0.25, 0.7, 1.05, 0.86), clamp=True)
    cover = tree.math("MULTIPLY", cover, tree.math("SUBTRACT", 1.0, bare))
    uneven = tree.mix(
        tree.span(cloud, 0.3, 0.7), tree.mix(1.0, brown_colour, (0.55, 0.52, 0.52), blend="MULTIPLY"), brown_colour
    )
    tone = tree.mix(cover, metal, uneven)

    run = tree.node("TexNoise", {"Vector": tree.vector("MULTIPLY", mm, (0.5, 0.5, 0.11)), "Scale": 1.0, "Detail": 4.0})[
        "Factor"
    ]
    sits = tree.math("ADD", recess, tree.math("MULTIPLY", tree.span(run, 0.55, 0.75), 0.35))
    sits = tree.math("MULTIPLY", tree.math("MULTIPLY", sits, green), tree.span(fine, 0.3, 0.6, 0.35, 1.3), clamp=True)
    sits = tree.math("MULTIPLY", sits, tree.math("SUBTRACT", 1.0, bare))
    pale = tree.mix(tree.span(fine, 0.35, 0.7), green_colour, tree.mix(0.45, green_colour, (0.36, 0.48, 0.40)))

    rough = tree.math("ADD", tree.blend(polish, 0.55, 0.10), tree.math("MULTIPLY", tree.span(fine, 0.3, 0.7), 0.12))
    rough = tree.math("ADD", rough, tree.math("MULTIPLY", cover, 0.10))
    grain = tree.node("TexNoise", {"Vector": mm, "Scale": 2.8, "Detail": 3.0, "Roughness": 0.6})["Factor"]
    height = tree.math("MULTIPLY", grain, tree.blend(polish, 0.014, 0.003))
    height = tree.math("ADD", height, tree.math("MULTIPLY", tree.math("MULTIPLY", sits, fine), 0.05))
    bent = tree.bump(height, normal=normal)
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": tree.mix(sits, tone, pale),
            "Metallic": tree.math("SUBTRACT", 1.0, sits),
            "Roughness": tree.blend(sits, rough, 0.85),
            "IOR": 1.5,
            "Coat Weight": tree.math("MULTIPLY", tree.math("MULTIPLY", wax, 0.45), tree.math("SUBTRACT", 1.0, sits)),
            "Coat Roughness": 0.22,
            "Coat IOR": reflectance.IOR["wax"],
            "Normal": bent,
        },
        label="Bronze surface",
    )
    tree.output("Shader", "shader", shader["BSDF"])


def _values(settings: Any) -> Values:
    _, thickness, colour, green = reflectance.PATINAS[settings.patina]
    return {
        "Metal": reflectance.METALS["bronze"][1],
        "Patina": thickness,
        "Patina Colour": colour,
        "Verdigris": green,
        "Rubbed Edges": min(1.0, 1.8 * settings.handling_wear),
    }


RECIPE = Recipe(
    bronze_group,
    _values,
    lambda settings: f"{label_of(reflectance.PATINAS[settings.patina])} bronze",
    variety="patina",
    varieties=reflectance.PATINAS,
    samples=(("Bronze, brown patina", {"patina": "brown"}), ("Bronze, green patina", {"patina": "green"})),
)
