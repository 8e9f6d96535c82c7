"""Plaster casts: white, chalky, slightly uneven; age and dirt are effects, off by default."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ....core.surface import reflectance
from ..builder import Socket, Tree, Value, make_group
from ..kind import Recipe, Values
from ..relief import tooled

if TYPE_CHECKING:
    import bpy

MICRO_ROUGHNESS = 0.21
"""The ratio B / A of Oren & Nayar's model (SIGGRAPH 1994) at facet slopes of 15 degrees: they fitted 30 degrees to trowelled
wall plaster (from memory), and a cast takes the finer surface of its mould. The 15 degrees are a guess: with 20 the relief of
our owl kept 0.885 of its contrast in plain grey."""


def plaster_group() -> bpy.types.NodeTree:
    """The node group of plaster."""
    return make_group("Plaster", _plaster)


def _plaster(tree: Tree) -> None:
    colour = tree.input("Colour", "colour", (0.74, 0.715, 0.67), help="Albedo, linear")
    age = tree.input("Age", "float", 0.0, help="An effect: yellowed, dusty and handled")
    pinholes = tree.input("Pinholes", "float", 0.15, help="Faint air holes, finer than a needle's prick; 0 for none")
    sealed = tree.input("Sealed", "float", 0.0, help="Shellac or wax on the surface")
    wash = tree.input("Crevice Wash", "float", 0.0, help="An effect: dust and dirt in recesses")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    recess = tree.input("Recess", "float", 0.0, help="0 to 1 in recesses")
    raised = tree.input("Raised", "float", 0.0, help="0 to 1 on raised parts")

    broad = tree.node("TexNoise", {"Vector": mm, "Scale": 0.055, "Detail": 5.0, "Roughness": 0.6, "Distortion": 0.5})["Factor"]
    fine = tree.node("TexNoise", {"Vector": mm, "Scale": 1.3, "Detail": 4.0, "Roughness": 0.65})["Factor"]
    aged = tree.mix(1.0, colour, (0.93, 0.86, 0.74), blend="MULTIPLY")
    tone = tree.mix(tree.math("MULTIPLY", age, tree.span(broad, 0.3, 0.7, 0.25, 1.0)), colour, aged)
    tone = tree.mix(1.0, tone, tree.ramp(fine, [(0.3, (0.955, 0.955, 0.955)), (0.7, (1.025, 1.025, 1.025))]), blend="MULTIPLY")
    touched = tree.math("MULTIPLY", tree.math("MULTIPLY", age, raised), tree.span(broad, 0.4, 0.65))
    tone = tree.mix(tree.math("MULTIPLY", touched, 0.35), tone, tree.mix(1.0, tone, (0.74, 0.67, 0.57), blend="MULTIPLY"))
    dirt = tree.math("MULTIPLY", tree.math("MULTIPLY", wash, recess), tree.span(fine, 0.3, 0.6, 0.55, 1.0))
    tone = tree.mix(tree.math("MULTIPLY", dirt, 0.6), tone, tree.mix(1.0, tone, (0.42, 0.36, 0.29), blend="MULTIPLY"))
    holes = _pinholes(tree, mm, pinholes)
    tone = tree.mix(tree.math("MULTIPLY", holes, 0.4), tone, tree.mix(1.0, tone, (0.60, 0.57, 0.53), blend="MULTIPLY"))
    shellac = tree.mix(1.0, tone, (0.86, 0.72, 0.52), blend="MULTIPLY")
    tone = tree.mix(tree.math("MULTIPLY", sealed, 0.8), tone, shellac)

    chalk = tree.node("TexNoise", {"Vector": mm, "Scale": 6.0, "Detail": 2.0, "Roughness": 0.6})["Factor"]
    height = tree.math("ADD", tree.math("MULTIPLY", chalk, 0.004), tree.math("MULTIPLY", fine, 0.009))
    height = tree.math("SUBTRACT", height, tree.math("MULTIPLY", holes, 0.02))
    strength = tree.math("MULTIPLY_ADD", tooled(tree, normal), -0.6, 1.0)
    bent = tree.bump(height, strength, normal=normal)
    rough = tree.math("SUBTRACT", tree.math("MULTIPLY_ADD", broad, 0.15, 0.80), tree.math("MULTIPLY", touched, 0.25))
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": tone,
            "Roughness": rough,
            "Diffuse Roughness": MICRO_ROUGHNESS,
            "IOR": 1.5,
            "Specular IOR Level": 0.3,
            "Coat Weight": tree.math("MULTIPLY", sealed, 0.8),
            "Coat Roughness": 0.25,
            "Coat IOR": 1.5,
            "Normal": bent,
        },
        label="Plaster surface",
    )
    tree.output("Shader", "shader", shader["BSDF"])


def _pinholes(tree: Tree, mm: Value, amount: Value) -> Socket:
    """Air holes of 0.1 to 0.2 mm, many and faint: a few large dark ones would be read as marks on the piece."""
    cells = tree.node("TexVoronoi", {"Vector": mm, "Scale": 1.6, "Randomness": 1.0})
    lottery = tree.node("SeparateColor", {"Color": cells["Color"]})
    shows = tree.math("LESS_THAN", lottery["Red"], amount)
    reach = tree.math("MULTIPLY_ADD", tree.math("POWER", lottery["Green"], 2.0), 0.10, 0.06)
    return tree.math("MULTIPLY", tree.span(tree.math("SUBTRACT", reach, cells["Distance"]), 0.0, 0.05, smooth=True), shows)


def _values(settings: Any) -> Values:
    values = {"Colour": reflectance.PLASTER, "Age": settings.plaster_age, "Sealed": 1.0 if settings.plaster_sealed else 0.0}
    return {**values, "Crevice Wash": settings.crevice_wash}


RECIPE = Recipe(plaster_group, _values, lambda settings: "plaster", samples=(("Plaster", {}),))
