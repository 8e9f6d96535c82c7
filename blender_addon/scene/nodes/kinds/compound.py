"""Modelling compounds: oil-based and polymer clay, putty, primer, paint; uniform, with a soft sheen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ....core.surface import reflectance
from ...meshes import METRES
from ..builder import Tree, make_group
from ..kind import Recipe, Values, label_of
from ..relief import tooled

if TYPE_CHECKING:
    import bpy


def compound_group() -> bpy.types.NodeTree:
    """The node group of modelling compounds."""
    return make_group("Compound", _compound)


def _compound(tree: Tree) -> None:
    colour = tree.input("Colour", "colour", (0.235, 0.233, 0.225), help="Albedo, linear")
    rough = tree.input("Roughness", "float", 0.55, help="0 a mirror, 1 chalk")
    depth = tree.input(
        "Scattering Depth", "float", 0.0, low=0.0, high=20.0, help="How far red light travels inside, mm; 0: none"
    )
    grain = tree.input("Grain", "float", 0.5, help="How much of its own fine tooth shows")
    wear = tree.input("Handling Wear", "float", 0.0, help="An effect: raised parts rubbed smooth by fingers")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    raised = tree.input("Raised", "float", 0.0, help="0 to 1 on raised parts")

    broad = tree.node("TexNoise", {"Vector": mm, "Scale": 0.07, "Detail": 4.0, "Roughness": 0.55})["Factor"]
    fine = tree.node("TexNoise", {"Vector": mm, "Scale": 2.4, "Detail": 4.0, "Roughness": 0.65})["Factor"]
    tone = tree.mix(1.0, colour, tree.ramp(broad, [(0.3, (0.95, 0.95, 0.94)), (0.7, (1.04, 1.04, 1.04))]), blend="MULTIPLY")
    tone = tree.mix(1.0, tone, tree.ramp(fine, [(0.3, (0.97, 0.97, 0.97)), (0.7, (1.03, 1.03, 1.03))]), blend="MULTIPLY")
    uneven = tree.math("ADD", rough, tree.math("MULTIPLY_ADD", broad, 0.16, -0.08))
    uneven = tree.math("SUBTRACT", uneven, tree.math("MULTIPLY", tree.math("MULTIPLY", wear, raised), 0.2), clamp=True)
    strength = tree.math("MULTIPLY", grain, tree.math("MULTIPLY_ADD", tooled(tree, normal), -0.6, 1.0))
    bent = tree.bump(tree.math("MULTIPLY", fine, 0.012), strength, normal=normal)
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": tone,
            "Roughness": uneven,
            "IOR": reflectance.IOR["wax"],
            "Subsurface Weight": tree.math("GREATER_THAN", depth, 0.0),
            "Subsurface Radius": (1.0, 0.6, 0.4),
            "Subsurface Scale": tree.math("MULTIPLY", depth, METRES),
            "Normal": bent,
        },
        label="Compound surface",
    )
    tree.output("Shader", "shader", shader["BSDF"])


def _values(settings: Any) -> Values:
    _, colour, rough, depth, grain = reflectance.COMPOUNDS[settings.compound]
    values = {"Colour": colour, "Roughness": rough, "Scattering Depth": depth, "Grain": grain}
    return {**values, "Handling Wear": settings.handling_wear}


RECIPE = Recipe(
    compound_group,
    _values,
    lambda settings: label_of(reflectance.COMPOUNDS[settings.compound]),
    variety="compound",
    varieties=reflectance.COMPOUNDS,
    samples=tuple((row[0], {"compound": key}) for key, row in reflectance.COMPOUNDS.items()),
)
