"""Glazed ware: a glass over clay that pools in recesses and thins on edges."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ....core.surface import reflectance
from ..builder import Socket, Tree, Value, make_group
from ..kind import Recipe, Values, label_of

if TYPE_CHECKING:
    import bpy


def glaze_group() -> bpy.types.NodeTree:
    """The node group of glaze."""
    return make_group("Glaze", _glaze)


def _glaze(tree: Tree) -> None:
    colour = tree.input("Glaze Colour", "colour", (0.28, 0.40, 0.33), help="Albedo of the glaze at its usual thickness, linear")
    body = tree.input("Body Colour", "colour", (0.33, 0.26, 0.19), help="Albedo of the fired clay below, linear")
    breaking = tree.input("Breaking", "float", 0.6, help="How far the glaze thins on edges and lets the body through")
    pooling = tree.input("Pooling", "float", 0.6, help="How much deeper the colour is where the glaze has pooled")
    matt = tree.input("Matt", "float", 0.0, help="0 glossy, 1 silky matt")
    specks = tree.input("Iron Specks", "float", 0.15, help="Dark specks of iron that bleed through")
    crackle = tree.input("Crackle", "float", 0.0, help="A net of fine cracks in the glass")
    levels = tree.input("Levelling", "float", 0.5, help="How far the melt flowed level over fine relief")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    recess = tree.input("Recess", "float", 0.0, help="0 to 1 in recesses")
    raised = tree.input("Raised", "float", 0.0, help="0 to 1 on raised parts")

    flow = tree.node("TexNoise", {"Vector": tree.vector("MULTIPLY", mm, (1.0, 1.0, 0.55)), "Scale": 0.16, "Detail": 3.0})[
        "Factor"
    ]
    cloud = tree.node("TexNoise", {"Vector": mm, "Scale": 0.9, "Detail": 4.0, "Roughness": 0.6})["Factor"]
    uneven = tree.ramp(flow, [(0.3, (0.88, 0.90, 0.92)), (0.7, (1.10, 1.08, 1.06))])
    tone = tree.mix(1.0, colour, uneven, blend="MULTIPLY")
    deep = tree.node("Gamma", {"Color": tone, "Gamma": 1.55})["Color"]
    tone = tree.mix(tree.math("MULTIPLY", pooling, recess), tone, deep)
    thin = tree.math("MULTIPLY", tree.math("MULTIPLY", raised, breaking), tree.span(cloud, 0.3, 0.65, 0.5, 1.0))
    tone = tree.mix(thin, tone, tree.mix(0.25, body, colour))
    tone = tree.mix(_specks(tree, mm, specks), tone, (0.10, 0.055, 0.03))
    cracks = _crackle(tree, mm, crackle)
    tone = tree.mix(tree.math("MULTIPLY", cracks, 0.6), tone, (0.09, 0.075, 0.06))

    skin = tree.node("TexNoise", {"Vector": mm, "Scale": 0.55, "Detail": 2.0, "Roughness": 0.4})["Factor"]
    pits = tree.node("TexNoise", {"Vector": mm, "Scale": 3.0, "Detail": 2.0})["Factor"]
    height = tree.math(
        "ADD", tree.math("MULTIPLY", skin, 0.016), tree.math("MULTIPLY", pits, tree.math("MULTIPLY", matt, 0.004))
    )
    height = tree.math("SUBTRACT", height, tree.math("MULTIPLY", cracks, 0.004))
    down = tree.vector("SUBTRACT", tree.node("NewGeometry")["Normal"], normal)
    molten = tree.vector("NORMALIZE", tree.vector("ADD", normal, tree.vector("SCALE", down, scale=levels)))
    glass = tree.bump(height, normal=molten)
    rough = tree.math("ADD", tree.blend(matt, 0.055, 0.42), tree.math("MULTIPLY", tree.span(cloud, 0.35, 0.75), 0.07))
    rough = tree.math("ADD", rough, tree.math("MULTIPLY", thin, 0.18))
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": tone,
            "Roughness": rough,
            "IOR": reflectance.IOR["silicate glaze"],
            "Specular IOR Level": 0.5,
            "Subsurface Weight": 0.12,
            "Subsurface Radius": (1.0, 0.8, 0.65),
            "Subsurface Scale": 0.0005,
            "Normal": glass,
        },
        label="Glaze surface",
    )
    tree.output("Shader", "shader", shader["BSDF"])


def _specks(tree: Tree, mm: Value, amount: Value) -> Socket:
    """Iron specks, 0 to 1: grains of 0.1 to 0.5 mm that bled into the melt, of uneven outline and strength."""
    ragged = tree.node("TexNoise", {"Vector": mm, "Scale": 3.0, "Detail": 2.0})["Color"]
    about = tree.vector("SUBTRACT", ragged, (0.5, 0.5, 0.5))
    there = tree.vector("ADD", mm, tree.vector("SCALE", about, scale=0.35))
    cells = tree.node("TexVoronoi", {"Vector": there, "Scale": 1.3, "Randomness": 1.0})
    lottery = tree.node("SeparateColor", {"Color": cells["Color"]})
    shows = tree.math("LESS_THAN", lottery["Red"], tree.math("MULTIPLY", amount, 0.5))
    reach = tree.math("MULTIPLY_ADD", tree.math("POWER", lottery["Green"], 3.0), 0.20, 0.06)
    spot = tree.span(tree.math("SUBTRACT", reach, cells["Distance"]), 0.0, 0.16, smooth=True)
    return tree.math("MULTIPLY", tree.math("MULTIPLY", spot, shows), tree.math("MULTIPLY_ADD", lottery["Blue"], 0.5, 0.4))


def _crackle(tree: Tree, mm: Value, amount: Value) -> Socket:
    warped = tree.node("TexNoise", {"Vector": mm, "Scale": 0.3, "Detail": 2.0})["Color"]
    bent = tree.vector("MULTIPLY_ADD", warped, (2.5, 2.5, 2.5), mm)
    edge = tree.node("TexVoronoi", {"Vector": bent, "Scale": 0.22}, feature="DISTANCE_TO_EDGE")["Distance"]
    fine = tree.node("TexVoronoi", {"Vector": bent, "Scale": 0.5}, feature="DISTANCE_TO_EDGE")["Distance"]
    lines = tree.math("MAXIMUM", tree.span(edge, 0.004, 0.016, 1.0, 0.0), tree.span(fine, 0.004, 0.02, 0.55, 0.0))
    return tree.math("MULTIPLY", lines, amount)


def _values(settings: Any) -> Values:
    _, colour, body, matt = reflectance.GLAZES[settings.glaze_kind]
    return {"Glaze Colour": colour, "Body Colour": body, "Matt": matt, "Crackle": settings.glaze_crackle}


RECIPE = Recipe(
    glaze_group,
    _values,
    lambda settings: f"{label_of(reflectance.GLAZES[settings.glaze_kind])} glaze",
    variety="glaze_kind",
    varieties=reflectance.GLAZES,
    samples=(("Celadon glaze", {"glaze_kind": "celadon"}), ("Iron black glaze", {"glaze_kind": "tenmoku"})),
)
