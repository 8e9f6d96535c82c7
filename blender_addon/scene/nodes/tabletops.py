"""The materials of tabletops: slate, cloth, plaster and paper. Scales in mm; relief finer than the mesh is a bump."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .builder import Socket, Tree, Value, make_group
from .relief import millimetres

if TYPE_CHECKING:
    import bpy


def tabletop_group(kind: str) -> bpy.types.NodeTree:
    """The node group, with a Shader output, of a tabletop's material: 'slate', 'cloth', 'plaster' or 'paper'."""
    return make_group(f"Table {kind}", {"slate": _slate, "cloth": _cloth, "plaster": _plaster, "paper": _paper}[kind])


def _flat_noise(tree: Tree, vector: Value, scale: float, detail: float = 4.0, rough: float = 0.6) -> Socket:
    """Two-dimensional noise over a table; a third dimension would take twice the time and show nothing."""
    return tree.noise(vector, scale, detail, rough, flat=True)


def _dust(tree: Tree, colour: Value, mm: Value, amount: Value, dust_colour: Value, reach: Value) -> tuple[Socket, Socket]:
    """Powder from the piece's material, dense near the piece, in wiped patches farther out: colour and coverage."""
    far = tree.math("DIVIDE", tree.vector("LENGTH", tree.vector("MULTIPLY", mm, (1.0, 1.0, 0.0))), reach)
    near = tree.math("POWER", 2.718, tree.math("MULTIPLY", far, -1.0))
    drift, speck = tree.noise(mm, 0.03, 6.0, 0.62), tree.noise(mm, 1.5, 4.0, 0.75)
    total = tree.math("ADD", tree.math("MULTIPLY_ADD", drift, 1.5, -0.75), tree.math("MULTIPLY_ADD", speck, 1.2, -0.6))
    cover = tree.math(
        "MULTIPLY", tree.span(tree.math("ADD", total, tree.math("MULTIPLY_ADD", near, 0.9, -0.25)), 0.0, 1.0), amount
    )
    return tree.mix(cover, colour, dust_colour), cover


def _given(tree: Tree, colour: tuple[float, float, float], words: str) -> tuple[Socket, Socket, Socket, Socket]:
    body = tree.input("Colour", "colour", colour, help=words)
    dust = tree.input("Dust", "float", 0.35, help="Powder of the clay round the work")
    dust_colour = tree.input("Dust Colour", "colour", (0.42, 0.39, 0.35), help="Albedo of the dry powder")
    reach = tree.input("Dust Reach", "float", 90.0, low=1.0, high=2000.0, help="How far the powder lies round the work, mm")
    return body, dust, dust_colour, reach


def _slate(tree: Tree) -> None:
    """Split slate: thin rippled layers that end in steps, chalky where scuffed."""
    body, dust, dust_colour, reach = _given(tree, (0.062, 0.066, 0.072), "Albedo of the stone")
    mm = _split(tree, millimetres(tree))
    cloud = _flat_noise(tree, mm, 0.02, 5.0)
    streak = _flat_noise(tree, tree.vector("MULTIPLY", mm, (0.06, 0.3, 0.3)), 1.0, 5.0)
    tone = tree.math("MULTIPLY_ADD", streak, 0.6, tree.math("MULTIPLY_ADD", cloud, 0.6, 0.36))
    colour = tree.mix(1.0, body, tree.grey(tone), blend="MULTIPLY")
    rust = tree.span(_flat_noise(tree, mm, 0.035, 5.0, 0.7), 0.62, 0.74, 0.0, 0.35)
    colour = tree.mix(rust, colour, (0.12, 0.075, 0.045))
    layers, rim = _layers(tree, mm)
    ripple = _flat_noise(tree, tree.vector("MULTIPLY", mm, (0.10, 0.19, 0.19)), 1.0, 5.0, 0.62)
    grit = tree.noise(mm, 2.6, 5.0, 0.7)
    scuffed = _scuffs(tree, mm)
    pale = tree.math("MAXIMUM", tree.math("MULTIPLY", rim, tree.span(grit, 0.35, 0.6, 0.25, 0.8)), scuffed)
    colour = tree.mix(tree.math("MULTIPLY", pale, 0.26), colour, (0.20, 0.205, 0.21))
    colour, cover = _dust(tree, colour, mm, dust, dust_colour, reach)
    rough = tree.math("ADD", tree.math("MULTIPLY_ADD", grit, 0.35, 0.26), tree.span(streak, 0.3, 0.7, -0.06, 0.16))
    rough = tree.blend(cover, tree.math("MULTIPLY_ADD", pale, 0.3, rough), 0.92)
    height = tree.math("MULTIPLY_ADD", grit, 0.10, tree.math("MULTIPLY", ripple, 0.55))
    height = tree.math("ADD", height, layers)
    bent = tree.bump(height, 0.9)
    finish = {"Base Color": tree.toned(colour), "Roughness": rough, "IOR": 1.55, "Specular IOR Level": 0.45, "Normal": bent}
    tree.output("Shader", "shader", tree.glimpsed(tree.node("BsdfPrincipled", finish)["BSDF"], tree.toned(body)))


