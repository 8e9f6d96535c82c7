"""Carved stone: grains, veins and beds in mm; sawn, honed or polished."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ....core.surface import reflectance
from ..builder import PlacedNode, Socket, Tree, Value, make_group
from ..kind import Recipe, Values, label_of

if TYPE_CHECKING:
    import bpy


def stone_group() -> bpy.types.NodeTree:
    """The node group of stone."""
    return make_group("Stone", _stone)


def _stone(tree: Tree) -> None:
    colour = tree.input("Stone", "colour", (0.50, 0.46, 0.38), help="Mean albedo, linear")
    second = tree.input("Second Colour", "colour", (0.36, 0.31, 0.25), help="Albedo of veins, beds or the other grains, linear")
    grain = tree.input("Grain Size", "float", 0.4, low=0.05, high=6.0, help="Size of the grains or crystals, mm")
    speckle = tree.input("Speckle", "float", 0.4, help="How much the grains differ in tone")
    veins = tree.input("Veins", "float", 0.0, help="Veins of the second colour")
    beds = tree.input("Beds", "float", 0.3, help="Layers of the second colour, as the stone was laid down")
    polish = tree.input("Polish", "float", 0.15, help="0 as sawn, 0.5 honed, 1 polished")
    light = tree.input("Translucence", "float", 0.0, help="Light that enters, as in marble")
    wash = tree.input("Crevice Wash", "float", 0.0, help="An effect: dirt in recesses")
    wear = tree.input("Handling Wear", "float", 0.0, help="An effect: edges polished by handling")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    recess = tree.input("Recess", "float", 0.0, help="0 to 1 in recesses")
    raised = tree.input("Raised", "float", 0.0, help="0 to 1 on raised parts")

    cells = _grains(tree, mm, grain)
    lottery = tree.node("SeparateColor", {"Color": cells["Color"]})
    cloud = tree.node("TexNoise", {"Vector": mm, "Scale": 0.05, "Detail": 6.0, "Roughness": 0.6})["Factor"]
    fine = tree.node("TexNoise", {"Vector": mm, "Scale": 2.2, "Detail": 4.0, "Roughness": 0.65})["Factor"]
    bed = tree.node(
        "TexNoise",
        {"Vector": tree.vector("MULTIPLY", mm, (0.018, 0.018, 0.30)), "Scale": 1.0, "Detail": 4.0, "Distortion": 0.3},
    )["Factor"]
    tone = tree.mix(tree.math("MULTIPLY", beds, tree.span(bed, 0.42, 0.68)), colour, second)
    tone = tree.mix(tree.math("MULTIPLY", _veins(tree, mm), veins), tone, second)
    tone = _speckled(tree, tone, second, lottery, fine, speckle)
    tone = tree.mix(1.0, tone, tree.ramp(cloud, [(0.3, (0.90, 0.89, 0.87)), (0.7, (1.08, 1.08, 1.08))]), blend="MULTIPLY")
    dirt = tree.math("MULTIPLY", tree.math("MULTIPLY", wash, recess), tree.span(fine, 0.25, 0.6, 0.5, 1.0))
    tone = tree.mix(tree.math("MULTIPLY", dirt, 0.75), tone, tree.mix(1.0, tone, (0.30, 0.26, 0.21), blend="MULTIPLY"))

    rubbed = tree.math("MULTIPLY", wear, raised)
    rough = tree.math("SUBTRACT", tree.blend(polish, 0.82, 0.12), tree.math("MULTIPLY", rubbed, 0.25))
    rough = tree.math("ADD", rough, tree.math("MULTIPLY_ADD", lottery["Blue"], 0.14, -0.05), clamp=True)
    crystal = tree.math(
        "MULTIPLY", tree.math("SUBTRACT", lottery["Green"], cells["Distance"]), tree.math("MULTIPLY", grain, 0.05)
    )
    height = tree.math("ADD", crystal, tree.math("MULTIPLY", fine, 0.022))
    height = tree.math("MULTIPLY", height, tree.math("SUBTRACT", 1.0, tree.math("MULTIPLY", polish, 0.96)))
    bent = tree.bump(height, normal=normal)
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": tone,
            "Roughness": rough,
            "Diffuse Roughness": tree.blend(polish, 0.6, 0.1),
            "IOR": reflectance.IOR["stone"],
            "Specular IOR Level": tree.blend(polish, 0.35, 0.5),
            "Subsurface Weight": light,
            "Subsurface Radius": (1.0, 0.85, 0.7),
            "Subsurface Scale": 0.0015,
            "Normal": bent,
        },
        label="Stone surface",
    )
    tree.output("Shader", "shader", shader["BSDF"])


def _grains(tree: Tree, mm: Value, grain: Value) -> PlacedNode:
    """Cells of the size of the grains, with ragged outlines."""
    ragged = tree.node("TexNoise", {"Vector": mm, "Scale": tree.math("DIVIDE", 1.1, grain), "Detail": 2.0})["Color"]
    about = tree.vector("SUBTRACT", ragged, (0.5, 0.5, 0.5))  # grains have no straight sides
    there = tree.vector("ADD", mm, tree.vector("SCALE", about, scale=tree.math("MULTIPLY", grain, 1.6)))
    return tree.node("TexVoronoi", {"Vector": there, "Scale": tree.math("DIVIDE", 1.2, grain), "Randomness": 1.0})


def _speckled(tree: Tree, tone: Value, second: Value, lottery: PlacedNode, fine: Value, speckle: Value) -> Socket:
    """The tone with grains that differ in it, some by the second colour."""
    other = tree.span(lottery["Red"], 0.24, 1.0)  # 0.38 on average: grains differ by degrees, black ones are few
    other = tree.math("MULTIPLY", other, speckle)
    tone = tree.mix(other, tone, second)
    shade = tree.ramp(lottery["Green"], [(0.0, (0.72, 0.72, 0.72)), (1.0, (1.25, 1.25, 1.25))])
    tone = tree.mix(speckle, tone, tree.mix(1.0, tone, shade, blend="MULTIPLY"))
    within = tree.ramp(fine, [(0.3, (0.84, 0.84, 0.84)), (0.7, (1.14, 1.14, 1.14))])  # no grain is of one tone
    return tree.mix(speckle, tone, tree.mix(1.0, tone, within, blend="MULTIPLY"))


def _veins(tree: Tree, mm: Value) -> Socket:
    warped = tree.node("TexNoise", {"Vector": mm, "Scale": 0.045, "Detail": 5.0, "Roughness": 0.6})["Color"]
    bent = tree.vector("MULTIPLY_ADD", warped, (34.0, 34.0, 34.0), mm)
    field = tree.node("TexNoise", {"Vector": bent, "Scale": 0.03, "Detail": 5.0, "Roughness": 0.55})["Factor"]
    near = tree.math("ABSOLUTE", tree.math("SUBTRACT", field, 0.5))
    return tree.math("MAXIMUM", tree.span(near, 0.0, 0.012, 0.9, 0.0), tree.span(near, 0.0, 0.07, 0.4, 0.0))


def _values(settings: Any) -> Values:
    stone = reflectance.STONES[settings.stone_kind]
    return {
        "Stone": stone.colour,
        "Second Colour": stone.second,
        "Grain Size": stone.grain_mm,
        "Speckle": stone.speckle,
        "Veins": stone.veins,
        "Beds": stone.beds,
        "Translucence": stone.translucence,
        "Polish": reflectance.STONE_FINISHES[settings.stone_finish],
        "Crevice Wash": settings.crevice_wash,
        "Handling Wear": settings.handling_wear,
    }


RECIPE = Recipe(
    stone_group,
    _values,
    lambda settings: f"{settings.stone_finish} {label_of(reflectance.STONES[settings.stone_kind])}",
    variety="stone_kind",
    varieties=reflectance.STONES,
    samples=(
        ("Limestone, honed", {"stone_kind": "limestone", "stone_finish": "honed"}),
        ("White marble, polished", {"stone_kind": "marble", "stone_finish": "polished"}),
    ),
)
