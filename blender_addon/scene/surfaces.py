"""Which values does a setting such as "oak, oiled" stand for? From the material step's settings to the inputs of the groups."""

from __future__ import annotations

from typing import Any

from ..core import reflectance
from .nodes.materials import Surface


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
        "Raised Wear": settings.raised_wear,
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
        "Raised Wear": settings.raised_wear,
    })  # fmt: skip


def own(settings: Any) -> Surface:
    """The scan's own colour."""
    return Surface("own", {"Level": 1.0})


_MAKERS = {"clay": clay, "wood": wood, "own": own}