def _split(tree: Tree, mm: Value) -> Socket:
    """Noise coordinates: position on the face; on a broken side the position along it and the depth.

    The layers along which slate splits are then horizontal there.
    """
    parts = tree.node("SeparateXYZ", {"Vector": mm})
    deep = tree.math("MULTIPLY", parts["Z"], 9.0)
    beside = tree.node("CombineXYZ", {"X": tree.math("ADD", parts["X"], parts["Y"]), "Y": deep, "Z": 0.0})["Vector"]
    up = tree.node("SeparateXYZ", {"Vector": tree.node("NewGeometry")["True Normal"]})["Z"]
    side = tree.math("LESS_THAN", tree.math("ABSOLUTE", up), 0.5)
    return tree.vector(
        "ADD", tree.vector("SCALE", mm, scale=tree.math("SUBTRACT", 1.0, side)), tree.vector("SCALE", beside, scale=side)
    )


def _layers(tree: Tree, mm: Value) -> tuple[Socket, Socket]:
    """Height in mm of layers that end in steps, and a mask, 0 to 1, of the steps' rims."""
    level = tree.math("MULTIPLY", _flat_noise(tree, tree.vector("MULTIPLY", mm, (0.011, 0.019, 0.019)), 1.0, 3.0, 0.5), 11.0)
    part = tree.math("FRACT", level)
    height = tree.math("ADD", tree.math("FLOOR", level), tree.span(part, 0.0, 0.4, smooth=True))
    return tree.math("MULTIPLY", height, 0.16), tree.span(part, 0.0, 0.3, 0.35, 0.0, smooth=True)


def _scuffs(tree: Tree, mm: Value) -> Socket:
    """Pale scratches, 0 to 1, of tools and pots dragged over it: the thin crests of two layers of stretched noise."""
    total: Value = 0.0
    where = tree.span(_flat_noise(tree, mm, 0.013, 2.0), 0.42, 0.6)
    for angle, seed in ((0.3, 0.0), (1.9, 17.0)):
        turned = tree.node("VectorRotate", {"Vector": mm, "Axis": (0.0, 0.0, 1.0), "Angle": angle})["Vector"]
        bent = tree.vector("MULTIPLY_ADD", turned, (0.016, 0.42, 0.42), (seed, seed, 0.0))
        crest = tree.math("ABSOLUTE", tree.math("SUBTRACT", _flat_noise(tree, bent, 1.0, 1.0), 0.5))
        total = tree.math("MAXIMUM", total, tree.span(crest, 0.0, 0.008, 1.0, 0.0))
    return tree.math("MULTIPLY", total, where)


def _cloth(tree: Tree) -> None:
    """Linen: woven threads of varying thickness, about 0.55 mm apart."""
    body, dust, dust_colour, reach = _given(tree, (0.40, 0.345, 0.265), "Albedo of the linen")
    mm = millimetres(tree)
    wander = tree.node("TexNoise", {"Vector": mm, "Scale": 0.12, "Detail": 3.0})["Color"]
    bent_mm = tree.vector("MULTIPLY_ADD", wander, (2.4, 2.4, 0.0), mm)
    parts = tree.node("SeparateXYZ", {"Vector": bent_mm})
    count = 1.0 / 0.55
    u, v = tree.math("MULTIPLY", parts["X"], count), tree.math("MULTIPLY", parts["Y"], count)
    warp, weft = (tree.math("ABSOLUTE", tree.math("SINE", tree.math("MULTIPLY", entry, 3.14159))) for entry in (u, v))
    over = tree.math("MODULO", tree.math("ABSOLUTE", tree.math("ADD", tree.math("FLOOR", u), tree.math("FLOOR", v))), 2.0)
    height = tree.blend(
        over,
        tree.math("MULTIPLY", warp, tree.math("MULTIPLY_ADD", weft, 0.4, 0.6)),
        tree.math("MULTIPLY", weft, tree.math("MULTIPLY_ADD", warp, 0.4, 0.6)),
    )
    thick_u = tree.node(
        "TexNoise",
        {
            "Vector": tree.node("CombineXYZ", {"X": tree.math("FLOOR", u), "Y": tree.math("MULTIPLY", parts["Y"], 0.02)})[
                "Vector"
            ],
            "Scale": 0.77,
            "Detail": 1.0,
        },
    )["Factor"]
    thick_v = tree.node(
        "TexNoise",
        {
            "Vector": tree.node("CombineXYZ", {"X": tree.math("MULTIPLY", parts["X"], 0.02), "Y": tree.math("FLOOR", v)})[
                "Vector"
            ],
            "Scale": 0.77,
            "Detail": 1.0,
        },
    )["Factor"]
    slub = tree.blend(over, thick_u, thick_v)
    tone = tree.math("ADD", tree.math("MULTIPLY_ADD", slub, 0.55, 0.62), tree.math("MULTIPLY", height, 0.22))
    colour = tree.mix(1.0, body, tree.grey(tone), blend="MULTIPLY")
    stain = tree.span(tree.noise(mm, 0.012, 5.0, 0.65), 0.58, 0.74, 0.0, 0.3)
    colour = tree.mix(stain, colour, tree.mix(1.0, colour, (0.6, 0.5, 0.42), blend="MULTIPLY"))
    colour, _ = _dust(tree, colour, mm, tree.math("MULTIPLY", dust, 0.6), dust_colour, reach)
    relief = tree.math("MULTIPLY", height, tree.math("MULTIPLY_ADD", slub, 0.22, 0.06))
    bent = tree.bump(relief, 0.9)
    finish = {
        "Base Color": tree.toned(colour),
        "Roughness": 0.95,
        "Specular IOR Level": 0.15,
        "Sheen Weight": 0.25,
        "Sheen Roughness": 0.5,
        "Normal": bent,
    }
    tree.output("Shader", "shader", tree.glimpsed(tree.node("BsdfPrincipled", finish)["BSDF"], tree.toned(body)))


