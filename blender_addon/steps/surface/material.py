"""Gives the piece and its stand their material: clay, wood, stone or another, driven by the recovered relief."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.surface import cavity, kinds, reflectance
from ...job.errors import SubjectError
from ...job.settings import (
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
from ...job.step import Progress, Result, Run
from ...scene import meshes, roles
from ...scene.nodes.kinds import recipe
from ...scene.nodes.materials import MEAN, STATE, MaterialSurface, make_material
from ...scene.nodes.relief import CAVITY
from ...scene.stage import Stage
from ...scene.surface import own_texture, reference_photo
from ...scene.surface.rounding import round_outline
from ...scene.surface.surfaces import region, surface_of

LABEL = "Material"
NEEDS = ("piece",)
USES = (
    "stand", "albedo", "relief_height", "relief_normal", "relief_middle", "relief_broad", "closeup_normal", "closeup_weight",
    "closeup_colour",
)  # fmt: skip
MAKES = ("surface",)
FINER = "Finer for relief"
FINE_MM = 0.12  # edges that hold strokes of 0.3 mm
MOST_TRIANGLES = 8_000_000
BLACK, WHITE = 0.004, 0.99  # no surface's albedo lies beyond: such a texture was never exposed, or was lost in the export


INVENTED = {
    "crevice_wash": "a wash in recesses", "dust": "dust", "handling_wear": "wear", "plaster_age": "age",
    "fingerprints": "fingerprints", "tool_chatter": "tool chatter",
}  # fmt: skip
"""Settings of marks and of a history that the piece does not have, and the words that say so; all are off by default."""


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


def run(stage: Stage, settings: Settings) -> Run:
    """Offer a material each for piece and stand, and put them on at the swap."""
    measured: dict[str, Any] = {}
    if settings.reference:
        yield Progress(0.02, "Reading the colour of the clay from the photo")
        settings, measured = reference_photo.with_measured_clay(settings, stage.sheet.path(settings.reference))
    made: dict[str, Any] = {}
    for place, role in enumerate(("piece", "stand")):
        item = stage.find(role)
        if item is None:
            continue
        yield Progress(0.1 + 0.4 * place, f"Looking for the recesses of the {role}")
        values = _cavity(item) if settings.recesses else None
        yield Progress(0.3 + 0.4 * place, f"Mixing the material of the {role}")
        made[role] = _dress(stage, role, settings, values)
    invented = [words for name, words in INVENTED.items() if getattr(settings, name)]
    if invented:
        stage.warn(f"Asked for: {', '.join(invented)}. This is invented: the piece does not have it")
    words = " and ".join(f"the {role} in {recipe(figures['material']).words(settings)}" for role, figures in made.items())
    return Result(words[:1].upper() + words[1:], made | measured)


def _dress(stage: Stage, role: str, settings: Settings, values: Floats | None) -> dict[str, Any]:
    item = stage.require(role)
    kind = settings.piece if role == "piece" else settings.stand
    bands = (settings.relief_fine, settings.relief_middle, settings.relief_broad)
    maps = own_texture.maps_of(stage, item, role, settings.relief_strength, displaced=settings.displacement, bands=bands)
    mean = own_texture.mean_colour(item, maps) if kind == "own" else None
    surface = _fitting(stage, role, kind, settings, mean)
    regions = tuple(_region(item, row, settings) for row in settings.regions) if role == "piece" else ()
    material = make_material(role.capitalize(), surface, maps, regions)
    if mean is not None and surface.kind == "own" and role == "piece":
        material[MEAN] = mean
    if recipe(surface.kind).state:
        material[STATE] = getattr(settings, recipe(surface.kind).state)
    stage.offer("surface", material, key=role, name=f"{role.capitalize()} {kind}")
    stage.edit(item, _dresser(stage, role, material.session_uid, values, finer=_levels(item) if maps.displaced else 0))
    return {
        "material": surface.kind,
        "regions": len(regions),
        "albedo": [round(float(value), 4) for value in surface.albedo or ()],
    }


def _fitting(
    stage: Stage, role: str, kind: str, settings: Settings, mean: tuple[float, float, float] | None
) -> MaterialSurface:
    """The surface asked for; clay where the scan's own colour is wanted but its `mean` says that it has none."""
    if kind == "own" and (mean is None or not BLACK < max(mean) or not min(mean) < WHITE):
        why = "has no colour of its own" if mean is None else f"is {'white' if max(mean) > BLACK else 'black'} all over"
        stage.note(f"The {role}'s scan {why}, so it gets plain clay; choose another material if you like")
        kind = "clay"
    return surface_of(kind, settings)


def _region(item: Any, row: Region, settings: Settings) -> tuple[str, MaterialSurface]:
    painted = [layer.name for layer in item.data.color_attributes]
    if row.mask not in painted:
        have = f"it has {', '.join(painted)}" if painted else "it has none"
        raise SubjectError(
            f'The piece has no painted mask "{row.mask}" for a region ({have}): paint one, or take the region out'
        )
    return row.mask, region(row, settings)


def _cavity(item: Any) -> Floats:
    mesh = meshes.read_mesh(item, scale=meshes.MM)
    return cavity.cavity(mesh.vertices, mesh.faces).astype(np.float32)


def _levels(item: Any) -> int:
    """How often each edge is to be halved until the surface can hold the relief, within what memory allows."""
    mesh = meshes.read_mesh(item, scale=meshes.MM)
    edge = float(np.median(np.linalg.norm(mesh.vertices[mesh.faces[:, 1]] - mesh.vertices[mesh.faces[:, 0]], axis=1)))
    wanted = int(np.ceil(np.log2(max(edge, 1e-6) / FINE_MM)))
    return max(1, min(wanted, int(np.log2(MOST_TRIANGLES / max(len(mesh.faces), 1)) / 2)))


def _theirs(slot: Any, role: str) -> bool:
    """Whether a slot wears what the user put there: only the object's own slots are ours to fill, and with our surface."""
    worn = slot.material if slot.link == "OBJECT" else None
    return worn is not None and (worn.get(roles.ROLE), worn.get(roles.KEY)) != ("surface", role)


def _dresser(stage: Stage, role: str, material_uid: int, values: Floats | None, *, finer: int = 0) -> Callable[[Any], None]:
    """What happens to the object at the swap: the material on all its faces that the user gave no other, the cavity on its
    vertices; finer: halvings of the edges for true displacement.
    """

    def dress(item: Any) -> None:
        material = next((entry for entry in bpy.data.materials if entry.session_uid == material_uid), None)
        if not item.material_slots:
            item.data.materials.append(None)
        for slot in item.material_slots if material else ():  # on the object: the mesh keeps the scan's own with their textures
            if _theirs(slot, role) and not stage.afresh:
                words = f'Kept the material "{slot.material.name}" that you gave the {role}; "Reset to automatic" replaces it'
                stage.note(words, level="kept")
                continue
            slot.link = "OBJECT"
            slot.material = material
        round_outline(item)
        before = item.modifiers.get(FINER)
        if before is not None:
            item.modifiers.remove(before)
        if finer:
            modifier = item.modifiers.new(FINER, "SUBSURF")
            modifier.subdivision_type, modifier.levels, modifier.render_levels = "SIMPLE", 0, finer
        mesh = item.data
        if values is not None and len(values) == len(mesh.vertices):
            layer = mesh.attributes.get(CAVITY)
            if layer is None:
                layer = mesh.attributes.new(CAVITY, "FLOAT", "POINT")
            layer.data.foreach_set("value", values)

    return dress
