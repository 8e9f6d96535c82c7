"""Clay: body colour, moisture and grog, without marks that the piece does not have, unless asked for.

Scales are in mm. Mottling, grog and pores belong to the material and are fainter than a piece's tooling: `bench likeness`
measures both. Dust, wash, wear, fingerprints and tool chatter are invented effects: off by default, and labelled as such.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ....core.surface import reflectance
from ..builder import Socket, Tree, Value, make_group
from ..kind import Recipe, Values, label_of
from ..relief import tooled

if TYPE_CHECKING:
    import bpy

MICRO_ROUGHNESS = 0.44
"""Roughness of the diffuse reflection of dry clay, as Blender's Principled node takes it: the ratio B / A of Oren & Nayar
(*Generalization of Lambert's Reflectance Model*, SIGGRAPH 1994) at a facet slope of 30 degrees.

They fitted rough wall plaster with 30 degrees and show a clay vase with 40 (values from memory). Tooled clay is no rougher than
plaster, and the texture below adds to the slopes. A rougher surface looks flat, as the full moon does, and hides its relief."""

UNEVEN, SAND, PIT, STONE = 4.5, 1.56, 1.0, 0.10
"""Heights of the parts of the clay's texture: hand-made unevenness, sand and pits, each over the depth of the pores, and the
height of a grain of grog over its size. Set by `bench likeness` on the project's own pieces, and by eye at 1:1."""
WET_ROUGHNESS = 0.35
"""Diffuse roughness of wet clay; set by eye."""
BURNISHED = 0.6
"""Share of the clay's texture that is removed where a tool has pressed it: a guess, judged by eye."""


def clay_group() -> bpy.types.NodeTree:
    """The node group of clay."""
    return make_group("Clay", _clay)


def _clay(tree: Tree) -> None:
    body = tree.input("Body Colour", "colour", (0.28, 0.255, 0.22), help="Diffuse albedo of the dry body, linear")
    wet = tree.input("Wetness", "float", 0.0, help="0 dry, 0.4 leather-hard, 1 wet: darker and with a film of water")
    grog = tree.input("Grog", "float", 0.35, help="How much fired grit shows")
    grog_size = tree.input("Grog Size", "float", 0.35, low=0.05, high=3.0, help="Size of the largest grog grains, mm")
    mottle = tree.input("Mottle", "float", 0.5, help="Unevenness of tone, from drying and wedging")
    pores = tree.input("Pore Depth", "float", 0.0118, low=0.0, high=0.2, help="Depth of the fine texture of the surface, mm")
    dust = tree.input("Dust", "float", 0.0, help="An effect: dry powder in recesses that face upwards")
    wash = tree.input("Crevice Wash", "float", 0.0, help="An effect: thin dark slip left in recesses")
    wash_colour = tree.input("Wash Colour", "colour", (0.07, 0.055, 0.045), help="Colour of the wash")
    wear = tree.input("Handling Wear", "float", 0.0, help="An effect: edges rubbed paler and smoother by handling")
    prints = tree.input("Invented Fingerprints", "float", 0.0, help="An effect: marks that the piece does not have")
    chatter = tree.input("Invented Tool Chatter", "float", 0.0, help="An effect: marks that the piece does not have")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    recess = tree.input("Recess", "float", 0.0, help="0 to 1 in recesses")
    raised = tree.input("Raised", "float", 0.0, help="0 to 1 on raised parts")

    tone, broad = _mottling(tree, mm, mottle)
    speck, grain = _grog(tree, mm, grog, grog_size)
    colour = tree.mix(1.0, body, tone, blend="MULTIPLY")
    colour = tree.mix(speck["amount"], colour, tree.mix(1.0, colour, speck["tint"], blend="MULTIPLY"))
    colour = _powdered(tree, colour, mm, recess, dust, wet)
    film = tree.math("MULTIPLY", wash, recess)
    colour = tree.mix(film, colour, wash_colour)
    rubbed = tree.math("MULTIPLY", wear, raised)
    colour = tree.mix(tree.math("MULTIPLY", rubbed, 0.22), colour, (1.0, 0.98, 0.94), blend="SOFT_LIGHT")
    colour = _wetted(tree, colour, wet, broad)

    rough = tree.math("MULTIPLY_ADD", broad, 0.16, 0.76)
    rough = tree.math("SUBTRACT", rough, tree.math("MULTIPLY", rubbed, 0.22))
    rough = tree.blend(wet, rough, tree.math("MULTIPLY_ADD", broad, 0.30, 0.16))
    drowned = tree.math("MULTIPLY", pores, tree.blend(wet, 1.0, 0.3))  # water fills the pores
    bent = _texture(tree, mm, normal, drowned, (grain, grog_size), (prints, chatter))
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": colour,
            "Roughness": rough,
            "Diffuse Roughness": tree.blend(wet, MICRO_ROUGHNESS, WET_ROUGHNESS),
            "IOR": tree.blend(wet, reflectance.IOR["clay"], 1.4),
            "Specular IOR Level": tree.blend(wet, 0.32, 0.5),  # pores absorb a third of the dry specular reflection
            "Coat Weight": tree.span(wet, 0.75, 1.0, 0.0, 0.7),
            "Coat Roughness": 0.14,
            "Coat IOR": reflectance.IOR["water"],
            "Normal": bent,
        },
        label="Clay surface",
    )
    tree.output("Shader", "shader", tree.glimpsed(shader["BSDF"], _wetted(tree, body, wet, 0.5)))


