"""Gives the piece and its stand their material: clay, wood or another, driven by the recovered relief."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ...core import cavity, reflectance
from ...job.settings import choice, colour, length, number, switch
from ...job.step import Progress, Result, Run
from ...scene import meshes, own_texture
from ...scene.nodes.builder import drop_unused_groups
from ...scene.nodes.materials import Maps, Surface, make_material
from ...scene.nodes.relief import CAVITY
from ...scene.surfaces import surface_of

LABEL = "Material"
NEEDS = ("piece",)
USES = ("stand", "albedo", "relief_height", "relief_normal")
MAKES = ("surface",)

KINDS = (
    ("clay", "Clay", "Clay of a chosen body and state"),
    ("wood", "Wood", "Carved wood of a chosen species and finish"),
    ("own", "Own colour", "The scan's own colour, light taken out where that was done"),
)
BODIES = tuple(
    (key, body.label, f"{body.label}, albedo in its published band") for key, body in reflectance.CLAY_BODIES.items()
)
STATES = (
    ("wet", "Wet", "Just worked, a film of water"),
    ("leather", "Leather-hard", "Firm, cool and a little dark"),
    ("dry", "Bone-dry", "Pale and chalky, ready to fire"),
    ("fired", "Fired", "Fired, without glaze"),
)
SPECIES = tuple((key, wood.label, f"{wood.label}, rings about {wood.ring_mm:g} mm") for key, wood in reflectance.WOODS.items())
FINISHES = (
    ("raw", "Raw", "As it comes from the knife"),
    ("oiled", "Oiled", "Oil or wax: deeper colour, soft sheen"),
    ("varnished", "Varnished", "A clear film of varnish"),
)


@dataclass(kw_only=True)
class Settings:
    piece: str = choice("clay", KINDS, help="What the piece is made of")
    stand: str = choice("own", KINDS, help="What the stand is made of")
    relief_strength: float | None = number(
        None,
        low=0.0,
        high=4.0,
        help="How much of the recovered relief shows; 1 is as measured, by itself what the relief advises",
    )
    clay_body: str = choice("stoneware", BODIES, help="The kind of clay")
    clay_state: str = choice("dry", STATES, help="How far the clay has dried, or that it is fired")
    clay_colour: tuple[float, float, float] | None = colour(None, help="Albedo of the dry body, linear; by itself: the body's")
    grog: float | None = number(None, low=0.0, high=1.0, help="How much fired grit shows; by itself: the body's")
    crevice_wash: float = number(0.3, low=0.0, high=1.0, help="Dark slip or dirt left in recesses")
    dust: float = number(0.3, low=0.0, high=1.0, help="Dry powder lying in recesses that face upwards")
    raised_wear: float = number(0.25, low=0.0, high=1.0, help="Edges rubbed by handling")
    wood_species: str = choice("walnut", SPECIES, help="The kind of wood")
    wood_finish: str = choice("oiled", FINISHES, help="The finish of the wood")
    ring_width: float | None = length(
        None, low=0.2, high=20.0, help="Mean width of a year's ring; by itself: the species'", more=True
    )
    fingerprints: float = number(
        0.0,
        low=0.0,
        high=1.0,
        help="Invented marks, not the piece's own: fingerprints in clay",
        label="Invented fingerprints",
        more=True,
    )
    tool_chatter: float = number(
        0.0,
        low=0.0,
        high=1.0,
        help="Invented marks, not the piece's own: tool ripple in clay",
        label="Invented tool chatter",
        more=True,
    )
    recesses: bool = switch(True, help="Find recesses and raised edges from the form", more=True)


def run(stage: Any, settings: Settings) -> Run:
    made: dict[str, Any] = {}
    for place, role in enumerate(("piece", "stand")):
        item = stage.find(role)
        if item is None:
            continue
        yield Progress(0.1 + 0.4 * place, f"Looking for the recesses of the {role}")
        values = _cavity(item) if settings.recesses else None
        yield Progress(0.3 + 0.4 * place, f"Mixing the material of the {role}")
        item = stage.require(role)
        kind = settings.piece if role == "piece" else settings.stand
        surface = _fitting(stage, item, role, kind, settings)
        material = make_material(role.capitalize(), surface, _maps(stage, item, role, settings))
        stage.offer("surface", material, key=role, name=f"{role.capitalize()}: {surface.kind}")
        stage.edit(item, _dresser(material.session_uid, values))
        made[role] = _figures(surface)
    if settings.fingerprints or settings.tool_chatter:
        stage.warn("Fingerprints or tool chatter were asked for: these marks are invented, the piece does not have them")
    stage.at_swap(drop_unused_groups)
    words = " and ".join(f"the {role} in {_word(figures, settings)}" for role, figures in made.items())
    return Result(words[:1].upper() + words[1:], made)


def _fitting(stage: Any, item: Any, role: str, kind: str, settings: Settings) -> Surface:
    """The surface asked for; clay where the scan's own colour is wanted but the scan has none."""
    if kind == "own" and _own(stage, item, role) == (None, ""):
        stage.note(
            f"The {role}'s scan has no colour of its own, so it gets plain stoneware; choose another material if it should not"
        )
        kind = "clay"
    return surface_of(kind, settings)


def _own(stage: Any, item: Any, role: str) -> tuple[Any | None, str]:
    image = stage.find("albedo", role) or own_texture.own_image(item)
    return image, "" if image else own_texture.own_attribute(item)


def _maps(stage: Any, item: Any, role: str, settings: Settings) -> Maps:
    height, normal = stage.find("relief_height", role), stage.find("relief_normal", role)
    image, attribute = _own(stage, item, role)
    advised = float(normal.get("strength", 1.0)) if normal else 1.0
    return Maps(
        normal=normal, height=height, strength=advised if settings.relief_strength is None else settings.relief_strength,
        colour=image, colour_attribute=attribute, uv=own_texture.uv_name(item),
    )  # fmt: skip


def _cavity(item: Any) -> Any:
    mesh = meshes.read_mesh(item, scale=1000.0)
    return cavity.cavity(mesh.vertices, mesh.faces).astype(np.float32)


def _dresser(material_uid: int, values: Any | None) -> Any:
    """What happens to the object at the swap: the material on all its faces, the cavity on its vertices."""

    def dress(item: Any) -> None:
        material = next(one for one in bpy.data.materials if one.session_uid == material_uid)
        if not item.material_slots:
            item.data.materials.append(None)
        for slot in item.material_slots:  # on the object: the mesh keeps the scan's own materials and their textures
            slot.link = "OBJECT"
            slot.material = material
        mesh = item.data
        if values is not None and len(values) == len(mesh.vertices):
            layer = mesh.attributes.get(CAVITY)
            if layer is None:
                layer = mesh.attributes.new(CAVITY, "FLOAT", "POINT")
            layer.data.foreach_set("value", values)

    return dress


def _figures(surface: Surface) -> dict[str, Any]:
    return {
        "material": surface.kind,
        **{name: value for name, value in surface.values.items() if isinstance(value, (int, float))},
    }


def _word(figures: dict[str, Any], settings: Settings) -> str:
    if figures["material"] == "clay":
        state = dict((key, label) for key, label, _ in STATES)[settings.clay_state].lower()
        return f"{state} {reflectance.CLAY_BODIES[settings.clay_body].label.lower()}"
    if figures["material"] == "wood":
        return f"{settings.wood_finish} {settings.wood_species}"
    return "its own colour"
