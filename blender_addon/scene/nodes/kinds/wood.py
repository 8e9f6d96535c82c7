"""Wood: rings round a pith, fibres, pores and rays in mm, and end grain.

The pattern is a solid texture that runs through the piece as through a block, so that carved faces show the right grain.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ....core.surface import reflectance
from ..builder import Socket, Tree, Value, make_group
from ..kind import Recipe, Values, label_of

if TYPE_CHECKING:
    import bpy


def wood_group() -> bpy.types.NodeTree:
    """The node group of wood."""
    return make_group("Wood", _wood)


def _wood(tree: Tree) -> None:
    early = tree.input("Early Wood", "colour", (0.33, 0.20, 0.11), help="Albedo of the wood grown in spring, linear")
    late = tree.input("Late Wood", "colour", (0.20, 0.11, 0.055), help="Albedo of the denser wood grown in summer, linear")
    width = tree.input("Ring Width", "float", 2.0, low=0.2, high=20.0, help="Mean width of a year's ring, mm")
    sharp = tree.input("Ring Contrast", "float", 0.6, help="How hard the late wood ends")
    pores = tree.input("Pores", "float", 0.5, help="How many open pores show")
    pore_size = tree.input("Pore Size", "float", 0.2, low=0.02, high=1.0, help="Diameter of the largest pores, mm")
    porous = tree.input("Ring Porous", "float", 0.5, help="0: pores everywhere, 1: pores in the early wood alone")
    rays = tree.input("Rays", "float", 0.3, help="Flecks of the rays on a quartered face")
    ray_size = tree.input("Ray Size", "float", 3.0, low=0.3, high=30.0, help="Height of the rays along the grain, mm")
    oil = tree.input("Oil", "float", 0.0, help="Oiled: deeper colour, a soft sheen")
    varnish = tree.input("Varnish", "float", 0.0, help="A clear film of varnish")
    tilt = tree.input("Grain Turn", "vector", (0.06, 0.04, 0.0), help="Turn of the grain from upright, radians")
    pith = tree.input("Pith", "vector", (38.0, 55.0, 0.0), help="Where the middle of the tree was, mm from the piece's axis")
    wear = tree.input("Handling Wear", "float", 0.0, help="An effect: edges darkened and polished by handling")
    wash = tree.input("Crevice Wash", "float", 0.0, help="An effect: dirt and old wax in recesses")
    mm = tree.input("Position", "vector", help="Position on the piece in mm")
    normal = tree.input("Normal", "vector", help="Normal of the surface with its relief")
    recess = tree.input("Recess", "float", 0.0, help="0 to 1 in recesses")
    raised = tree.input("Raised", "float", 0.0, help="0 to 1 on raised parts")

    log, radius, end = _log(tree, mm, pith, tilt)
    season, broad = _rings(tree, log, radius, width, sharp)
    fibre = _fibre(tree, log)
    pore = _pores(tree, log, pores, pore_size, season, porous)
    fleck = _rays(tree, log, rays, ray_size)

    colour = tree.mix(season, early, late)
    colour = tree.mix(1.0, colour, tree.ramp(fibre, [(0.3, (0.86, 0.85, 0.83)), (0.7, (1.12, 1.12, 1.12))]), blend="MULTIPLY")
    colour = tree.mix(1.0, colour, tree.ramp(broad, [(0.3, (0.84, 0.80, 0.76)), (0.7, (1.14, 1.14, 1.15))]), blend="MULTIPLY")
    colour = tree.mix(tree.math("MULTIPLY", fleck, 0.4), colour, tree.mix(0.5, early, (0.55, 0.42, 0.28)))
    colour = tree.mix(tree.math("MULTIPLY", pore, 0.55), colour, tree.mix(1.0, late, (0.48, 0.43, 0.38), blend="MULTIPLY"))
    drinks = tree.math("MULTIPLY", end, tree.blend(oil, 0.38, 0.62))  # end grain absorbs finish and looks darker
    colour = tree.mix(drinks, colour, tree.mix(1.0, colour, (0.50, 0.45, 0.40), blend="MULTIPLY"))
    finish = tree.math("MAXIMUM", oil, varnish)
    colour = tree.mix(finish, colour, tree.node("Gamma", {"Color": colour, "Gamma": 1.22})["Color"])
    colour = tree.mix(tree.math("MULTIPLY", tree.math("MULTIPLY", wash, recess), 0.85), colour, (0.035, 0.022, 0.014))
    rubbed = tree.math("MULTIPLY", wear, raised)
    colour = tree.mix(tree.math("MULTIPLY", rubbed, 0.3), colour, (0.9, 0.86, 0.8), blend="SOFT_LIGHT")

    rough = tree.math("MULTIPLY_ADD", fibre, 0.3, 0.47)
    rough = tree.math("SUBTRACT", rough, tree.math("MULTIPLY_ADD", oil, 0.17, tree.math("MULTIPLY", rubbed, 0.15)))
    rough = tree.math("ADD", rough, tree.math("MULTIPLY", pore, 0.2))
    depth = tree.math("MULTIPLY", tree.math("MULTIPLY", pore, pore_size), -0.15)  # more looks like worm holes
    depth = tree.math("ADD", depth, tree.math("MULTIPLY", fibre, 0.010))
    depth = tree.math(
        "ADD", depth, tree.math("MULTIPLY", season, tree.blend(varnish, 0.004, 0.001))
    )  # set by eye: more looks like terraces
    bent = tree.bump(depth, normal=normal)
    shader = tree.node(
        "BsdfPrincipled",
        {
            "Base Color": colour, "Roughness": rough, "Diffuse Roughness": 0.5,
            "IOR": reflectance.IOR["wood"], "Specular IOR Level": 0.45,
            "Coat Weight": varnish, "Coat Roughness": 0.10, "Coat IOR": reflectance.IOR["varnish"],
            "Coat Normal": normal, "Normal": bent,
        },
        label="Wood surface",
    )  # fmt: skip
    tree.output("Shader", "shader", shader["BSDF"])


def _log(tree: Tree, mm: Value, pith: Value, tilt: Value) -> tuple[Socket, Socket, Socket]:
    """Position in a slightly irregular log (mm, z along the grain), distance from its pith in mm, end grain 0 to 1."""
    turned = tree.node("VectorRotate", {"Vector": mm, "Rotation": tilt}, rotation_type="EULER_XYZ")["Vector"]
    slow = tree.vector("MULTIPLY", turned, (0.022, 0.022, 0.009))
    wander = tree.node("TexNoise", {"Vector": slow, "Scale": 1.0, "Detail": 2.0, "Roughness": 0.5})["Color"]
    wander = tree.vector("MULTIPLY_ADD", wander, (9.0, 9.0, 6.0), (-4.5, -4.5, -3.0))
    log = tree.vector("ADD", tree.vector("ADD", turned, pith), wander)
    flat = tree.vector("MULTIPLY", log, (1.0, 1.0, 0.0))
    along = tree.node("VectorRotate", {"Vector": tree.node("TexCoord")["Normal"], "Rotation": tilt}, rotation_type="EULER_XYZ")
    across = tree.math("ABSOLUTE", tree.node("SeparateXYZ", {"Vector": along["Vector"]})["Z"])
    return log, tree.vector("LENGTH", flat), tree.span(across, 0.55, 0.95, smooth=True)


def _rings(tree: Tree, log: Value, radius: Value, width: Value, sharp: Value) -> tuple[Socket, Socket]:
    """The season, from 0 in earlywood to 1 in latewood, with rings of varying width; and a broad variation of tone."""
    years = tree.math("DIVIDE", radius, width)
    good = tree.node("TexNoise", {"W": years, "Scale": 0.35, "Detail": 2.0}, noise_dimensions="1D")["Factor"]
    ragged = tree.node("TexNoise", {"Vector": tree.vector("MULTIPLY", log, (0.5, 0.5, 0.06)), "Scale": 1.0, "Detail": 3.0})[
        "Factor"
    ]
    years = tree.math("ADD", years, tree.math("MULTIPLY", good, 2.6))
    years = tree.math("ADD", years, tree.math("MULTIPLY", ragged, 0.28))
    part = tree.math("FRACT", years)
    rise = tree.math("POWER", part, tree.blend(sharp, 1.3, 3.2))
    fall = tree.span(part, 0.93, 1.0, 1.0, 0.0, smooth=True)  # the next earlywood begins abruptly, but not in a step
    vigour = tree.node("TexNoise", {"W": tree.math("FLOOR", years), "Scale": 1.7}, noise_dimensions="1D")["Factor"]
    season = tree.math("MULTIPLY", tree.math("MULTIPLY", rise, fall), tree.span(vigour, 0.3, 0.7, 0.45, 1.0))
    broad = tree.node("TexNoise", {"Vector": tree.vector("MULTIPLY", log, (0.06, 0.06, 0.012)), "Scale": 1.0, "Detail": 3.0})[
        "Factor"
    ]
    return season, broad


def _fibre(tree: Tree, log: Value) -> Socket:
    return tree.node(
        "TexNoise", {"Vector": tree.vector("MULTIPLY", log, (5.0, 5.0, 0.16)), "Scale": 1.0, "Detail": 4.0, "Roughness": 0.62}
    )["Factor"]


def _pores(tree: Tree, log: Value, amount: Value, size: Value, season: Value, porous: Value) -> Socket:
    """Vessels, 0 to 1: dots on the end grain, fine lines of some mm on a long face; a few of the largest, many half as wide."""
    open_here = tree.blend(porous, 1.0, tree.span(season, 0.01, 0.14, 1.3, 0.05))  # the vessels of earlywood are dense
    wanted = tree.math("MULTIPLY", amount, open_here)
    tubes = tree.vector("MULTIPLY", log, (1.0, 1.0, 0.012))
    found = []
    for finer, share, strength in ((1.0, 0.7, 1.0), (2.1, 1.0, 0.6)):
        cells = tree.node("TexVoronoi", {"Vector": tubes, "Scale": tree.math("DIVIDE", 0.5 * finer, size), "Randomness": 1.0})
        lottery = tree.node("SeparateColor", {"Color": cells["Color"]})
        shows = tree.math("LESS_THAN", lottery["Red"], tree.math("MULTIPLY", wanted, share))
        bore = tree.math("MULTIPLY_ADD", lottery["Green"], 0.13, 0.12)  # at most half of `size`
        edge = tree.span(tree.math("SUBTRACT", bore, cells["Distance"]), -0.04, 0.14, to_high=strength)
        found.append(tree.math("MULTIPLY", edge, shows))
    return tree.math("MAXIMUM", *found)


def _rays(tree: Tree, log: Value, amount: Value, size: Value) -> Socket:
    """Rays, 0 to 1: sheets of cells from pith to bark, visible as flecks where the cut is parallel to them."""
    parts = tree.node("SeparateXYZ", {"Vector": log})
    turn = tree.math("ARCTAN2", parts["Y"], parts["X"])
    out = tree.vector("LENGTH", tree.vector("MULTIPLY", log, (1.0, 1.0, 0.0)))
    sheet = tree.node("CombineXYZ", {
        "X": tree.math("MULTIPLY", turn, 160.0),  # about one per 0.4 mm at 60 mm from the pith
        "Y": tree.math("MULTIPLY", out, 0.11),
        "Z": tree.math("DIVIDE", parts["Z"], size),
    })["Vector"]  # fmt: skip
    cells = tree.node("TexVoronoi", {"Vector": sheet, "Scale": 1.0, "Randomness": 1.0})
    lottery = tree.node("SeparateColor", {"Color": cells["Color"]})
    shows = tree.math("LESS_THAN", lottery["Red"], tree.math("MULTIPLY", amount, 0.55))
    return tree.math("MULTIPLY", tree.span(cells["Distance"], 0.12, 0.38, 1.0, 0.0, smooth=True), shows)


def _values(settings: Any) -> Values:
    species = reflectance.WOODS[settings.wood_species]
    return {
        "Early Wood": species.early,
        "Late Wood": species.late,
        "Ring Width": settings.ring_width or species.ring_mm,
        "Ring Contrast": species.contrast,
        "Pores": species.pores,
        "Pore Size": species.pore_mm,
        "Ring Porous": species.ring_porous,
        "Rays": species.rays,
        "Ray Size": species.ray_mm,
        "Oil": 1.0 if settings.wood_finish == "oiled" else 0.0,
        "Varnish": 1.0 if settings.wood_finish == "varnished" else 0.0,
        "Crevice Wash": settings.crevice_wash,
        "Handling Wear": settings.handling_wear,
    }


RECIPE = Recipe(
    wood_group,
    _values,
    lambda settings: f"{settings.wood_finish} {label_of(reflectance.WOODS[settings.wood_species])}",
    variety="wood_species",
    varieties=reflectance.WOODS,
    samples=(
        ("Walnut, oiled", {"wood_species": "walnut", "wood_finish": "oiled"}),
        ("Oak, raw", {"wood_species": "oak", "wood_finish": "raw"}),
    ),
)
