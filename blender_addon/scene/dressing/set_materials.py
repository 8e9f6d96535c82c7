"""Makes the materials of the set: tabletop, backdrop, props and debris."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import bpy
import numpy as np

from ...core.srgb import luminance
from .. import compat
from ..nodes.board import board_group
from ..nodes.builder import Tree, Value, make_group
from ..nodes.kinds.clay import clay_group
from ..nodes.props import ANY_CHROMA, dimmed_to, greyed_to, prop_group
from ..nodes.relief import millimetres
from ..nodes.tabletops import tabletop_group

Colour = Sequence[float]


def material_of(name: str, group: bpy.types.NodeTree, inputs: Mapping[str, Value] | None = None) -> bpy.types.Material:
    """A new material that consists of a node group with a Shader output."""
    material = bpy.data.materials.new(name)
    tree = compat.node_tree_of(material)
    tree.nodes.clear()
    build = Tree(tree)
    worn = build.group(group, inputs or {})
    build.node("OutputMaterial", {"Surface": worn["Shader"]})
    build.arrange()
    return material


def plain_material(name: str, colour: Colour, *, rough: float, mottle: float, size: float) -> bpy.types.Material:
    """A simple, slightly mottled surface: tone varies by `mottle` with features of `size` mm.

    The colour of the object that wears it multiplies its albedo (white: unchanged); the lighting sets the room's tone with it.

    rough: roughness, 0 polished to 1 matt.
    """

    def build(tree: Tree) -> None:
        body = tree.input("Colour", "colour", tuple(colour), help="Albedo, linear")
        mm = millimetres(tree)
        uneven = tree.node("TexNoise", {"Vector": mm, "Scale": 1.0 / size, "Detail": 5.0, "Roughness": 0.6})["Factor"]
        tone = tree.span(uneven, 0.25, 0.75, 1.0 - mottle, 1.0 + mottle)
        shade = tree.node("CombineXYZ", {"X": tone, "Y": tone, "Z": tone})["Vector"]
        finish = {
            "Base Color": tree.toned(tree.mix(1.0, body, shade, blend="MULTIPLY")),
            "Roughness": tree.math("MULTIPLY_ADD", uneven, 0.3 * rough, 0.85 * rough),
            "Specular IOR Level": 0.0,  # so that its light is in proportion to the object's colour
        }
        tree.output("Shader", "shader", tree.node("BsdfPrincipled", finish)["BSDF"])

    return material_of(name, make_group(name, build))


def planks_material(name: str, inputs: Mapping[str, Value] | None = None) -> bpy.types.Material:
    """The material of a bench's boards."""
    return material_of(name, board_group(), inputs)


EARLY, LATE = (0.36, 0.235, 0.135), (0.20, 0.112, 0.056)
"""Albedo of early- and latewood in the bench's boards."""


def table_material(kind: str, wear: float, dust: Colour, reach: float, *, depth: float = 1.0) -> bpy.types.Material:
    """The material of a tabletop of a kind.

    dust: albedo of the powder from the piece's material. reach: extent of the powder, mm. depth: factor on the boards' albedo.
    wear: 0 new to 1 old.
    """
    powder: dict[str, Value] = {"Dust": 0.2 + 0.35 * wear, "Dust Colour": tuple(dust), "Dust Reach": reach}
    if kind == "planks":
        woods: dict[str, Value] = {
            "Earlywood": tuple(depth * part for part in EARLY),
            "Latewood": tuple(depth * part for part in LATE),
        }
        powder["Dust Colour"] = tuple(min(1.0, depth + 0.2) * part for part in dust)  # the powder is rubbed into the wood
        return planks_material("Boards", {**woods, "Greyed": 0.12 + 0.3 * wear, "Oiled": 0.3, **powder})
    return material_of(kind.capitalize(), tabletop_group(kind), None if kind == "paper" else powder)


def room_materials() -> list[bpy.types.Material]:
    """The materials of the slots of `core/dressing/tabletops/backdrop.py`: wall, wood, dark, pale, glazed, clay.

    Their tones are similar and have little colour, so that the backdrop does not distract from the subject.
    """
    return [
        plain_material("Room wall", (0.33, 0.31, 0.28), rough=0.9, mottle=0.16, size=260.0),
        plain_material("Room wood", (0.225, 0.185, 0.145), rough=0.7, mottle=0.2, size=60.0),
        plain_material("Room dark", (0.175, 0.165, 0.15), rough=0.7, mottle=0.2, size=120.0),
        plain_material("Room pale", (0.43, 0.41, 0.37), rough=0.8, mottle=0.08, size=200.0),
        plain_material("Room glazed", (0.205, 0.21, 0.20), rough=0.35, mottle=0.2, size=40.0),
        plain_material("Room clay", (0.275, 0.225, 0.18), rough=0.85, mottle=0.15, size=40.0),
    ]


