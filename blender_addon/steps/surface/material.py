"""Gives the piece and its stand their material, such as clay, wood or stone, with the recovered relief."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.mesh.triangles import TriangleMesh
from ...core.surface import cavity
from ...job.errors import SubjectError
from ...job.files.aside import aside
from ...job.step import Progress, Result, Run
from ...scene import meshes, roles
from ...scene.nodes.kinds import recipe
from ...scene.nodes.materials import MEAN, STATE, MaterialSurface, make_material
from ...scene.nodes.relief import CAVITY
from ...scene.shots.cameras import vertices_mm
from ...scene.stage import Stage
from ...scene.surface import own_texture, reference_photo
from ...scene.surface.rendered_form import give_form
from ...scene.surface.surfaces import region, surface_of
from .declared.material import Region, Settings

BLACK, WHITE = 0.004, 0.99  # limits of real albedos; a texture beyond them was not exposed, or lost in the export

INVENTED = {
    "crevice_wash": "a wash in recesses", "dust": "dust", "handling_wear": "wear", "plaster_age": "age",
    "fingerprints": "fingerprints", "tool_chatter": "tool chatter",
}  # fmt: skip
"""Settings of invented effects, which the piece does not have, and their names in messages; all are off by default."""


def run(stage: Stage, settings: Settings) -> Run:
    """Offer a material each for piece and stand, and assign them at the swap."""
    measured: dict[str, object] = {}
    if settings.reference:
        yield Progress(0.02, "Reading the colour of the clay from the photo")
        settings, measured = reference_photo.with_measured_clay(settings, stage.sheet.path(settings.reference))
    dressed: dict[str, object] = {}
    for place, role in enumerate(("piece", "stand")):
        item = stage.find(role)
        if item is None:
            continue
        values = None
        if settings.recesses:
            mesh = meshes.read_mesh(item, scale=meshes.MM)
            looking = Progress(0.1 + 0.4 * place, f"Looking for the recesses of the {role}")
            values = yield from aside(partial(_cavity, mesh), looking)
        yield Progress(0.3 + 0.4 * place, f"Mixing the material of the {role}")
        dressed[role] = _dress(stage, role, settings, values)
    invented = [words for name, words in INVENTED.items() if getattr(settings, name)]
    if invented:
        stage.warn(f"Asked for: {', '.join(invented)}. This is invented: the piece does not have it")
    words = " and ".join(f"the {role} in {recipe(figures['material']).words(settings)}" for role, figures in dressed.items())
    return Result(words[:1].upper() + words[1:], dressed | measured)


def _dress(stage: Stage, role: str, settings: Settings, values: Floats | None) -> dict[str, object]:
    item = stage.require(role)
    kind = settings.piece if role == "piece" else settings.stand
    bands = (settings.relief_fine, settings.relief_middle, settings.relief_broad)
    maps = own_texture.maps_of(stage, item, role, settings.relief_strength, bands=bands)
    mean = own_texture.mean_colour(item, maps) if kind == "own" else None
    surface = _fitting(stage, role, kind, settings, mean)
    regions = tuple(_region(item, row, settings) for row in settings.regions) if role == "piece" else ()
    material = make_material(role.capitalize(), surface, maps, regions)
    if mean is not None and surface.kind == "own" and role == "piece":
        material[MEAN] = mean
    if recipe(surface.kind).state:
        material[STATE] = getattr(settings, recipe(surface.kind).state)
    stage.offer("surface", material, key=role, name=f"{role.capitalize()} {kind}")
    height = maps.height if settings.displacement else None
    stage.edit(item, _dresser(stage, role, values, height.session_uid if height else None, maps.uv))
    return {
        "material": surface.kind,
        "regions": len(regions),
        "albedo": [round(float(value), 4) for value in surface.albedo or ()],
    }


def _fitting(
    stage: Stage, role: str, kind: str, settings: Settings, mean: tuple[float, float, float] | None
) -> MaterialSurface:
    """The requested surface; clay where the scan's own colour is wanted but, by its `mean`, it has none."""
    if kind == "own" and (mean is None or not BLACK < max(mean) or not min(mean) < WHITE):
        why = "has no colour of its own" if mean is None else f"is {'white' if max(mean) > BLACK else 'black'} all over"
        stage.note(f"The {role}'s scan {why}, so it gets plain clay; choose another material if you like")
        kind = "clay"
    return surface_of(kind, settings, size_mm=_size_mm(stage.require("piece")))


def _region(item: bpy.types.Object, row: Region, settings: Settings) -> tuple[str, MaterialSurface]:
    painted = [layer.name for layer in item.data.color_attributes]
    if row.mask not in painted:
        have = f"it has {', '.join(painted)}" if painted else "it has none"
        raise SubjectError(
            f'The piece has no painted mask "{row.mask}" for a region ({have}): paint one, or take the region out'
        )
    return row.mask, region(row, settings, size_mm=_size_mm(item))


def _size_mm(item: bpy.types.Object) -> float:
    """Longest side of a mesh object, mm."""
    return float(np.ptp(vertices_mm(item), axis=0).max())


def _cavity(mesh: TriangleMesh) -> Floats:
    return cavity.cavity(mesh.vertices, mesh.faces).astype(np.float32)


def _theirs(slot: bpy.types.MaterialSlot, role: str) -> bool:
    """Whether the user assigned a slot's material: one that is neither the job's own nor, on the mesh, the scan's."""
    worn = slot.material
    if worn is None or (slot.link == "DATA" and roles.has(worn, roles.MADE)):
        return False
    return (worn.get(roles.ROLE), worn.get(roles.KEY)) != ("surface", role)


def _dresser(
    stage: Stage, role: str, values: Floats | None, height_uid: int | None, uv: str
) -> Callable[[bpy.types.Object], None]:
    """The edit of the object at the swap: assigns the job's material (the present one, where the user changed it), except where
    the user assigned another, the cavity attribute and the modifier that renders use.

    height_uid: session_uid of the image of the relief's height, in the UV layer `uv`; with None renders raise no relief.
    """

    def dress(item: bpy.types.Object) -> None:
        material = stage.find("surface", role)
        if not item.material_slots:
            item.data.materials.append(None)
        for slot in item.material_slots if material else ():  # the mesh keeps the scan's own
            if _theirs(slot, role) and not stage.afresh:
                words = f'Kept the material "{slot.material.name}" that you gave the {role}; "Reset to automatic" replaces it'
                stage.note(words, level="kept")
                continue
            slot.link = "OBJECT"
            slot.material = material
        give_form(item, next((image for image in bpy.data.images if image.session_uid == height_uid), None), uv)
        _give_recesses(item.data, values)

    return dress


def _give_recesses(mesh: Any, values: Floats | None) -> None:
    """Write the recesses at the vertices as the attribute that materials read; None takes away what an earlier run found."""
    layer = mesh.attributes.get(CAVITY)
    if values is None and layer is not None:
        mesh.attributes.remove(layer)
    elif values is not None and len(values) == len(mesh.vertices):
        layer = layer or mesh.attributes.new(CAVITY, "FLOAT", "POINT")
        layer.data.foreach_set("value", values)