def _mottling(tree: Tree, mm: Value, amount: Value) -> tuple[Socket, Socket]:
    """Tone factor (colour near 1) and the broad pattern 0 to 1."""
    broad = tree.node("TexNoise", {"Vector": mm, "Scale": 0.07, "Detail": 2.0, "Roughness": 0.58})["Factor"]
    fine = tree.node("TexNoise", {"Vector": mm, "Scale": 0.62, "Detail": 3.0, "Roughness": 0.65})["Factor"]
    both = tree.math("ADD", tree.math("MULTIPLY", broad, 0.5), tree.math("MULTIPLY", fine, 0.5))
    silt = tree.node("TexNoise", {"Vector": mm, "Scale": 7.0, "Detail": 1.0, "Roughness": 0.7})["Factor"]
    both = tree.math("ADD", both, tree.math("MULTIPLY_ADD", silt, 0.16, -0.08))
    pale = tree.ramp(both, [(0.30, (0.74, 0.75, 0.77)), (0.5, (1.0, 1.0, 1.0)), (0.70, (1.22, 1.20, 1.16))])
    return tree.mix(amount, (1.0, 1.0, 1.0), pale), tree.span(broad, 0.3, 0.7)


def _grog(tree: Tree, mm: Value, amount: Value, size: Value) -> tuple[dict[str, Socket], Socket]:
    """Grains in the surface, many small and few large: their coverage and tint, and the height that they add."""
    ragged = tree.node("TexNoise", {"Vector": mm, "Scale": tree.math("DIVIDE", 1.6, size), "Detail": 1.0})["Factor"]
    ragged = tree.math("MULTIPLY_ADD", ragged, 0.6, -0.3)
    large, small = _grains(tree, mm, ragged, amount, size, 0.55), _grains(tree, mm, ragged, amount, size, 1.3)
    inside = tree.math("MAXIMUM", large[0], tree.math("MULTIPLY", small[0], 0.7))
    lot = tree.mix(tree.math("GREATER_THAN", large[0], small[0]), small[1], large[1])
    tint = tree.ramp(
        lot,
        [(0.0, (0.62, 0.58, 0.53)), (0.45, (0.84, 0.79, 0.73)), (0.62, (1.14, 1.11, 1.06)), (1.0, (1.34, 1.28, 1.19))],
    )
    bump = tree.math("MULTIPLY", large[0], tree.math("SUBTRACT", large[1], 0.35))
    return {"amount": inside, "tint": tint}, bump


