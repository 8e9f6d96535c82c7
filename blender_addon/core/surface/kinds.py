"""The materials that a piece can be made of, one line each; how each looks is in the file of its name in `scene/nodes/kinds/`.

What other steps need to know of a material stands here, so that none of them compares names.
"""

from __future__ import annotations

from ..records import record


@record
class MaterialKind:
    """A material.

    key, label, words: on the sheet, on screen, and in one sentence.
    albedo_input: the input of its node group that holds its colour.
    exposure: stops over the grey card at which a piece of it is exposed: half of a modelled form lies in shade, and in a dim
        room a picture exposed for the lit side alone looks dark; white plaster must keep its texture, dark bronze its depth
        (common practice, judged on prints of the demo).
    trade: whose bench it lies on by itself (`core/dressing/trades.py`).
    debris: what falls off it while it is worked (`core/dressing/debris/`); None where a finished piece leaves nothing.
    metal: its colour is a specular reflectance, not a diffuse albedo.
    roughness: the single value exported with the asset, 0 polished to 1 chalky: the middle of what its node group shows
        (guesses, judged by eye).
    """

    key: str
    label: str
    words: str
    albedo_input: str
    exposure: float
    trade: str = "conservator"
    debris: str | None = None
    metal: bool = False
    roughness: float = 0.75


KINDS = {
    kind.key: kind
    for kind in (
        MaterialKind("clay", "Clay", "Clay of a chosen body and state", "Body Colour", 0.75, "potter", "clay", roughness=0.9),
        MaterialKind("glaze", "Glazed ware", "A glaze over fired clay", "Glaze Colour", 0.5, "potter", roughness=0.12),
        MaterialKind(
            "wood", "Wood", "Carved wood of a chosen species and finish", "Early Wood", 0.65, "carver", "wood", roughness=0.55
        ),
        MaterialKind("stone", "Stone", "Carved stone, sawn, honed or polished", "Stone", 0.6, "carver", "stone", roughness=0.6),
        MaterialKind("plaster", "Plaster", "A plaster cast", "Colour", -0.1, "plaster", roughness=0.9),
        MaterialKind("bronze", "Bronze", "Bronze with a patina", "Metal", 0.7, "founder", metal=True, roughness=0.35),
        MaterialKind("metal", "Bare metal", "Gilding, wire, pins", "Metal", 0.5, "founder", metal=True, roughness=0.25),
        MaterialKind("wax", "Wax or resin", "Light enters and scatters", "Colour", 0.5, "founder", roughness=0.35),
        MaterialKind(
            "compound",
            "Modelling compound",
            "Oil-based or polymer clay, putty, primer, paint",
            "Colour",
            0.6,
            "painter",
            roughness=0.55,
        ),
        MaterialKind(
            "own", "Own colour", "The scan's own colour, light taken out where that was done", "Colour", 0.6, roughness=0.62
        ),
    )
}
"""By key, in the order in which they are offered."""


def choices() -> tuple[tuple[str, str, str], ...]:
    """(key, label, words) of all materials, as a setting offers them."""
    return tuple((kind.key, kind.label, kind.words) for kind in KINDS.values())
