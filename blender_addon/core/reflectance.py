"""How much light do the materials of this trade give back? Diffuse albedos, and F0 from the index of refraction.

All albedos are linear Rec. 709. They lie in published bands (`BANDS`); the tests hold every material to them. The colours
within a band are the makers' choice, from memory of the materials.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .srgb import luminance

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Band:
    """Luminance range of diffuse reflectance, with where it is published."""

    low: float
    high: float
    source: str


@dataclass(frozen=True)
class ClayBody:
    """A clay body: albedo bone-dry and fired unglazed; how much grog it shows and its largest grain in mm."""

    label: str
    dry: Colour
    fired: Colour
    grog: float
    grog_mm: float


@dataclass(frozen=True)
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


OSRAM = 'OSRAM, "Encyclopedia of Light: Reflection", diffuse reflectance'
BANDS = {
    "clay": Band(0.10, 0.40, "dry clay soil 0.15-0.35, yellow clay 0.16 (compiled reflectance table, docs.studio-397.com), widened for dark and pale bodies"),
    "earthenware": Band(0.12, 0.32, f"red brick 0.2 ({OSRAM}), times 0.6 to 1.6"),
    "porcelain": Band(0.48, 0.90, f"white tile 0.8 ({OSRAM}), times 0.6 to 1.1"),
    "plaster": Band(0.60, 0.90, f"white plaster 0.8 ({OSRAM})"),
    "walnut": Band(0.12, 0.32, f"dark walnut 0.2 ({OSRAM}), times 0.6 to 1.6"),
    "oak": Band(0.20, 0.64, f"dark oak 0.2, light oak 0.4 ({OSRAM})"),
    "pale wood": Band(0.36, 0.75, f"maple and birch 0.6 ({OSRAM}), times 0.6 to 1.25"),
    "stone": Band(0.18, 0.75, f"concrete 0.3 ({OSRAM}) to white marble, common practice"),
    "dark": Band(0.02, 0.12, "charcoal about 0.04 (Britannica, normal albedo); slate and black bodies, common practice"),
}  # fmt: skip

CLAY_BODIES = {
    "stoneware": ClayBody("Stoneware", (0.300, 0.262, 0.212), (0.330, 0.262, 0.188), 0.45, 0.40),
    "terracotta": ClayBody("Terracotta", (0.335, 0.205, 0.138), (0.420, 0.178, 0.092), 0.30, 0.35),
    "porcelain": ClayBody("Porcelain", (0.640, 0.620, 0.575), (0.760, 0.745, 0.700), 0.00, 0.10),
    "grey": ClayBody("Grey modelling clay", (0.215, 0.208, 0.192), (0.330, 0.290, 0.235), 0.12, 0.25),
    "crank": ClayBody("Grogged sculpture clay", (0.330, 0.280, 0.215), (0.380, 0.300, 0.205), 0.90, 0.90),
    "black": ClayBody("Black stoneware", (0.110, 0.094, 0.080), (0.042, 0.038, 0.035), 0.30, 0.40),
}
CLAY_BANDS = {
    "stoneware": "clay", "terracotta": "earthenware", "porcelain": "porcelain", "grey": "clay", "crank": "clay", "black": "dark",
}  # fmt: skip
CLAY_STATES = {"wet": 1.0, "leather": 0.45, "dry": 0.0, "fired": 0.0}
"""How much water is left, 0 to 1."""

WOODS = {
    "oak": WoodSpecies("Oak", (0.400, 0.270, 0.150), (0.300, 0.188, 0.098), 2.2, 0.45, 0.75, 0.26, 0.9, 0.55, 9.0),
    "walnut": WoodSpecies("Walnut", (0.235, 0.150, 0.093), (0.135, 0.080, 0.048), 2.8, 0.35, 0.50, 0.20, 0.45, 0.10, 1.2),
    "pine": WoodSpecies("Pine", (0.640, 0.470, 0.270), (0.420, 0.235, 0.100), 2.4, 0.90, 0.00, 0.05, 0.0, 0.05, 0.5),
    "beech": WoodSpecies("Beech", (0.510, 0.365, 0.240), (0.430, 0.290, 0.180), 2.0, 0.50, 0.25, 0.07, 0.1, 0.70, 1.6),
}
WOOD_BANDS = {"oak": "oak", "walnut": "walnut", "pine": "pale wood", "beech": "pale wood"}

IOR = {
    "water": 1.333, "drying oil": 1.48, "varnish": 1.5, "silicate glaze": 1.55, "wax": 1.44, "clay": 1.5, "stone": 1.5,
    "wood": 1.53, "glass": 1.52,
}  # fmt: skip
"""Index of refraction, 589 nm (water: Schiebener 1990; oil, resin, glaze: bands of the conservation and glass literature)."""


def f0(ior: float) -> float:
    """Reflectance at normal incidence of an interface to air, ((n - 1)/(n + 1))^2 (Fresnel)."""
    return ((ior - 1.0) / (ior + 1.0)) ** 2


def ior_of(f0_value: float) -> float:
    """The index of refraction with that reflectance at normal incidence."""
    root = float(np.sqrt(f0_value))
    return (1.0 + root) / (1.0 - root)


def mean_albedo(colour: Colour) -> float:
    """Luminance of an albedo."""
    return float(luminance(np.array(colour)))


def wetted(colour: Colour, wetness: float) -> Colour:
    """An albedo with water in its pores: gamma 1.32 at nine tenths, as the clay's nodes do it.

    Wet sand 0.23 against dry 0.40 (compiled reflectance table) is what the strength is set by; that the dark end loses more
    and colours saturate is Lekner & Dorf 1988.
    """
    return tuple(value * (1 - 0.9 * wetness) + 0.9 * wetness * value**1.32 for value in colour)  # type: ignore[return-value]


def held(colour: Colour, *, low: float = 0.02, high: float = 0.95) -> Colour:
    """The colour with every channel inside what real surfaces give back."""
    return tuple(float(np.clip(value, low, high)) for value in colour)  # type: ignore[return-value]