def _plaster(tree: Tree) -> None:
    """A plaster bat that has absorbed slip for years."""
    body, dust, dust_colour, reach = _given(tree, (0.62, 0.585, 0.52), "Albedo of the plaster")
    mm = millimetres(tree)
    cloud, fine = tree.noise(mm, 0.022, 6.0, 0.66), tree.noise(mm, 0.9, 5.0, 0.7)
    ring = tree.node(
        "TexNoise", {"Vector": tree.grey(tree.math("MULTIPLY", tree.vector("LENGTH", mm), 0.45)), "Scale": 1.0, "Detail": 4.0}
    )["Factor"]
    soaked = tree.span(tree.math("MULTIPLY_ADD", ring, 0.55, cloud), 0.68, 0.92, 0.0, 0.75)
    colour = tree.mix(soaked, body, tree.mix(0.55, body, dust_colour, blend="MULTIPLY"))
    colour = tree.mix(1.0, colour, tree.grey(tree.span(fine, 0.25, 0.75, 0.93, 1.05)), blend="MULTIPLY")
    hole = tree.span(tree.noise(mm, 1.1, 1.0), 0.70, 0.74)
    colour = tree.mix(tree.math("MULTIPLY", hole, 0.6), colour, (0.2, 0.18, 0.15))
    colour, _ = _dust(tree, colour, mm, dust, dust_colour, reach)
    height = tree.math("SUBTRACT", tree.math("MULTIPLY", fine, 0.05), tree.math("MULTIPLY", hole, 0.2))
    bent = tree.bump(height, 0.9)
    finish = {
        "Base Color": tree.toned(colour),
        "Roughness": 0.85,
        "Specular IOR Level": 0.3,
        "Diffuse Roughness": 0.5,
        "Normal": bent,
    }
    tree.output("Shader", "shader", tree.glimpsed(tree.node("BsdfPrincipled", finish)["BSDF"], tree.toned(body)))


def _paper(tree: Tree) -> None:
    """Background paper; transparent from behind, so that a camera outside the curve sees through it."""
    body = tree.input("Colour", "colour", (0.33, 0.325, 0.31), help="Albedo of the paper")
    mm = millimetres(tree)
    fibre, cloud = tree.noise(mm, 3.5, 4.0, 0.7), tree.noise(mm, 0.008, 3.0)
    tone = tree.math("ADD", tree.span(fibre, 0.2, 0.8, 0.975, 1.025), tree.math("MULTIPLY_ADD", cloud, 0.06, -0.03))
    bent = tree.bump(tree.math("MULTIPLY", fibre, 0.015), 0.5)
    finish = {
        "Base Color": tree.mix(1.0, body, tree.grey(tone), blend="MULTIPLY"),
        "Roughness": 0.9,
        "Specular IOR Level": 0.2,
        "Normal": bent,
    }
    paper = tree.glimpsed(tree.node("BsdfPrincipled", finish)["BSDF"], body)
    behind = tree.node("NewGeometry")["Backfacing"]
    through = tree.node("BsdfTransparent", {"Color": (1.0, 1.0, 1.0, 1.0)})["BSDF"]
    mixed = tree.node("MixShader", {"Factor": behind})
    tree.put(mixed.node.inputs[1], paper)
    tree.put(mixed.node.inputs[2], through)
    tree.output("Shader", "shader", mixed["Shader"])
