"""Gives the piece and its stand their material, such as clay, wood or stone, with the recovered relief."""

from __future__ import annotations

from typing import Any

from ....core.records import values
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

VARIETIES = {
    "Stoneware": "Buff and a little sandy, paler when dry",
    "Terracotta": "Iron-rich: brown when raw, brick red when fired",
    "Porcelain": "Nearly white and very smooth, without grog",
    "Grey modelling clay": "Pale grey and fine, with little grog",
    "Grogged sculpture clay": "Pale buff with coarse grog that shows everywhere",
    "Black stoneware": "Dark when raw, almost black when fired",
    "Oak": "Brown with a coarse, open grain and broad pale rays",
    "Walnut": "Dark brown with a calm, fine grain",
    "Pine": "Yellow with broad, clearly drawn annual rings",
    "Beech": "Pale pinkish brown and even, with short dark flecks",
    "Limestone": "Warm and pale, slightly grained",
    "Sandstone": "Ochre and grainy, in faint beds",
    "White marble": "White with grey veins; light enters a little",
    "Granite": "Coarse speckles of pale and dark grey",
    "Soapstone": "Dark greenish grey with soft pale veins",
    "Slate": "Almost black, fine, split in thin beds",
    "Celadon": "Grey-green, pooling darker in recesses",
    "White": "Creamy white, with the body showing at edges",
    "Honey": "Clear amber over a red body",
    "Iron black": "Nearly black, breaking to rust at edges",
    "Cobalt blue": "Deep blue, breaking to the pale body at edges",
    "Matt ash": "Pale straw without gloss",
    "Bronze": "The bare alloy, warm yellow-brown",
    "Gold": "Deep warm yellow, as on gilding",
    "Silver": "Bright and neutral, without tarnish",
    "Copper": "Salmon red",
    "Brass": "Bright yellow",
    "Iron": "Dark neutral grey, without rust",
    "Brown": "A thin warm brown, the founder's usual patina",
    "Green": "Verdigris over dark brown",
    "Black": "An even, nearly black patina",
    "Bare, polished": "No patina: the polished bronze shows",
    "Beeswax": "Pale yellow-brown; light enters some millimetres deep",
    "Brown modelling wax": "Dark brown and nearly opaque",
    "Red casting wax": "Deep red, slightly translucent",
    "Green carving wax": "Dark green and hard, as jewellers carve it",
    "Grey casting resin": "Even mid grey without gloss",
    "Amber resin": "Clear honey yellow and glossy; light goes deep into it",
    "Wax with black pigment": "Black and opaque, with a soft sheen",
    "Oil-based clay, grey": "Mid grey with a greasy sheen; never dries",
    "Oil-based clay, brown": "Dark brown with a greasy sheen; never dries",
    "Oil-based clay, green": "Grey-green with a greasy sheen; never dries",
    "Polymer clay, baked": "Skin-coloured and slightly translucent",
    "Epoxy putty": "Olive green, as it sets, without gloss",
    "Grey primer": "Even mid grey and quite matt, as sprayed on miniatures",
    "Painted resin": "Brown paint with a slight sheen",
}
"""By the variety's label. Said of the colours and other values in `core/surface/reflectance.py`, which are set by eye."""


def _choices(rows: Any) -> tuple[tuple[str, str, str], ...]:
    """Choices of a table whose entries have a label, as a field or as the first item."""
    labels = {key: row.label if hasattr(row, "label") else row[0] for key, row in rows.items()}
    return tuple((key, label, VARIETIES[label]) for key, label in labels.items())


KINDS = kinds.choices()
STATES = (
    ("wet", "Wet", "Freshly worked, with a film of water"),
    ("leather", "Leather-hard", "Firm, cool and a little dark"),
    ("dry", "Bone-dry", "Pale and chalky, ready to fire"),
    ("fired", "Fired", "Fired, without glaze"),
)
FINISHES = (
    ("raw", "Raw", "Untreated, as carved"),
    ("oiled", "Oiled", "Oil or wax: deeper colour, soft sheen"),
    ("varnished", "Varnished", "Clear varnish, with gloss"),
)
STONE_FINISHES = (
    ("sawn", "Sawn", "Rough, as the saw or the point left it"),
    ("honed", "Honed", "Smooth, without gloss"),
    ("polished", "Polished", "Smooth and glossy"),
)
CARDS = (
    ("neutral", "Grey card", "A uniform neutral card"),
    ("colour", "Colour card", "The 24-patch colour chart, four rows of six"),
)