def _grains(tree: Tree, mm: Value, ragged: Value, amount: Value, size: Value, fine: float) -> tuple[Socket, Socket]:
    """Grains of one size class, `fine` cells in a length of `size` mm: coverage, 0 to 1, and a random number per grain."""
    cells = tree.node("TexVoronoi", {"Vector": mm, "Scale": tree.math("DIVIDE", fine, size), "Randomness": 1.0})
    lottery = tree.node("SeparateColor", {"Color": cells["Color"]})
    reach = tree.math("MULTIPLY_ADD", tree.math("POWER", lottery["Red"], 2.0), 0.36, 0.06)
    inside = tree.span(tree.math("SUBTRACT", tree.math("MULTIPLY_ADD", ragged, reach, reach), cells["Distance"]), 0.0, 0.10)
    shows = tree.math("LESS_THAN", lottery["Green"], tree.math("MULTIPLY", amount, 0.6))
    return tree.math("MULTIPLY", tree.math("MULTIPLY", inside, shows), 0.85), lottery["Blue"]


def _powdered(tree: Tree, colour: Value, mm: Value, recess: Value, dust: Value, wet: Value) -> Socket:
    up = tree.node("SeparateXYZ", {"Vector": tree.node("NewGeometry")["Normal"]})["Z"]
    lying = tree.span(up, -0.25, 0.8, 0.0, 1.0)
    cloud = tree.node("TexNoise", {"Vector": mm, "Scale": 0.9, "Detail": 2.0, "Roughness": 0.7})["Factor"]
    cover = tree.math("MULTIPLY", tree.math("MULTIPLY", recess, lying), tree.span(cloud, 0.3, 0.7, 0.3, 1.0))
    cover = tree.math("MULTIPLY", tree.math("MULTIPLY", cover, dust), tree.math("SUBTRACT", 1.0, wet))
    pale = tree.mix(0.5, colour, (0.62, 0.59, 0.54))
    return tree.mix(cover, colour, pale)


def _wetted(tree: Tree, colour: Value, wet: Value, broad: Value) -> Socket:
    """Water in the pores darkens and saturates: light is scattered more forward and absorbed more often."""
    uneven = tree.math("MULTIPLY", wet, tree.math("MULTIPLY_ADD", broad, -0.25, 1.1), clamp=True)
    dark = tree.node("Gamma", {"Color": colour, "Gamma": 1.32})["Color"]
    return tree.mix(tree.math("MULTIPLY", uneven, 0.9), colour, dark)


def _texture(
    tree: Tree, mm: Value, normal: Value, pores: Value, grog: tuple[Value, Value], invented: tuple[Value, Value]
) -> Socket:  # fmt: skip
    """The normal with the texture of a dry body: hand-made unevenness, sand, pinholes, grog, about 0.01 mm deep.

    grog: height of the grains, and their size. invented: amounts of fingerprints and of tool chatter. A bump is evaluated three
    times per ray, so that each octave here takes as long as three elsewhere.
    """
    (grain, grog_size), (prints, chatter) = grog, invented
    slow = tree.node("TexNoise", {"Vector": mm, "Scale": 0.75, "Detail": 2.0, "Roughness": 0.55})["Factor"]
    sand = tree.node("TexNoise", {"Vector": mm, "Scale": 4.5, "Detail": 2.0, "Roughness": 0.66})["Factor"]
    hole = tree.node("TexNoise", {"Vector": mm, "Scale": 2.6, "Detail": 0.0})["Factor"]
    pit = tree.span(hole, 0.70, 0.84, smooth=True)  # only the highest peaks: sparse, shallow, 0.1 mm wide
    micro = tree.math("MULTIPLY_ADD", slow, UNEVEN, tree.math("MULTIPLY_ADD", sand, SAND, tree.math("MULTIPLY", pit, -PIT)))
    stones = tree.math("MULTIPLY", tree.math("MULTIPLY", grain, grog_size), STONE)
    height = tree.math("MULTIPLY_ADD", micro, pores, stones)
    strength = tree.math("MULTIPLY_ADD", tooled(tree, normal), -BURNISHED, 1.0)
    own = tree.bump(height, strength, normal=normal)
    marks = tree.math("ADD", _fingerprints(tree, mm, prints), _chatter(tree, mm, chatter))
    return tree.bump(marks, normal=own)


