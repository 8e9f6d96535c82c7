"""The materials of props by name: wood, lacquer, metal, glaze, wax and others; scales in mm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ...core.arrays import Floats
from ...core.colour import lab
from ...core.srgb import luminance
from ...core.surface.reflectance import METALS as BARE
from ..meshes import METRES
from .builder import Socket, Tree, Value, make_group
from .relief import millimetres

if TYPE_CHECKING:
    import bpy

WOODS = {
    "beech": ((0.46, 0.30, 0.19), (0.33, 0.19, 0.11)), "walnut": ((0.17, 0.10, 0.062), (0.075, 0.042, 0.026)),
    "boxwood": ((0.55, 0.39, 0.20), (0.42, 0.27, 0.12)), "bare wood": ((0.52, 0.34, 0.20), (0.36, 0.21, 0.11)),
}  # fmt: skip
"""Albedos of early and late wood; set by eye."""
LACQUERS = {
    "red lacquer": (0.28, 0.022, 0.018), "black lacquer": (0.018, 0.018, 0.02), "yellow lacquer": (0.55, 0.31, 0.035),
    "green lacquer": (0.028, 0.12, 0.062), "worn paint": (0.10, 0.155, 0.18),
}  # fmt: skip
"""Albedos; set by eye."""
OXIDE = (0.78, 0.70, 0.55)
"""Factor on brass's reflectance for the oxide film of handled brass. Set by eye."""
METALS = {
    "steel": (BARE["iron"][1], 0.36), "brass": (tuple(a * b for a, b in zip(BARE["brass"][1], OXIDE, strict=True)), 0.24),
}  # fmt: skip
"""Reflectance, from the measured constants in `core/surface/reflectance.py`, and roughness."""
GLAZES = {
    "celadon glaze": ((0.30, 0.38, 0.30), (0.16, 0.24, 0.19)), "blue glaze": ((0.055, 0.10, 0.19), (0.02, 0.035, 0.08)),
    "brown glaze": ((0.13, 0.062, 0.028), (0.03, 0.014, 0.008)), "white glaze": ((0.66, 0.63, 0.56), (0.48, 0.42, 0.34)),
}  # fmt: skip
"""Two albedos that each shifts between; set by eye."""
WAXES = {"red wax": ((0.36, 0.045, 0.03), (0.28, 0.03, 0.022)), "brown wax": ((0.14, 0.066, 0.034), (0.10, 0.046, 0.024))}
"""Albedos in thick and thin places; set by eye."""
MATT = {
    "rubber": ((0.035, 0.036, 0.038), (0.055, 0.055, 0.056), 0.55, 9.0, 0.02),
    "plaster": ((0.66, 0.64, 0.60), (0.60, 0.575, 0.53), 0.9, 3.0, 0.05),
    "white tile": ((0.68, 0.675, 0.655), (0.655, 0.645, 0.62), 0.14, 24.0, 0.01),
    "cotton": ((0.80, 0.79, 0.76), (0.72, 0.71, 0.68), 1.0, 0.7, 0.25),
    "bone": ((0.66, 0.59, 0.46), (0.57, 0.49, 0.35), 0.4, 5.0, 0.01),
    "white card": ((0.70, 0.69, 0.66), (0.66, 0.645, 0.61), 0.8, 12.0, 0.01),
    "black paint": ((0.03, 0.03, 0.031), (0.04, 0.04, 0.04), 0.45, 3.0, 0.02),
    "grey paint": ((0.24, 0.24, 0.235), (0.20, 0.20, 0.197), 0.45, 3.0, 0.05),
    "brown paint": ((0.15, 0.09, 0.055), (0.11, 0.065, 0.04), 0.45, 3.0, 0.05),
}
"""Plain surfaces: two albedos between which they vary, roughness, size of the variation in mm, height of the relief in mm."""


def prop_group(name: str) -> bpy.types.NodeTree:
    """The node group, with a Shader output, of a prop's material. Raises KeyError for an unknown name."""
    for table, build in (
        (WOODS, _wood), (LACQUERS, _lacquer), (METALS, _metal), (GLAZES, _glaze), (WAXES, _wax), (MATT, _matt),
    ):  # fmt: skip
        if name in table:
            return make_group(name.capitalize(), lambda tree, build=build, values=table[name]: build(tree, values))  # type: ignore[misc]
    plain = {
        "bristle": _bristle, "graphite": _graphite, "sponge": _sponge, "stoneware": _stoneware, "string": _string,
        "rule": _rule, "cork": _cork,
    }  # fmt: skip
    return make_group(name.capitalize(), plain[name])


