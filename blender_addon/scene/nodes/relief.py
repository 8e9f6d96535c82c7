"""Where does the recovered relief enter a material? A group with a live Strength, giving the normal and the height.

And what of the form is a recess or a raised edge? A group on the cavity attribute and the relief's height.
"""

from __future__ import annotations

from typing import Any

from .builder import Tree, make_group

CAVITY = "cavity"
"""Float vertex attribute, computed with the material: -1 on raised edges to +1 in recesses (see `core/surface/cavity.py`)."""

UV_DEFAULT = "UVMap"


def relief_group(normal: Any | None, height: Any | None, *, uv: str = UV_DEFAULT) -> Any:
    """The group for a piece's relief maps; without maps it passes the smooth surface on.

    normal: tangent-space +Y normal map. height: map of the relief's height in mm.
    """

    def build(tree: Tree) -> None:
        strength = tree.input(
            "Strength", "float", 1.0, low=0.0, high=4.0, help="How much of the recovered relief is shown; 1 is as measured"
        )
        coordinates = tree.node("UVMap", uv_map=uv)["UV"] if normal or height else None
        if normal is not None:
            picture = tree.node("TexImage", {"Vector": coordinates}, image=normal, interpolation="Cubic", label="Relief normal")
            bent = tree.node("NormalMap", {"Strength": strength, "Color": picture["Color"]}, space="TANGENT", uv_map=uv)[
                "Normal"
            ]
        else:
            bent = tree.node("NewGeometry")["Normal"]
        depth: Any = 0.0
        if height is not None:
            picture = tree.node(
                "TexImage", {"Vector": coordinates}, image=height, interpolation="Linear", label="Relief height"
            )
            depth = tree.math("MULTIPLY", picture["Color"], strength)
        tree.output("Normal", "vector", bent)
        tree.output("Height", "float", depth)

    return make_group("Relief", build)


def form_group() -> Any:
    """Recesses and raised parts, 0 to 1, from the form's cavity and the relief's height in mm, with a ragged edge."""

    def build(tree: Tree) -> None:
        mm = tree.input("Position", "vector", help="Position on the piece in mm")
        height = tree.input("Height", "float", 0.0, low=-5.0, high=5.0, help="Height of the relief in mm")
        cavity = tree.node("Attribute", attribute_name=CAVITY, attribute_type="GEOMETRY")["Factor"]
        ragged = tree.node("TexNoise", {"Vector": mm, "Scale": 1.1, "Detail": 2.0, "Roughness": 0.6})["Factor"]
        ragged = tree.math("MULTIPLY_ADD", ragged, 0.5, -0.25)
        deep = tree.math("MULTIPLY", height, -8.0)  # a stroke 0.06 mm deep counts half
        total = tree.math("ADD", cavity, deep)
        recess = tree.span(tree.math("ADD", total, tree.math("MULTIPLY", ragged, 0.5)), 0.08, 0.85, smooth=True)
        raised = tree.span(tree.math("SUBTRACT", ragged, total), 0.15, 0.85, smooth=True)
        tree.output("Recess", "float", recess)
        tree.output("Raised", "float", raised)

    return make_group("Recess and edge", build)


def tooled(tree: Tree, normal: Any) -> Any:
    """0 to 1: how far a tool has tilted the surface, from the normal with the relief against that of the form, 2 to 14 degrees.

    A material's own texture stands back there, so that it never masks a mark that the piece has.
    """
    tilt = tree.vector("DISTANCE", normal, tree.node("NewGeometry")["Normal"])
    return tree.span(tilt, 0.035, 0.25, smooth=True)


def millimetres(tree: Tree) -> Any:
    """Position on the object in mm, whatever the object's place in the scene."""
    return tree.vector("SCALE", tree.node("TexCoord")["Object"], scale=1000.0)