@values
class Region:
    """A part of the piece in another material, where a mask is painted."""

    mask: str = text("", help="Name of the painted colour attribute; this material shows where it is white")
    material: str = choice("metal", KINDS, help="Material of the part")
    variety: str = text("", help="Variety of the material, such as oak or celadon; empty: as set for the piece")
    colour: tuple[float, float, float] | None = colour(
        None, help="Colour of the part (linear albedo); auto: that of the variety"
    )


@values
class Settings:
    """Materials of piece and stand."""

    ALIASES = {"raised_wear": "handling_wear"}
    MARKS = {
        "piece": (FIRST, SHORT, DEFAULT), "stand": (SHORT,),
        "relief_fine": (LIVE,), "relief_middle": (LIVE,), "relief_broad": (LIVE,),
    }  # fmt: skip

    piece: str = choice("clay", KINDS, label="Piece is", help="Material in which the piece is shown")
    stand: str = choice(
        "own", KINDS, label="Stand is", help="Material in which the stand is shown; own colour keeps the scan's"
    )
    relief_strength: float | None = number(
        None,
        low=0.0,
        high=4.0,
        help="Strength of the recovered relief: 0 none, 1 as measured; lower it if the surface looks mottled; auto: as advised",
    )
    relief_fine: float = number(
        1.0,
        low=0.0,
        high=4.0,
        label="Fine relief",
        help="Strength of relief finer than about 1 mm, such as scratches: 0 none, 1 as measured; changes at once",
    )
    relief_middle: float = number(
        1.0,
        low=0.0,
        high=4.0,
        label="Middle relief",
        help="Strength of relief of about 1 to 4 mm, such as tool strokes: 0 none, 1 as measured; changes at once",
    )
    relief_broad: float = number(
        1.0,
        low=0.0,
        high=4.0,
        label="Broad relief",
        help="Strength of relief broader than about 4 mm, such as facets: 0 none, 1 as measured; changes at once",
    )
    displacement: bool = switch(
        True,
        help="In renders, displace the surface by the relief, so that it casts shadows and shows at the outline; off: tilt the "
        "shading only, which needs less memory",
        more=True,
    )
    clay_body: str = only_when(
        choice("stoneware", _choices(reflectance.CLAY_BODIES), help="Which clay body the piece is shown in"),
        piece="clay",
        stand="clay",
    )
    clay_state: str = only_when(
        choice("dry", STATES, help="How dry the clay is, or whether it is fired; wet clay is darker and glossier"),
        piece="clay",
        stand="clay",
    )
    clay_colour: tuple[float, float, float] | None = only_when(
        colour(None, help="Colour of the clay (linear albedo); auto: that of the clay body"), piece="clay", stand="clay"
    )
    grog: float | None = only_when(
        number(
            None,
            low=0.0,
            high=1.0,
            help="Amount of visible grog, the fired grit in the clay: 0 none, 1 most; auto: that of the clay body",
            more=True,
        ),
        piece="clay",
        stand="clay",
    )
    crevice_wash: float = number(
        0.0,
        low=0.0,
        high=1.0,
        label="Invented wash",
        help="Invented effect: dark slip or dirt in recesses, 0 none to 1 full",
        more=True,
    )
    dust: float = number(
        0.0,
        low=0.0,
        high=1.0,
        label="Invented dust",
        help="Invented effect: powder in recesses that face upwards, 0 none to 1 full",
        more=True,
    )
    handling_wear: float = number(
        0.0,
        low=0.0,
        high=1.0,
        label="Invented wear",
        help="Invented effect: edges rubbed by handling, 0 none to 1 full",
        more=True,
    )
    glaze_kind: str = only_when(
        choice("celadon", _choices(reflectance.GLAZES), help="Which glaze the piece is shown in", label="Glaze"),
        piece="glaze",
        stand="glaze",
    )
    glaze_crackle: float = only_when(
        number(0.0, low=0.0, high=1.0, help="Fine cracks in the glaze: 0 none, 1 most", more=True), piece="glaze", stand="glaze"
    )
    wood_species: str = only_when(
        choice("walnut", _choices(reflectance.WOODS), help="Which wood the piece is shown in"), piece="wood", stand="wood"
    )
    wood_finish: str = only_when(choice("oiled", FINISHES, help="Surface treatment of the wood"), piece="wood", stand="wood")
    ring_width: float | None = only_when(
        length(
            None,
            low=0.2,
            high=20.0,
            help="Mean width of the annual rings; wider for fast-grown wood; auto: usual for the species",
            more=True,
        ),
        piece="wood",
        stand="wood",
    )
    stone_kind: str = only_when(
        choice("limestone", _choices(reflectance.STONES), help="Which stone the piece is shown in", label="Stone"),
        piece="stone",
        stand="stone",
    )
    stone_finish: str = only_when(
        choice("honed", STONE_FINISHES, help="How smooth and glossy the stone is"), piece="stone", stand="stone"
    )
    plaster_age: float = only_when(
        number(
            0.0,
            low=0.0,
            high=1.0,
            label="Invented age",
            help="Invented effect: plaster yellowed, dusty and handled, 0 none to 1 full",
            more=True,
        ),
        piece="plaster",
        stand="plaster",
    )
    plaster_sealed: bool = only_when(
        switch(False, help="Seal the plaster with shellac, which makes it darker and slightly glossy", more=True),
        piece="plaster",
        stand="plaster",
    )
    patina: str = only_when(
        choice("brown", _choices(reflectance.PATINAS), help="Colour of the bronze's patina"), piece="bronze", stand="bronze"
    )
    metal: str = only_when(
        choice("gold", _choices(reflectance.METALS), help="Which bare metal is shown", more=True), piece="metal", stand="metal"
    )
    compound: str = only_when(
        choice("oil_grey", _choices(reflectance.COMPOUNDS), help="Which modelling compound the piece is shown in"),
        piece="compound",
        stand="compound",
    )
    wax_kind: str = only_when(
        choice("beeswax", _choices(reflectance.WAXES), help="Which wax or resin the piece is shown in", label="Wax"),
        piece="wax",
        stand="wax",
    )
    regions: list[Region] = table(Region, help="Parts of the piece in other materials, each by a painted mask", short="mask")
    reference: str | None = file(
        None,
        label="Photo with card",
        help="A photo of the real clay beside a grey or colour card; the clay is shown in the colour measured there",
    )
    reference_card: str = choice("neutral", CARDS, label="Card", help="Which card is in the photo", more=True)
    reference_corners: tuple[float, ...] | None = point(
        None,
        size=8,
        unit="px",
        label="Card corners",
        help="The card's four corners in the photo, in order round it: x and y of each from the photo's top left",
        more=True,
    )
    reference_sample: tuple[float, ...] | None = point(
        None,
        size=3,
        unit="px",
        label="Clay spot",
        help="Where the clay is in the photo: x and y of a spot's centre, and its radius",
        more=True,
    )
    reference_grey: float = number(
        0.18, low=0.02, high=0.95, label="Card grey", help="Reflectance of the grey card; 0.18 for the usual one", more=True
    )
    fingerprints: float = only_when(
        number(
            0.0,
            low=0.0,
            high=1.0,
            help="Invented effect: fingerprints that the piece does not have, 0 none to 1 full",
            label="Invented prints",
            more=True,
        ),
        piece="clay",
        stand="clay",
    )
    tool_chatter: float = only_when(
        number(
            0.0,
            low=0.0,
            high=1.0,
            help="Invented effect: ripples of a tool that the piece does not have, 0 none to 1 full",
            label="Invented chatter",
            more=True,
        ),
        piece="clay",
        stand="clay",
    )
    recesses: bool = switch(
        True,
        label="Find recesses",
        help="Find recesses and raised edges by the form, for dirt, patina and wear; off is quicker",
        more=True,
    )