COLOURS = {
    "bristle": (0.14, 0.09, 0.05), "graphite": (0.05, 0.05, 0.055), "sponge": (0.43, 0.27, 0.10),
    "stoneware": (0.34, 0.24, 0.16), "string": (0.49, 0.385, 0.24), "rule": (0.5, 0.49, 0.47), "clay": (0.28, 0.255, 0.22),
    "cork": (0.34, 0.21, 0.11),
}  # fmt: skip
"""Mean albedo of the materials with a builder of their own."""


ANY_CHROMA = 1000.0
"""A limit above the chroma of any surface."""


def prop_chroma(name: str) -> float:
    """Chroma C* (CIE L*a*b*) of a prop's material. Raises KeyError for an unknown name."""
    return _chroma(_mean_colour(name))


LOUDER = {"string": 1.6, **dict.fromkeys((*WOODS, "cork"), 0.85)}
"""How many times stronger the colour looks than that of a flat surface, where light goes from strand to strand (on our own
bench); less than 1 for wood and cork, which look like bone and concrete without their colour. By eye."""


def greyed_to(name: str, chroma: float, tint: Sequence[float], *, left: float = 1.0) -> float:
    """How far, 0 to 1, to mix a prop's colour with a tint (3,) of luminance 1, so that its chroma C* is at most `chroma`.

    left: the factor on its reflectance; what is darker has less chroma, and keeps more of its colour.
    """
    colour = left * _mean_colour(name)
    dusty = float(luminance(colour)) * np.asarray(tint, float)
    shares = np.linspace(0.0, 1.0, 41)
    found = np.array([_chroma((1.0 - share) * colour + share * dusty) for share in shares])
    quiet = np.flatnonzero(found * LOUDER.get(name, 1.0) <= chroma)
    return float(shares[quiet[0]] if len(quiet) else shares[int(found.argmin())])


LEAST_LEFT = 0.45
"""Smallest factor on a prop's reflectance: with less, plaster looks like another material (by eye)."""


HANDLED = {"beech": 0.13, "boxwood": 0.16, "cork": 0.15}
"""Largest luminance of what hands have darkened beside a piece: new wood that was greyed looks bleached. Set by eye."""


def dimmed_to(name: str, limit: float) -> float:
    """The factor on a prop's reflectance, `LEAST_LEFT` to 1, so that its mean luminance does not exceed a limit, nor that of
    handled wood where there is a limit.

    1 for metals, whose brightness depends on what they reflect.
    """
    if name in METALS or limit >= 1.0:
        return 1.0
    limit = min(limit, HANDLED.get(name, limit))
    return float(np.clip(limit / max(float(luminance(_mean_colour(name))), 1e-6), LEAST_LEFT, 1.0))


def _mean_colour(name: str) -> Floats:
    pairs: dict[str, object] = {**WOODS, **GLAZES, **WAXES, **{key: value[:2] for key, value in MATT.items()}}
    if name in pairs:
        return 0.5 * (np.array(pairs[name][0]) + np.array(pairs[name][1]))
    single = {**LACQUERS, **{key: value[0] for key, value in METALS.items()}, **COLOURS}
    return np.array(single[name])


def _chroma(colour: Floats) -> float:
    return float(np.hypot(*lab(colour)[1:]))


def _finish(tree: Tree, **inputs: Value) -> None:
    named = {key.replace("_", " "): value for key, value in inputs.items()}
    greyed = tree.input(
        "Greyed", "float", 0.0, help="How far the colour is drawn to the tint of the work's dust, as light as it is"
    )
    tint = tree.input("Grey", "colour", (1.0, 1.0, 1.0), help="The tint, of luminance 1")
    colour = named["Base Color"]
    dusty = tree.mix(1.0, tree.grey(tree.node("RGBToBW", {"Color": colour})["Val"]), tint, blend="MULTIPLY")
    dimmed = tree.input("Dimmed", "float", 1.0, help="What is left of its reflectance, as where it is soiled")
    named["Base Color"] = tree.mix(1.0, tree.mix(greyed, colour, dusty), tree.grey(dimmed), blend="MULTIPLY")
    tree.output("Shader", "shader", tree.node("BsdfPrincipled", named)["BSDF"])


