"""The material of a bench's boards: rings, fibres, pores and knots that follow the boards' vertex attributes.

The attribute `wood_grain` holds (mm along, mm across, rings from the pith, mm outside the nearest knot), `wood_board` (tone,
hue, dirt, polish); see `core/dressing/tabletops/planks.py`. Relief finer than the mesh is a bump in mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from .builder import Socket, Tree, Value, make_group
from .relief import millimetres

if TYPE_CHECKING:
    import bpy


def board_group() -> bpy.types.NodeTree:
    """The surface of a used board: two wood colours, finish and dust as inputs, a shader out."""
    return make_group("Board", _board)


def _values(tree: Tree, name: str) -> tuple[Socket, Socket, Socket, Socket]:
    node = tree.node("Attribute", attribute_name=name, attribute_type="GEOMETRY")
    parts = tree.node("SeparateColor", {"Color": node["Color"]})
    return parts["Red"], parts["Green"], parts["Blue"], node["Alpha"]


def _point(tree: Tree, x: Value, y: Value, z: Value = 0.0) -> Socket:
    return tree.node("CombineXYZ", {"X": x, "Y": y, "Z": z})["Vector"]


class _Dust(NamedTuple):
    """Sockets of the powder on the board: amount, albedo, extent round the piece in mm."""

    amount: Value
    colour: Value
    reach: Value


class _Wood(NamedTuple):
    """Sockets of the wood's structure: fibre 0 to 1, latewood 0 to 1, distance inside a knot in mm, open pores 0 to 1."""

    fibre: Value
    late: Value
    knot: Value
    pores: Value


def _board(tree: Tree) -> None:
    pale = tree.input("Earlywood", "colour", (0.36, 0.235, 0.135), help="Albedo of the soft part of a ring")
    dark = tree.input("Latewood", "colour", (0.20, 0.112, 0.056), help="Albedo of the hard part of a ring")
    age = tree.input("Greyed", "float", 0.25, help="How far light and use have greyed the wood")
    oil = tree.input("Oiled", "float", 0.35, help="0 raw and matt, 1 oiled and silky")
    dust = _Dust(
        tree.input("Dust", "float", 0.35, help="Powder of the clay round the work and in the grain"),
        tree.input("Dust Colour", "colour", (0.42, 0.39, 0.35), help="Albedo of the dry powder"),
        tree.input("Dust Reach", "float", 90.0, low=1.0, high=2000.0, help="How far the powder lies round the work, mm"),
    )
    tone, hue, dirt, polish = _values(tree, "wood_board")
    wood, flame = _structure(tree)
    colour = _coloured(tree, wood, pale, dark)
    shade = tree.math("ADD", tree.math("MULTIPLY_ADD", tone, 0.34, 0.82), tree.math("MULTIPLY_ADD", flame, 0.36, -0.18))
    colour = tree.mix(1.0, colour, _point(tree, shade, shade, shade), blend="MULTIPLY")
    warm = tree.ramp(hue, [(0.0, (0.94, 1.0, 1.05)), (0.5, (1.0, 1.0, 1.0)), (1.0, (1.08, 0.98, 0.86))])
    colour = tree.mix(1.0, colour, warm, blend="MULTIPLY")
    colour = _knotted(tree, wood, colour, dark)
    grey = tree.node("HueSaturation", {"Saturation": 0.55, "Value": 0.96, "Color": colour})["Color"]
    colour = tree.mix(age, colour, grey)
    colour = tree.mix(tree.math("MULTIPLY", dirt, 0.45), colour, tree.mix(1.0, colour, (0.34, 0.29, 0.25), blend="MULTIPLY"))
    colour, bare = _stained(tree, colour, oil)
    colour, cover = _dusted(tree, colour, wood, dirt, dust)

    rough = tree.math("ADD", tree.blend(oil, 0.74, 0.46), tree.math("MULTIPLY_ADD", wood.fibre, 0.24, -0.12))
    rough = tree.math("SUBTRACT", rough, tree.math("MULTIPLY", polish, 0.10))
    rough = tree.math("ADD", rough, tree.math("MULTIPLY", bare, 0.15))
    rough = tree.blend(cover, rough, 0.92)
    height = tree.math("MULTIPLY", wood.fibre, 0.05)
    height = tree.math("ADD", height, tree.math("MULTIPLY", wood.late, 0.035))
    height = tree.math("SUBTRACT", height, tree.math("MULTIPLY", wood.pores, 0.09))
    height = tree.math("ADD", height, _scratches(tree, polish))
    finish = {
        "Base Color": tree.toned(colour), "Roughness": tree.math("MINIMUM", rough, 1.0), "IOR": 1.5, "Specular IOR Level": 0.42,
        "Normal": tree.bump(height, 0.85),
    }  # fmt: skip
    mean = tree.mix(tree.math("MULTIPLY", dust.amount, 0.25), tree.mix(0.45, pale, dark), dust.colour)
    tree.output("Shader", "shader", tree.glimpsed(tree.node("BsdfPrincipled", finish)["BSDF"], tree.toned(mean)))


