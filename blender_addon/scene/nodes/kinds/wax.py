"""Wax and resin: translucent over some mm, with a soft surface."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ....core.surface import reflectance
from ...meshes import METRES
from ..builder import Tree, make_group
from ..kind import Recipe, Values, label_of

if TYPE_CHECKING:
    import bpy


def wax_group() -> bpy.types.NodeTree:
    """The node group of wax and resin."""
    return make_group("Wax", _wax)


def _wax(tree: Tree) -> None:
    colour = tree.input("Colour", "colour", (0.58, 0.36, 0.15), help="Colour in the mass, linear")
    depth = tree.input("Scattering Depth", "float", 1.6, low=0.05, high=20.0, help="How far red light travels inside, mm")
    polish = tree.input("Polish", "float", 0.4, help="0 dull from the tool, 1 polished or cast against glass")
    bloom = tree.input("Bloom", "float", 0.0, help="An effect: the pale haze that old wax grows")
    wear = tree.input("Handling Wear", "float", 0.0, help="An effect: edges rubbed smooth by warm fingers")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    recess = tree.input("Recess", "float", 0.0, help="0 to 1 in recesses")
    raised = tree.input("Raised", "float", 0.0, help="0 to 1 on raised parts")

    cloud = tree.node("TexNoise", {"Vector": mm, "Scale": 0.08, "Detail": 4.0, "Roughness": 0.55, "Distortion": 0.7})["Factor"]
    fine = tree.node("TexNoise", {"Vector": mm, "Scale": 1.1, "Detail": 4.0, "Roughness": 0.6})["Factor"]
    tone = tree.mix(1.0, colour, tree.ramp(cloud, [(0.3, (0.86, 0.84, 0.80)), (0.7, (1.10, 1.10, 1.12))]), blend="MULTIPLY")
    haze = tree.math("MULTIPLY", bloom, tree.math("MULTIPLY_ADD", recess, 0.7, 0.2))
    haze = tree.math("MULTIPLY", haze, tree.span(fine, 0.3, 0.65, 0.3, 1.0))
    tone = tree.mix(tree.math("MULTIPLY", haze, 0.5), tone, tree.mix(0.6, tone, (0.80, 0.77, 0.70)))
    rough = tree.math("ADD", tree.blend(polish, 0.55, 0.16), tree.math("MULTIPLY_ADD", fine, 0.18, -0.06))
    rough = tree.math("SUBTRACT", rough, tree.math("MULTIPLY", tree.math("MULTIPLY", wear, raised), 0.2))
    rough = tree.math("ADD", rough, tree.math("MULTIPLY", haze, 0.25), clamp=True)
    soft = tree.node("TexNoise", {"Vector": mm, "Scale": 0.7, "Detail": 2.0, "Roughness": 0.5})["Factor"]
    height = tree.math("ADD", tree.math("MULTIPLY", soft, 0.014), tree.math("MULTIPLY", fine, 0.004))
    bent = tree.bump(height, normal=normal)
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": tone,
            "Roughness": rough,
            "IOR": reflectance.IOR["wax"],
            "Subsurface Weight": 1.0,
            "Subsurface Radius": (1.0, 0.55, 0.28),
            "Subsurface Scale": tree.math("MULTIPLY", depth, METRES),
            "Subsurface IOR": 1.44,
            "Normal": bent,
        },
        label="Wax surface",
    )
    tree.output("Shader", "shader", shader["BSDF"])


def _values(settings: Any) -> Values:
    _, colour, depth, polish, bloom = reflectance.WAXES[settings.wax_kind]
    values = {"Colour": colour, "Scattering Depth": depth, "Polish": polish, "Bloom": bloom}
    return {**values, "Handling Wear": settings.handling_wear}


RECIPE = Recipe(
    wax_group,
    _values,
    lambda settings: label_of(reflectance.WAXES[settings.wax_kind]),
    variety="wax_kind",
    varieties=reflectance.WAXES,
    samples=tuple((reflectance.WAXES[key][0], {"wax_kind": key}) for key in ("beeswax", "pigmented", "resin")),
)