def _soiled(tree: Tree, colour: Value, mm: Value, amount: float) -> tuple[Socket, Socket]:
    """Dry slip on a tool: the colour with it, and its coverage: a haze, wiped along the tool, and in it deposits that thin out
    to nothing, as a film does that dries; neither has an edge.
    """
    wiped = tree.noise(tree.vector("MULTIPLY", mm, (0.3, 1.0, 1.0)), 0.085, 4.0, 0.6)
    grain = tree.noise(mm, 1.5, 4.0, 0.72)
    soiled = tree.input("Soiled", "float", 1.0, help="How much dry slip is left on it")
    haze = tree.math("MULTIPLY", tree.span(wiped, 0.40, 0.72, 0.0, 0.42, smooth=True), tree.span(grain, 0.25, 0.75, 0.55, 1.0))
    left = tree.span(tree.math("ADD", wiped, tree.math("MULTIPLY", grain, 0.3)), 0.66, 1.02, smooth=True)
    cover = tree.math("MULTIPLY", tree.math("MAXIMUM", haze, left), tree.math("MULTIPLY", soiled, amount))
    return tree.mix(cover, colour, (0.40, 0.37, 0.33)), cover


def _fibres(tree: Tree, mm: Value, pale: Value, dark: Value) -> tuple[Socket, Socket]:
    """Wood with grain along x, from a log larger than the prop: colour and fibre."""
    drawn = tree.vector("MULTIPLY", mm, (0.035, 1.0, 1.0))
    warped = tree.vector(
        "MULTIPLY_ADD", tree.node("TexNoise", {"Vector": drawn, "Scale": 0.25, "Detail": 2.0})["Color"], (4.0, 4.0, 4.0), drawn
    )
    parts = tree.node("SeparateXYZ", {"Vector": warped})
    ring = tree.math("FRACT", tree.math("MULTIPLY", tree.math("ADD", parts["Y"], tree.math("MULTIPLY", parts["Z"], 0.6)), 0.55))
    late = tree.math("POWER", ring, 2.4)
    fibre = tree.noise(tree.vector("MULTIPLY", mm, (0.05, 2.6, 2.6)), 1.0, 4.0)
    colour = tree.mix(tree.math("MULTIPLY", late, 0.5), pale, dark)
    return tree.mix(tree.span(fibre, 0.35, 0.7, 0.0, 0.45), colour, dark), fibre


def _wood(tree: Tree, values: Any) -> None:
    mm = millimetres(tree)
    colour, fibre = _fibres(tree, mm, (*values[0], 1.0), (*values[1], 1.0))
    handled = tree.noise(mm, 0.028, 3.0)
    colour = tree.mix(
        tree.span(handled, 0.42, 0.66, 0.0, 0.45), colour, tree.mix(1.0, colour, (0.5, 0.42, 0.36), blend="MULTIPLY")
    )
    colour, cover = _soiled(tree, colour, mm, 0.75)
    rough = tree.blend(cover, tree.math("MULTIPLY_ADD", fibre, 0.25, 0.38), 0.9)
    _finish(
        tree,
        Base_Color=colour,
        Roughness=rough,
        Specular_IOR_Level=0.45,
        Normal=tree.bump(tree.math("MULTIPLY", fibre, 0.03)),
    )


def _lacquer(tree: Tree, values: Any) -> None:
    mm = millimetres(tree)
    wood, fibre = _fibres(tree, mm, (*WOODS["beech"][0], 1.0), (*WOODS["beech"][1], 1.0))
    chip = tree.noise(mm, 0.16, 6.0, 0.72)
    bare = tree.span(chip, 0.635, 0.65)
    colour = tree.mix(bare, (*values, 1.0), wood)
    colour, cover = _soiled(tree, colour, mm, 0.8)
    rough = tree.blend(tree.math("MAXIMUM", bare, cover), tree.math("MULTIPLY_ADD", chip, 0.3, 0.12), 0.75)
    height = tree.math("SUBTRACT", tree.math("MULTIPLY", fibre, 0.015), tree.math("MULTIPLY", bare, 0.06))
    _finish(tree, Base_Color=colour, Roughness=rough, Specular_IOR_Level=0.5, Normal=tree.bump(height))


def _metal(tree: Tree, values: Any) -> None:
    mm = millimetres(tree)
    streak = tree.noise(tree.vector("MULTIPLY", mm, (0.08, 3.0, 3.0)), 1.0, 4.0)
    stain = tree.noise(mm, 0.12, 6.0, 0.7)
    dull = tree.span(stain, 0.5, 0.68)
    colour = tree.mix(tree.math("MULTIPLY", dull, 0.55), (*values[0], 1.0), tuple(0.42 * part for part in values[0]))
    colour, cover = _soiled(tree, colour, mm, 0.4)
    rough = tree.math("ADD", tree.math("MULTIPLY_ADD", streak, 0.25, values[1] - 0.14), tree.math("MULTIPLY", dull, 0.2))
    _finish(
        tree, Base_Color=colour, Metallic=tree.math("SUBTRACT", 1.0, cover), Roughness=tree.blend(cover, rough, 0.9),
        Normal=tree.bump(tree.math("MULTIPLY", streak, 0.004)),
    )  # fmt: skip