def _fingerprints(tree: Tree, mm: Value, amount: Value) -> Socket:
    """Invented effect: ridges 0.45 mm apart in patches of a fingertip's size, in mm of height."""
    warped = tree.node("TexNoise", {"Vector": mm, "Scale": 0.12, "Detail": 1.0})["Color"]
    bent = tree.vector("MULTIPLY_ADD", warped, (16.0, 16.0, 16.0), mm)
    ridges = tree.node(
        "TexWave",
        {"Vector": bent, "Scale": 0.35, "Distortion": 1.0, "Detail": 1.0},
        wave_type="RINGS",
        rings_direction="SPHERICAL",
    )["Factor"]
    patch = tree.span(tree.node("TexNoise", {"Vector": mm, "Scale": 0.09, "Detail": 0.0})["Factor"], 0.55, 0.66, smooth=True)
    return tree.math("MULTIPLY", tree.math("MULTIPLY", ridges, patch), tree.math("MULTIPLY", amount, 0.03))


def _chatter(tree: Tree, mm: Value, amount: Value) -> Socket:
    """Invented effect: ripples of a tool dragged over stiff clay, in mm of height."""
    turned = tree.node("VectorRotate", {"Vector": mm, "Axis": (0.3, 1.0, 0.2), "Angle": 0.6})["Vector"]
    ripple = tree.node("TexWave", {"Vector": turned, "Scale": 0.22, "Distortion": 3.0, "Detail": 2.0, "Detail Scale": 0.4})[
        "Factor"
    ]
    patch = tree.span(tree.node("TexNoise", {"Vector": mm, "Scale": 0.06, "Detail": 1.0})["Factor"], 0.42, 0.56, smooth=True)
    return tree.math("MULTIPLY", tree.math("MULTIPLY", ripple, patch), tree.math("MULTIPLY", amount, 0.12))


def _values(settings: Any) -> Values:
    body = reflectance.CLAY_BODIES[settings.clay_body]
    colour = settings.clay_colour or (body.fired if settings.clay_state == "fired" else body.dry)
    return {
        "Body Colour": reflectance.held(colour),
        "Wetness": reflectance.CLAY_STATES[settings.clay_state],
        "Grog": body.grog if settings.grog is None else settings.grog,
        "Grog Size": body.grog_mm,
        "Dust": settings.dust if settings.clay_state == "dry" else 0.4 * settings.dust,
        "Crevice Wash": settings.crevice_wash,
        "Handling Wear": settings.handling_wear,
        "Invented Fingerprints": settings.fingerprints,
        "Invented Tool Chatter": settings.tool_chatter,
    }


STATES = {"wet": "wet", "leather": "leather-hard", "dry": "bone-dry", "fired": "fired"}

RECIPE = Recipe(
    clay_group,
    _values,
    lambda settings: f"{STATES[settings.clay_state]} {label_of(reflectance.CLAY_BODIES[settings.clay_body])}",
    variety="clay_body",
    varieties=reflectance.CLAY_BODIES,
    state="clay_state",
    samples=(
        ("Stoneware, bone-dry", {"clay_body": "stoneware", "clay_state": "dry"}),
        ("Grey clay, leather-hard", {"clay_body": "grey", "clay_state": "leather"}),
        ("Sculpture clay, wet", {"clay_body": "crank", "clay_state": "wet"}),
        ("Terracotta, fired", {"clay_body": "terracotta", "clay_state": "fired"}),
        ("Porcelain, fired", {"clay_body": "porcelain", "clay_state": "fired"}),
    ),
)