def _structure(tree: Tree) -> tuple[_Wood, Socket]:
    """The wood's structure from the boards' attributes, and the broad flame pattern in its tone."""
    along, across, rings, knot = _values(tree, "wood_grain")
    across, rings = _down_the_side(tree, across, rings)
    fibre = tree.node(
        "TexNoise", {"Vector": _point(tree, tree.math("MULTIPLY", along, 0.035), tree.math("MULTIPLY", across, 2.2)),
                     "Scale": 1.0, "Detail": 3.0, "Roughness": 0.62}, noise_dimensions="2D")["Factor"]  # fmt: skip
    flame = tree.node(
        "TexNoise", {"Vector": _point(tree, tree.math("MULTIPLY", along, 0.012), tree.math("MULTIPLY", across, 0.05)),
                     "Scale": 1.0, "Detail": 1.0}, noise_dimensions="2D")["Factor"]  # fmt: skip
    jitter = tree.math("MULTIPLY_ADD", fibre, 0.34, -0.17)
    in_knot = tree.span(knot, 0.6, -0.6, smooth=True)
    turns = tree.blend(in_knot, tree.math("ADD", rings, jitter), tree.math("MULTIPLY", knot, 0.9))
    part = tree.math("FRACT", turns)
    late = tree.math(
        "MULTIPLY", tree.math("POWER", tree.span(part, 0.18, 0.92), 1.8), tree.span(part, 0.93, 1.0, 1.0, 0.0, smooth=True)
    )
    year = tree.node("TexNoise", {"W": tree.math("FLOOR", turns), "Scale": 0.77, "Detail": 0.0}, noise_dimensions="1D")[
        "Factor"
    ]
    late = tree.math("MULTIPLY", late, tree.math("MULTIPLY_ADD", year, 0.9, 0.45))
    pores = _pores(tree, along, across, late)

    return _Wood(fibre, late, knot, pores), flame


def _down_the_side(tree: Tree, across: Value, rings: Value) -> tuple[Socket, Socket]:
    """Continue grain and rings down the sides of a board, where the attributes of the face would only be stretched."""
    up = tree.node("SeparateXYZ", {"Vector": tree.node("NewGeometry")["True Normal"]})["Z"]
    side = tree.math("LESS_THAN", tree.math("ABSOLUTE", up), 0.5)
    deep = tree.math("MULTIPLY", tree.node("SeparateXYZ", {"Vector": millimetres(tree)})["Z"], side)
    return tree.math("ADD", across, deep), tree.math("MULTIPLY_ADD", deep, 0.3, rings)


def _coloured(tree: Tree, wood: _Wood, pale: Value, dark: Value) -> Socket:
    """Early- and latewood, with darker fibres."""
    colour = tree.mix(wood.late, pale, dark)
    return tree.mix(tree.span(wood.fibre, 0.3, 0.72, 0.0, 0.28), colour, dark)


def _knotted(tree: Tree, wood: _Wood, colour: Value, dark: Value) -> Socket:
    """The dark wood of knots, the bark round them, and open pores."""
    halo = tree.span(wood.knot, 5.0, -0.5, 0.0, 0.5, smooth=True)
    colour = tree.mix(halo, colour, tree.mix(1.0, dark, (0.62, 0.52, 0.44), blend="MULTIPLY"))
    off = tree.math("ABSOLUTE", tree.math("ADD", wood.knot, 0.35))
    core = tree.mix(1.0, dark, (0.46, 0.36, 0.28), blend="MULTIPLY")  # a knot is dark throughout, not only at its rim
    colour = tree.mix(tree.span(wood.knot, 0.4, -1.6, 0.0, 0.6, smooth=True), colour, core)
    rim = tree.math("MULTIPLY", tree.span(off, 0.1, 0.75, 1.0, 0.0), 0.4)
    colour = tree.mix(rim, colour, (0.028, 0.016, 0.010))
    return tree.mix(tree.math("MULTIPLY", wood.pores, 0.65), colour, (0.045, 0.028, 0.018))


