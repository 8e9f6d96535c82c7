"""How much light do the materials reflect? Diffuse albedos, reflectances of metals, and indices of refraction.

All albedos are linear Rec. 709. tests/outside/test_colour.py holds those of clay, wood, plaster, sandstone and slate to
published bands of luminance; within a band, and where it names none, the colours are ours, from memory of the materials.
"""

from __future__ import annotations

import numpy as np

from ..records import record

Colour = tuple[float, float, float]


@record
class ClayBody:
    """A clay body: albedo bone-dry and fired unglazed; how much grog it shows and its largest grain in mm."""

    label: str
    dry: Colour
    fired: Colour
    grog: float
    grog_mm: float


@record
class WoodSpecies:
    """A wood: albedo of early and late wood, ring width in mm, pores (share, mm, how ring-porous), rays (share, mm)."""

    label: str
    early: Colour
    late: Colour
    ring_mm: float
    contrast: float
    pores: float
    pore_mm: float
    ring_porous: float
    rays: float
    ray_mm: float


CLAY_BODIES = {
    "stoneware": ClayBody("Stoneware", (0.315, 0.262, 0.198), (0.330, 0.255, 0.175), 0.45, 0.40),
    "terracotta": ClayBody("Terracotta", (0.335, 0.205, 0.138), (0.420, 0.178, 0.092), 0.30, 0.35),
    "porcelain": ClayBody("Porcelain", (0.640, 0.620, 0.575), (0.760, 0.745, 0.700), 0.00, 0.10),
    "grey": ClayBody("Grey modelling clay", (0.240, 0.222, 0.195), (0.330, 0.290, 0.235), 0.12, 0.25),
    "crank": ClayBody("Grogged sculpture clay", (0.330, 0.280, 0.215), (0.380, 0.300, 0.205), 0.90, 0.90),
    "black": ClayBody("Black stoneware", (0.110, 0.094, 0.080), (0.042, 0.038, 0.035), 0.30, 0.40),
}
"""By key."""
CLAY_STATES = {"wet": 1.0, "leather": 0.45, "dry": 0.0, "fired": 0.0}
"""How much water is left, 0 to 1."""

WOODS = {
    "oak": WoodSpecies("Oak", (0.400, 0.270, 0.150), (0.300, 0.188, 0.098), 2.2, 0.45, 0.75, 0.26, 0.9, 0.55, 9.0),
    "walnut": WoodSpecies("Walnut", (0.235, 0.150, 0.093), (0.135, 0.080, 0.048), 2.8, 0.35, 0.50, 0.20, 0.45, 0.10, 1.2),
    "pine": WoodSpecies("Pine", (0.640, 0.470, 0.270), (0.420, 0.235, 0.100), 2.4, 0.90, 0.00, 0.05, 0.0, 0.05, 0.5),
    "beech": WoodSpecies("Beech", (0.550, 0.400, 0.270), (0.470, 0.325, 0.205), 2.0, 0.50, 0.25, 0.07, 0.1, 0.70, 1.6),
}
"""By key. Ring widths and pores are usual ones of the species, from memory."""


@record
class StoneKind:
    """A stone: two albedos, grain in mm, and how much it is speckled, veined, bedded, and lets light in."""

    label: str
    colour: Colour
    second: Colour
    grain_mm: float
    speckle: float
    veins: float
    beds: float
    translucence: float


STONES = {
    "limestone": StoneKind("Limestone", (0.520, 0.470, 0.375), (0.420, 0.360, 0.265), 0.30, 0.25, 0.0, 0.25, 0.0),
    "sandstone": StoneKind("Sandstone", (0.420, 0.330, 0.225), (0.330, 0.225, 0.130), 0.35, 0.55, 0.0, 0.60, 0.0),
    "marble": StoneKind("White marble", (0.700, 0.690, 0.660), (0.380, 0.385, 0.390), 0.60, 0.08, 0.55, 0.0, 0.35),
    "granite": StoneKind("Granite", (0.420, 0.390, 0.365), (0.130, 0.125, 0.120), 1.60, 0.85, 0.0, 0.0, 0.0),
    "soapstone": StoneKind("Soapstone", (0.235, 0.245, 0.215), (0.330, 0.335, 0.300), 0.50, 0.15, 0.35, 0.15, 0.0),
    "slate": StoneKind("Slate", (0.078, 0.082, 0.088), (0.058, 0.060, 0.066), 0.15, 0.20, 0.05, 0.50, 0.0),
}
"""By key."""
STONE_FINISHES = {"sawn": 0.05, "honed": 0.45, "polished": 1.0}
"""How far polished, 0 to 1; set by eye."""