def _rule(tree: Tree) -> None:
    mm = millimetres(tree)
    parts = tree.node("SeparateXYZ", {"Vector": mm})
    streak = tree.noise(tree.vector("MULTIPLY", mm, (0.05, 2.2, 2.2)), 1.0, 4.0)
    stain = tree.noise(mm, 0.06, 5.0, 0.7)
    x = tree.math("ADD", parts["X"], 75.0)
    edge = tree.math("SUBTRACT", 9.5, tree.math("ABSOLUTE", parts["Y"]))
    mark: Value = 0.0
    for every, deep, wide in ((1.0, 2.8, 0.17), (5.0, 4.2, 0.19), (10.0, 6.0, 0.23)):
        share = tree.math("DIVIDE", x, every)
        off = tree.math("MULTIPLY", tree.math("ABSOLUTE", tree.math("SUBTRACT", share, tree.math("ROUND", share))), every)
        line = tree.math(
            "MULTIPLY", tree.span(off, 0.5 * wide, 0.5 * wide + 0.05, 1.0, 0.0), tree.math("LESS_THAN", edge, deep)
        )
        mark = tree.math("MAXIMUM", mark, line)
    inside = tree.math("MULTIPLY", tree.math("GREATER_THAN", x, -0.2), tree.math("LESS_THAN", x, 150.2))
    mark = tree.math("MULTIPLY", tree.math("MULTIPLY", mark, inside), tree.math("GREATER_THAN", parts["Z"], 0.5))
    colour = tree.mix(tree.span(stain, 0.5, 0.7, 0.0, 0.25), (0.62, 0.61, 0.59, 1.0), (0.34, 0.32, 0.30))
    colour = tree.mix(tree.math("MULTIPLY", mark, 0.92), colour, (0.02, 0.02, 0.02))
    colour, cover = _soiled(tree, colour, mm, 0.25)
    metal = tree.math("SUBTRACT", 1.0, tree.math("MAXIMUM", cover, mark))
    rough = tree.math("ADD", tree.math("MULTIPLY_ADD", streak, 0.3, 0.14), tree.math("MULTIPLY", cover, 0.5))
    height = tree.math("SUBTRACT", tree.math("MULTIPLY", streak, 0.003), tree.math("MULTIPLY", mark, 0.03))
    _finish(tree, Base_Color=colour, Metallic=metal, Roughness=rough, Normal=tree.bump(height))


def _bristle(tree: Tree) -> None:
    mm = millimetres(tree)
    hair = tree.noise(tree.vector("MULTIPLY", mm, (0.05, 5.0, 5.0)), 1.0, 3.0)
    colour = tree.mix(tree.span(hair, 0.3, 0.7), (0.05, 0.028, 0.015, 1.0), (0.24, 0.15, 0.08))
    colour, _ = _soiled(tree, colour, mm, 0.9)
    _finish(tree, Base_Color=colour, Roughness=0.55, Normal=tree.bump(tree.math("MULTIPLY", hair, 0.22)))


def _graphite(tree: Tree) -> None:
    _finish(tree, Base_Color=(0.05, 0.05, 0.055, 1.0), Roughness=0.38, Specular_IOR_Level=0.8)


def _sponge(tree: Tree) -> None:
    mm = millimetres(tree)
    cells = tree.node("TexVoronoi", {"Vector": mm, "Scale": 0.75, "Randomness": 1.0})["Distance"]
    hole = tree.span(cells, 0.18, 0.5, 1.0, 0.0, smooth=True)
    patch = tree.noise(mm, 0.05, 4.0)
    colour = tree.mix(tree.span(patch, 0.35, 0.68), (0.52, 0.33, 0.11, 1.0), (0.34, 0.22, 0.10))
    colour = tree.mix(tree.math("MULTIPLY", hole, 0.7), colour, (0.10, 0.055, 0.02))
    colour, _ = _soiled(tree, colour, mm, 0.7)
    _finish(
        tree, Base_Color=colour, Roughness=0.95, Specular_IOR_Level=0.1, Normal=tree.bump(tree.math("MULTIPLY", hole, -0.7))
    )