def _pores(tree: Tree, along: Value, across: Value, late: Value) -> Socket:
    """Vessels cut open: short dark lines along the grain, denser in earlywood."""
    cells = tree.node(
        "TexVoronoi", {"Vector": _point(tree, tree.math("MULTIPLY", along, 0.16), tree.math("MULTIPLY", across, 2.6)),
                       "Scale": 1.0, "Randomness": 1.0}, voronoi_dimensions="2D")  # fmt: skip
    lottery = tree.node("SeparateColor", {"Color": cells["Color"]})["Red"]
    line = tree.span(cells["Distance"], 0.10, 0.34, 1.0, 0.0, smooth=True)
    chosen = tree.math("GREATER_THAN", lottery, tree.math("MULTIPLY_ADD", late, 0.35, 0.5))
    return tree.math("MULTIPLY", line, chosen)


def _cloud(tree: Tree, place: Value, scale: float, detail: float) -> Socket:
    """Two-dimensional noise over the board's face; a third dimension would take twice the time and show nothing."""
    return tree.node("TexNoise", {"Vector": place, "Scale": scale, "Detail": detail, "Roughness": 0.64}, noise_dimensions="2D")[
        "Factor"
    ]


def _scratches(tree: Tree, polish: Value) -> Socket:
    """Fine scratches of knives and grit, in mm of height: the thin crests of two layers of stretched noise."""
    mm = millimetres(tree)
    total: Value = 0.0
    patch = tree.span(_cloud(tree, mm, 0.021, 0.0), 0.5, 0.62)
    for angle, seed in ((0.5, 3.0), (2.1, 11.0)):
        turned = tree.node("VectorRotate", {"Vector": mm, "Axis": (0.0, 0.0, 1.0), "Angle": angle})["Vector"]
        parts = tree.node("SeparateXYZ", {"Vector": turned})
        bent = _point(tree, tree.math("MULTIPLY_ADD", parts["X"], 0.022, seed), tree.math("MULTIPLY", parts["Y"], 0.5))
        value = _cloud(tree, bent, 1.0, 1.0)
        crest = tree.span(tree.math("ABSOLUTE", tree.math("SUBTRACT", value, 0.5)), 0.0, 0.012, 1.0, 0.0)
        total = tree.math("ADD", total, tree.math("MULTIPLY", tree.math("MULTIPLY", crest, patch), -0.05))
    return tree.math("MULTIPLY", total, polish)


def _stained(tree: Tree, colour: Value, oil: Value) -> tuple[Socket, Socket]:
    """Old stains and rubbed places: the colour, and how bare the wood is, 0 to 1."""
    mm = millimetres(tree)
    cloud = _cloud(tree, mm, 0.013, 3.0)
    colour = tree.mix(
        tree.span(cloud, 0.55, 0.7, 0.0, 0.4), colour, tree.mix(1.0, colour, (0.55, 0.48, 0.42), blend="MULTIPLY")
    )
    return colour, tree.span(cloud, 0.46, 0.3)


def _dusted(tree: Tree, colour: Value, wood: _Wood, dirt: Value, dust: _Dust) -> tuple[Socket, Socket]:
    """Powder from the piece's material, dense near the piece and in recesses, in wiped patches farther out."""
    mm = millimetres(tree)
    far = tree.math("DIVIDE", tree.vector("LENGTH", tree.vector("MULTIPLY", mm, (1.0, 1.0, 0.0))), dust.reach)
    near = tree.math("POWER", 2.718, tree.math("MULTIPLY", far, -1.0))
    drift = _cloud(tree, mm, 0.028, 4.0)
    speck = _cloud(tree, mm, 1.6, 2.0)
    low = tree.math("ADD", tree.math("MULTIPLY", wood.pores, 0.35), tree.math("MULTIPLY", dirt, 0.12))
    low = tree.math("SUBTRACT", low, tree.math("MULTIPLY", wood.late, 0.2))
    amount = tree.math("ADD", tree.math("MULTIPLY_ADD", drift, 1.5, -0.62), tree.math("MULTIPLY_ADD", speck, 1.1, -0.55))
    amount = tree.math("ADD", tree.math("ADD", amount, low), tree.math("MULTIPLY_ADD", near, 0.75, -0.2))
    cover = tree.math("MULTIPLY", tree.span(amount, 0.0, 1.0), dust.amount)
    return tree.mix(cover, colour, dust.colour), cover