GLAZES = {
    "celadon": ("Celadon", (0.300, 0.400, 0.320), (0.340, 0.300, 0.240), 0.0),
    "white": ("White", (0.700, 0.680, 0.630), (0.330, 0.262, 0.188), 0.1),
    "honey": ("Honey", (0.350, 0.180, 0.055), (0.420, 0.178, 0.092), 0.0),
    "tenmoku": ("Iron black", (0.040, 0.030, 0.026), (0.260, 0.110, 0.045), 0.0),
    "cobalt": ("Cobalt blue", (0.050, 0.090, 0.260), (0.330, 0.290, 0.240), 0.0),
    "ash": ("Matt ash", (0.420, 0.380, 0.290), (0.300, 0.200, 0.120), 1.0),
}
"""Glazes: label, albedo of the glaze, of the body where it breaks, how matt it is. Common practice, colours from memory."""

METALS = {
    "bronze": ("Bronze", (0.961, 0.713, 0.464)),
    "gold": ("Gold", (1.000, 0.728, 0.364)),
    "silver": ("Silver", (0.989, 0.984, 0.978)),
    "copper": ("Copper", (0.932, 0.623, 0.522)),
    "brass": ("Brass", (0.910, 0.778, 0.424)),
    "iron": ("Iron", (0.530, 0.513, 0.494)),
}
"""Metals: label, reflectance of the clean polished metal at normal incidence.

Computed from measured optical constants for the CIE 1931 observer in D65 by tests/outside/test_metals.py, which names the
sources; red of gold lies outside of Rec. 709 and is cut off at 1. No constants of bronze in visible light were found: gilding
metal (90 % copper, 10 % zinc) stands for it, whose colour lies, as that of bronze does, between copper's and brass's.
"""

PATINAS = {
    "brown": ("Brown", 0.93, (0.150, 0.078, 0.042), 0.00),
    "green": ("Green", 0.85, (0.140, 0.095, 0.060), 0.95),
    "black": ("Black", 0.95, (0.070, 0.060, 0.055), 0.00),
    "none": ("Bare, polished", 0.05, (0.250, 0.140, 0.075), 0.00),
}
"""Patinas: label, thickness, colour it gives the metal, verdigris. Common practice of founders, colours from memory."""

WAXES = {
    "beeswax": ("Beeswax", (0.560, 0.390, 0.185), 2.0, 0.35, 0.00),
    "brown": ("Brown modelling wax", (0.150, 0.070, 0.035), 0.7, 0.45, 0.00),
    "red": ("Red casting wax", (0.430, 0.060, 0.035), 1.0, 0.55, 0.00),
    "green": ("Green carving wax", (0.045, 0.180, 0.095), 0.8, 0.50, 0.00),
    "resin": ("Grey casting resin", (0.400, 0.410, 0.415), 0.5, 0.35, 0.00),
    "clear": ("Amber resin", (0.720, 0.480, 0.180), 5.0, 0.90, 0.00),
    "pigmented": ("Wax with black pigment", (0.036, 0.035, 0.036), 0.2, 0.50, 0.00),
}
"""Waxes and resins: label, colour in the mass, scattering depth in mm, polish, bloom. From memory of the materials."""

COMPOUNDS = {
    "oil_grey": ("Oil-based clay, grey", (0.235, 0.233, 0.225), 0.55, 0.25, 0.5),
    "oil_brown": ("Oil-based clay, brown", (0.150, 0.086, 0.054), 0.50, 0.30, 0.5),
    "oil_green": ("Oil-based clay, green", (0.130, 0.160, 0.102), 0.52, 0.25, 0.5),
    "polymer": ("Polymer clay, baked", (0.640, 0.530, 0.440), 0.42, 0.80, 0.3),
    "putty": ("Epoxy putty", (0.230, 0.280, 0.160), 0.58, 0.20, 0.6),
    "primer": ("Grey primer", (0.245, 0.245, 0.248), 0.85, 0.00, 0.9),
    "painted": ("Painted resin", (0.330, 0.290, 0.250), 0.38, 0.00, 0.2),
}
"""Compounds of modellers: label, albedo, roughness, scattering depth in mm, how much of its own tooth shows.

Set by eye, from memory of the materials: no published reflectances of them were found.
"""

PLASTER: Colour = (0.745, 0.720, 0.675)
"""Albedo of a plaster cast."""

IOR = {
    "water": 1.333, "drying oil": 1.48, "varnish": 1.5, "silicate glaze": 1.55, "wax": 1.44, "clay": 1.5, "stone": 1.5,
    "wood": 1.53, "glass": 1.52,
}  # fmt: skip
"""Index of refraction at 589 nm. tests/outside/test_colour.py names the sources of the first four and of glass; wax, clay,
stone and wood are from memory."""


def held(colour: Colour, *, low: float = 0.02, high: float = 0.95) -> Colour:
    """The colour with every channel limited to the albedos of real surfaces."""
    return tuple(float(np.clip(value, low, high)) for value in colour)  # type: ignore[return-value]
