"""Gives the piece and its stand their material: clay, wood, stone or another, driven by the recovered relief."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ....core.surface import kinds, reflectance
from ....job.settings import (
    DEFAULT,
    FIRST,
    LIVE,
    SHORT,
    choice,
    colour,
    file,
    length,
    number,
    only_when,
    point,
    switch,
    table,
    text,
)

LABEL = "Material"
NEEDS = ("piece",)
USES = (
    "stand", "albedo", "relief_height", "relief_normal", "relief_middle", "relief_broad", "closeup_normal", "closeup_weight",
    "closeup_colour",
)  # fmt: skip
MAKES = ("surface",)
COST = 2.0


def _choices(rows: Any) -> tuple[tuple[str, str, str], ...]:
    """Choices of a table whose entries have a label, as a field or as the first item."""
    labels = {key: row.label if hasattr(row, "label") else row[0] for key, row in rows.items()}
    return tuple((key, label, label) for key, label in labels.items())


KINDS = kinds.choices()
STATES = (
    ("wet", "Wet", "Just worked, a film of water"),
    ("leather", "Leather-hard", "Firm, cool and a little dark"),
    ("dry", "Bone-dry", "Pale and chalky, ready to fire"),
    ("fired", "Fired", "Fired, without glaze"),
)
FINISHES = (
    ("raw", "Raw", "As it comes from the knife"),
    ("oiled", "Oiled", "Oil or wax: deeper colour, soft sheen"),
    ("varnished", "Varnished", "A clear film of varnish"),
)
STONE_FINISHES = (
    ("sawn", "Sawn", "As the saw or the point left it"),
    ("honed", "Honed", "Rubbed smooth, without gloss"),
    ("polished", "Polished", "Polished"),
)
CARDS = (
    ("neutral", "Grey card", "One even neutral card"),
    ("colour", "Colour card", "The 24-patch colour chart, four rows of six"),
)


@dataclass(kw_only=True)
class Region:
    """A part of the piece in another material, where a mask was painted."""

    mask: str = text("", help="Name of the colour attribute that was painted: white is this material")
    material: str = choice("metal", KINDS, help="What the part is made of")
    variety: str = text("", help="Which clay, wood, stone, glaze, patina, wax or metal; empty: as in the settings")
    colour: tuple[float, float, float] | None = colour(None, help="Its own colour, linear")


@dataclass(kw_only=True)
class Settings:
    """What piece and stand are made of."""

    ALIASES = {"raised_wear": "handling_wear"}
    MARKS = {
        "piece": (FIRST, SHORT, DEFAULT), "stand": (SHORT,),
        "relief_fine": (LIVE,), "relief_middle": (LIVE,), "relief_broad": (LIVE,),
    }  # fmt: skip

    piece: str = choice("clay", KINDS, label="Piece is", help="What the piece is made of")
    stand: str = choice("own", KINDS, label="Stand is", help="What the stand is made of")
    relief_strength: float | None = number(
        None,
        low=0.0,
        high=4.0,
        help="How much of the recovered relief shows; 1 is as measured; auto: what the relief advises",
    )
    relief_fine: float = number(
        1.0, low=0.0, high=4.0, label="Fine relief", help="Strength of what is finer than about 1 mm; live in the material"
    )
    relief_middle: float = number(
        1.0,
        low=0.0,
        high=4.0,
        label="Middle relief",
        help="Strength of what lies between about 1 and 4 mm; live in the material",
    )
    relief_broad: float = number(
        1.0, low=0.0, high=4.0, label="Broad relief", help="Strength of what is broader than about 4 mm; live in the material"
    )
    displacement: bool = switch(
        False,
        help="The relief moves the surface itself when rendered, on finer triangles, instead of its normals alone",
        more=True,
    )
    clay_body: str = only_when(
        choice("stoneware", _choices(reflectance.CLAY_BODIES), help="The kind of clay"), piece="clay", stand="clay"
    )
    clay_state: str = only_when(
        choice("dry", STATES, help="How far the clay has dried, or that it is fired"), piece="clay", stand="clay"
    )
    clay_colour: tuple[float, float, float] | None = only_when(
        colour(None, help="Colour of the body (linear albedo, 0 to 1); auto: the body's"), piece="clay", stand="clay"
    )
    grog: float | None = only_when(
        number(None, low=0.0, high=1.0, help="How much fired grit shows; auto: the body's", more=True),
        piece="clay",
        stand="clay",
    )
    crevice_wash: float = number(
        0.0, low=0.0, high=1.0, label="Invented wash", help="Invented history: dark slip or dirt left in recesses", more=True
    )
    dust: float = number(
        0.0, low=0.0, high=1.0, label="Invented dust", help="Invented history: powder in recesses that face upwards", more=True
    )
    handling_wear: float = number(
        0.0, low=0.0, high=1.0, label="Invented wear", help="Invented history: edges rubbed by handling", more=True
    )
    glaze_kind: str = only_when(
        choice("celadon", _choices(reflectance.GLAZES), help="The glaze", label="Glaze"), piece="glaze", stand="glaze"
    )
    glaze_crackle: float = only_when(
        number(0.0, low=0.0, high=1.0, help="A net of fine cracks in the glaze", more=True), piece="glaze", stand="glaze"
    )
    wood_species: str = only_when(
        choice("walnut", _choices(reflectance.WOODS), help="The kind of wood"), piece="wood", stand="wood"
    )
    wood_finish: str = only_when(choice("oiled", FINISHES, help="The finish of the wood"), piece="wood", stand="wood")
    ring_width: float | None = only_when(
        length(None, low=0.2, high=20.0, help="Mean width of a year's ring; auto: the species'", more=True),
        piece="wood",
        stand="wood",
    )
    stone_kind: str = only_when(
        choice("limestone", _choices(reflectance.STONES), help="The kind of stone", label="Stone"), piece="stone", stand="stone"
    )
    stone_finish: str = only_when(choice("honed", STONE_FINISHES, help="The finish of the stone"), piece="stone", stand="stone")
    plaster_age: float = only_when(
        number(0.0, low=0.0, high=1.0, label="Invented age", help="Invented history: yellowed, dusty and handled", more=True),
        piece="plaster",
        stand="plaster",
    )
    plaster_sealed: bool = only_when(switch(False, help="Sealed with shellac", more=True), piece="plaster", stand="plaster")
    patina: str = only_when(
        choice("brown", _choices(reflectance.PATINAS), help="The patina of the bronze"), piece="bronze", stand="bronze"
    )
    metal: str = only_when(
        choice("gold", _choices(reflectance.METALS), help="The bare metal", more=True), piece="metal", stand="metal"
    )
    compound: str = only_when(
        choice("oil_grey", _choices(reflectance.COMPOUNDS), help="The modelling compound"), piece="compound", stand="compound"
    )
    wax_kind: str = only_when(
        choice("beeswax", _choices(reflectance.WAXES), help="The wax or resin", label="Wax"), piece="wax", stand="wax"
    )
    regions: list[Region] = table(Region, help="Parts in other materials, by painted mask", short="mask")
    reference: str | None = file(
        None, label="Photo with card", help="A photo of the real clay beside a card: the clay gets its measured colour"
    )
    reference_card: str = choice("neutral", CARDS, label="Card", help="What card the photo shows", more=True)
    reference_corners: tuple[float, ...] | None = point(
        None,
        size=8,
        unit="px",
        label="Card corners",
        help="The card's four corners in the photo, x and y from its top left, going round",
        more=True,
    )
    reference_sample: tuple[float, ...] | None = point(
        None,
        size=3,
        unit="px",
        label="Clay spot",
        help="Where the clay is in the photo: x and y of the middle, and a radius",
        more=True,
    )
    reference_grey: float = number(0.18, low=0.02, high=0.95, label="Card grey", help="Reflectance of the grey card", more=True)
    fingerprints: float = only_when(
        number(0.0, low=0.0, high=1.0, help="Invented marks: fingerprints in clay", label="Invented prints", more=True),
        piece="clay",
        stand="clay",
    )
    tool_chatter: float = only_when(
        number(0.0, low=0.0, high=1.0, help="Invented marks: tool ripple in clay", label="Invented chatter", more=True),
        piece="clay",
        stand="clay",
    )
    recesses: bool = switch(True, label="Find recesses", help="Find recesses and raised edges from the form", more=True)