def debris_material(body: str, tone: Colour) -> bpy.types.Material:
    """The material of debris, which varies in tone from piece to piece."""
    rough = {"clay": 0.9, "wood": 0.7, "stone": 0.8}[body]

    def build(tree: Tree) -> None:
        colour = tree.input("Colour", "colour", tuple(tone), help="Albedo of the pieces, linear")
        spread = tree.input("Spread", "float", 0.22, help="How much pieces differ in tone")
        tint = tree.node("Attribute", attribute_name="tint", attribute_type="INSTANCER")["Factor"]
        mm = millimetres(tree)
        shifted = tree.vector("ADD", mm, tree.node("CombineXYZ", {"X": tree.math("MULTIPLY", tint, 91.0)})["Vector"])
        if body == "wood":
            shifted = tree.vector("MULTIPLY", shifted, (0.12, 2.2, 0.12))  # fibres run along a shaving, which is wound round Y
        uneven = tree.node("TexNoise", {"Vector": shifted, "Scale": 1.3, "Detail": 5.0, "Roughness": 0.65})["Factor"]
        shade = tree.math(
            "ADD", tree.math("MULTIPLY", tree.math("SUBTRACT", tint, 0.45), tree.math("MULTIPLY", spread, 2.0)), 1.0
        )
        shade = tree.math("MULTIPLY", shade, tree.span(uneven, 0.25, 0.75, 0.84, 1.16))
        fine = tree.node("TexNoise", {"Vector": shifted, "Scale": 6.0, "Detail": 3.0})["Factor"]
        height = tree.math("MULTIPLY", tree.math("ADD", fine, tree.math("MULTIPLY", uneven, 2.0)), 0.03)
        bent = tree.bump(height, 0.8)
        shaded = tree.mix(
            1.0, colour, tree.node("CombineXYZ", {"X": shade, "Y": shade, "Z": shade})["Vector"], blend="MULTIPLY"
        )
        finish = {"Base Color": shaded, "Roughness": rough, "Specular IOR Level": 0.3, "Normal": bent, "Diffuse Roughness": 0.6}
        solid = tree.node("BsdfPrincipled", finish)["BSDF"]
        if body != "wood":
            tree.output("Shader", "shader", solid)
            return
        glow = tree.node("BsdfTranslucent", {"Color": shaded})["BSDF"]  # shavings of 0.1 mm are translucent
        mixed = tree.node("MixShader", {"Factor": 0.15})
        tree.put(mixed.node.inputs[1], solid)
        tree.put(mixed.node.inputs[2], glow)
        tree.output("Shader", "shader", mixed["Shader"])

    return material_of(f"Debris {body}", make_group(f"Debris {body}", build))


def clay_material(name: str, tone: Colour) -> bpy.types.Material:
    """A material of the piece's clay, without the piece's relief, for a lump of clay."""
    material = bpy.data.materials.new(name)
    tree = compat.node_tree_of(material)
    tree.nodes.clear()
    build = Tree(tree)
    mm = millimetres(build)
    inputs = {"Body Colour": tuple(tone), "Position": mm, "Normal": build.node("NewGeometry")["Normal"], "Pore Depth": 0.02}
    build.node("OutputMaterial", {"Surface": build.group(clay_group(), inputs)["Shader"]})
    build.arrange()
    return material


DRIER = 0.2
"""How far the colour of a lump or a pellet of the piece's clay is drawn to grey: small things dry first, and no prop should be
more colourful than the piece. Set by eye."""


def prop_material(
    name: str, tone: Colour, *, chroma: float = ANY_CHROMA, light: float = 1.0, soiled: float = 1.0
) -> bpy.types.Material:
    """A prop's material by its name; 'clay' is the piece's clay.

    chroma: a colour with more chroma C* is greyed towards the tone `tone`. light: one with a higher luminance is darkened.
    soiled: how much dry slip is left on it, 0 to 1.
    """
    if name == "clay":
        grey = float(luminance(np.array(tone)))
        return clay_material("Clay lump", [DRIER * grey + (1.0 - DRIER) * part for part in tone])
    tint = 0.5 + 0.5 * np.array(tone) / max(float(luminance(np.array(tone))), 1e-6)  # half as coloured: less than the piece
    left = dimmed_to(name, light)
    greyed = {"Greyed": greyed_to(name, chroma, tint, left=left), "Grey": tuple(np.clip(tint, 0.5, 1.6)), "Dimmed": left}
    group = prop_group(name)
    if "Soiled" in {item.name for item in group.interface.items_tree}:
        greyed["Soiled"] = soiled
    return material_of(name.capitalize(), group, greyed)
