"""Which values does a setting such as "oak, oiled" stand for? From the material step's settings to the inputs of the groups."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

from ...core.surface import reflectance
from ...job.errors import SheetError
from ...job.settings import nearest
from ..nodes.materials import Surface


def surface_of(kind: str, settings: Any) -> Surface:
    """The surface of that kind with the settings' values."""
    return _MAKERS[kind](settings)


def clay(settings: Any) -> Surface:
    """Clay of a body in a state."""
    body = reflectance.CLAY_BODIES[settings.clay_body]
    colour = settings.clay_colour or (body.fired if settings.clay_state == "fired" else body.dry)
    return Surface("clay", {
        "Body Colour": reflectance.held(colour),
        "Wetness": reflectance.CLAY_STATES[settings.clay_state],
        "Grog": body.grog if settings.grog is None else settings.grog,
        "Grog Size": body.grog_mm,
        "Dust": settings.dust if settings.clay_state == "dry" else 0.4 * settings.dust,
        "Crevice Wash": settings.crevice_wash,
        "Handling Wear": settings.handling_wear,
        "Invented Fingerprints": settings.fingerprints,
        "Invented Tool Chatter": settings.tool_chatter,
    })  # fmt: skip


def wood(settings: Any) -> Surface:
    """Wood of a species with a finish."""
    kind = reflectance.WOODS[settings.wood_species]
    return Surface("wood", {
        "Early Wood": kind.early,
        "Late Wood": kind.late,
        "Ring Width": settings.ring_width or kind.ring_mm,
        "Ring Contrast": kind.contrast,
        "Pores": kind.pores,
        "Pore Size": kind.pore_mm,
        "Ring Porous": kind.ring_porous,
        "Rays": kind.rays,
        "Ray Size": kind.ray_mm,
        "Oil": 1.0 if settings.wood_finish == "oiled" else 0.0,
        "Varnish": 1.0 if settings.wood_finish == "varnished" else 0.0,
        "Crevice Wash": settings.crevice_wash,
        "Handling Wear": settings.handling_wear,
    })  # fmt: skip


def own(settings: Any) -> Surface:
    """The scan's own colour."""
    return Surface("own", {"Level": 1.0})


def stone(settings: Any) -> Surface:
    """Stone of a kind with a finish."""
    kind = reflectance.STONES[settings.stone_kind]
    values = {
        "Stone": kind.colour,
        "Second Colour": kind.second,
        "Grain Size": kind.grain_mm,
        "Speckle": kind.speckle,
        "Veins": kind.veins,
        "Beds": kind.beds,
        "Translucence": kind.translucence,
        "Polish": reflectance.STONE_FINISHES[settings.stone_finish],
    }
    return Surface("stone", values | _handled(settings))


def plaster(settings: Any) -> Surface:
    """A plaster cast."""
    values = {"Colour": reflectance.PLASTER, "Age": settings.plaster_age, "Sealed": 1.0 if settings.plaster_sealed else 0.0}
    return Surface("plaster", values | {"Crevice Wash": settings.crevice_wash})


def glaze(settings: Any) -> Surface:
    """A glaze over fired clay."""
    _, colour, body, matt = reflectance.GLAZES[settings.glaze_kind]
    values = {"Glaze Colour": colour, "Body Colour": body, "Matt": matt, "Crackle": settings.glaze_crackle}
    return Surface("glaze", values)


def bronze(settings: Any) -> Surface:
    """Bronze with a patina."""
    _, thickness, colour, green = reflectance.PATINAS[settings.patina]
    return Surface("bronze", {
        "Metal": reflectance.METALS["bronze"][1],
        "Patina": thickness,
        "Patina Colour": colour,
        "Verdigris": green,
        "Rubbed Edges": min(1.0, 1.8 * settings.handling_wear),
    })  # fmt: skip


def metal(settings: Any) -> Surface:
    """A bare metal: gilding, wire, pins."""
    values = {"Metal": reflectance.METALS[settings.metal][1], "Patina": 0.0, "Verdigris": 0.0, "Wax": 0.0, "Polish": 0.7}
    return Surface("bronze", values)


def wax(settings: Any) -> Surface:
    """Wax or resin."""
    _, colour, depth, polish, bloom = reflectance.WAXES[settings.wax_kind]
    values = {"Colour": colour, "Scattering Depth": depth, "Polish": polish, "Bloom": bloom}
    return Surface("wax", values | {"Handling Wear": settings.handling_wear})


def _handled(settings: Any) -> dict[str, float]:
    return {"Crevice Wash": settings.crevice_wash, "Handling Wear": settings.handling_wear}


def region(row: Any, settings: Any) -> Surface:
    """The surface of a painted region: as the settings have it, but of the row's own variety and colour."""
    field = VARIETY.get(row.material)
    if field and row.variety:
        known = list(TABLES[field])
        if row.variety not in known:
            hint = nearest(row.variety, known)
            raise SheetError(f'There is no {row.material} called "{row.variety}"{hint}; there are {", ".join(known)}')
        settings = dataclasses.replace(settings, **{field: row.variety})
    made = surface_of(row.material, settings)
    if row.colour is None:
        return made
    return Surface(made.kind, {**made.values, MAIN_COLOUR[made.kind]: reflectance.held(row.colour)})


VARIETY = {
    "clay": "clay_body", "wood": "wood_species", "stone": "stone_kind", "glaze": "glaze_kind", "bronze": "patina",
    "wax": "wax_kind", "metal": "metal",
}  # fmt: skip
"""Which setting says what kind of clay, wood, stone ... it is."""

TABLES: dict[str, Mapping[str, Any]] = {
    "clay_body": reflectance.CLAY_BODIES, "wood_species": reflectance.WOODS, "stone_kind": reflectance.STONES,
    "glaze_kind": reflectance.GLAZES, "patina": reflectance.PATINAS, "wax_kind": reflectance.WAXES, "metal": reflectance.METALS,
}  # fmt: skip

MAIN_COLOUR = {
    "clay": "Body Colour", "wood": "Early Wood", "stone": "Stone", "plaster": "Colour", "glaze": "Glaze Colour",
    "bronze": "Metal", "wax": "Colour", "own": "Colour",
}  # fmt: skip

_MAKERS: dict[str, Callable[[Any], Surface]] = {
    "clay": clay, "wood": wood, "stone": stone, "plaster": plaster, "glaze": glaze, "bronze": bronze, "metal": metal,
    "wax": wax, "own": own,
}  # fmt: skip