def _cork(tree: Tree) -> None:
    """Cork: grains of a millimetre, and the dark channels through the bark, cut across and along."""
    mm = millimetres(tree)
    cells = tree.node("TexVoronoi", {"Vector": mm, "Scale": 0.9, "Randomness": 1.0})["Color"]
    grain = tree.node("SeparateColor", {"Color": cells})["Red"]
    tone = tree.math("ADD", tree.noise(mm, 0.35, 5.0), tree.math("MULTIPLY", grain, 0.2))
    colour = tree.mix(tree.span(tone, 0.4, 0.8), (0.42, 0.27, 0.145, 1.0), (0.29, 0.17, 0.085))
    channel = tree.noise(tree.vector("MULTIPLY", mm, (0.16, 0.5, 0.5)), 1.0, 3.0, 0.65)
    hollow = tree.span(channel, 0.60, 0.70, smooth=True)
    colour = tree.mix(tree.math("MULTIPLY", hollow, 0.75), colour, (0.085, 0.045, 0.022))
    height = tree.math("SUBTRACT", tree.math("MULTIPLY", tone, 0.12), tree.math("MULTIPLY", hollow, 0.5))
    _finish(tree, Base_Color=colour, Roughness=0.85, Specular_IOR_Level=0.3, Normal=tree.bump(height))


def _stoneware(tree: Tree) -> None:
    mm = millimetres(tree)
    speck = tree.span(tree.noise(mm, 1.4, 2.0), 0.64, 0.70)
    tone = tree.noise(mm, 0.2, 4.0)
    colour = tree.mix(tone, (0.30, 0.20, 0.125, 1.0), (0.38, 0.275, 0.19))
    colour = tree.mix(tree.math("MULTIPLY", speck, 0.7), colour, (0.06, 0.04, 0.03))
    _finish(tree, Base_Color=colour, Roughness=0.85, Normal=tree.bump(tree.math("MULTIPLY", tone, 0.1)))


def _glaze(tree: Tree, values: Any) -> None:
    """Glaze over stoneware: pale or brown where it is thin, dark where it pooled."""
    mm = millimetres(tree)
    run = tree.noise(tree.vector("MULTIPLY", mm, (1.0, 1.0, 0.25)), 0.09, 5.0)
    speck = tree.span(tree.noise(mm, 0.9, 2.0), 0.66, 0.72)
    colour = tree.mix(tree.span(run, 0.32, 0.68), (*values[0], 1.0), values[1])
    colour = tree.mix(tree.math("MULTIPLY", speck, 0.6), colour, (0.05, 0.03, 0.02))
    _finish(
        tree, Base_Color=colour, Roughness=tree.math("MULTIPLY_ADD", run, 0.15, 0.06), IOR=1.55, Coat_Weight=0.5,
        Coat_Roughness=0.05,
        Normal=tree.bump(tree.math("MULTIPLY", run, 0.5)),
    )  # fmt: skip


def _string(tree: Tree) -> None:
    mm = millimetres(tree)
    fuzz = tree.noise(mm, 3.2, 4.0, 0.7)
    colour = tree.mix(tree.noise(mm, 0.1, 3.0), (0.56, 0.45, 0.29, 1.0), (0.42, 0.32, 0.19))
    colour = tree.mix(1.0, colour, tree.grey(tree.span(fuzz, 0.25, 0.75, 0.72, 1.12)), blend="MULTIPLY")
    _finish(
        tree, Base_Color=colour, Roughness=0.95, Specular_IOR_Level=0.15, Normal=tree.bump(tree.math("MULTIPLY", fuzz, 0.15))
    )


def _wax(tree: Tree, values: Any) -> None:
    """Solid wax: slightly translucent, with a soft and dusty surface."""
    mm = millimetres(tree)
    cloud = tree.noise(mm, 0.12, 5.0)
    colour = tree.mix(cloud, (*values[0], 1.0), values[1])
    colour, _ = _soiled(tree, colour, mm, 0.35)
    _finish(
        tree, Base_Color=colour, Roughness=tree.math("MULTIPLY_ADD", cloud, 0.2, 0.34), Subsurface_Weight=0.4,
        Subsurface_Radius=(1.0, 0.4, 0.25), Subsurface_Scale=METRES, Normal=tree.bump(tree.math("MULTIPLY", cloud, 0.08)),
    )  # fmt: skip


def _matt(tree: Tree, values: Any) -> None:
    """A plain, slightly uneven surface."""
    first, second, rough, size, height = values
    mm = millimetres(tree)
    uneven = tree.noise(mm, 1.0 / size, 5.0)
    _finish(
        tree, Base_Color=tree.mix(tree.span(uneven, 0.3, 0.7), (*first, 1.0), second), Roughness=rough,
        Specular_IOR_Level=0.3, Normal=tree.bump(tree.math("MULTIPLY", uneven, height)),
    )  # fmt: skip
