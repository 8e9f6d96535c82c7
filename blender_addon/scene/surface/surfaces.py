"""Converts the material step's settings, such as "oak, oiled", to input values of the material's node group."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from ...core.surface import reflectance
from ...core.surface.kinds import KINDS
from ...job.errors import SheetError
from ...job.settings import nearest
from ..nodes.kinds import recipe
from ..nodes.materials import MaterialSurface

USUAL_MM, FINEST_GROG = 80.0, 0.25
"""Size of a piece from which a clay body has its usual grog, and the finest grog over the usual. Potters take a finer body for
smaller work (common practice): on a piece of 40 mm single coarse grains would be read as marks."""


def surface_of(kind: str, settings: Any, *, size_mm: float = USUAL_MM) -> MaterialSurface:
    """The surface of a material (a key of `KINDS`) with the values from the settings; size_mm: longest side of the piece."""
    found = recipe(kind)
    values = dict(found.values(settings))
    grog = values.get("Grog Size")
    if isinstance(grog, float):
        values["Grog Size"] = grog * float(np.clip(size_mm / USUAL_MM, FINEST_GROG, 1.0))
    return MaterialSurface(found.kind or kind, values)


def region(row: Any, settings: Any, *, size_mm: float = USUAL_MM) -> MaterialSurface:
    """The surface of a painted region, see `surface_of`: from the settings, but with the row's own variety and colour.

    Raises SheetError where there is no such variety.
    """
    found = recipe(row.material)
    if found.variety and row.variety:
        known = list(found.varieties)
        if row.variety not in known:
            hint = nearest(row.variety, known)
            raise SheetError(f'There is no {row.material} called "{row.variety}"{hint}; there are {", ".join(known)}')
        settings = dataclasses.replace(settings, **{found.variety: row.variety})
    surface = surface_of(row.material, settings, size_mm=size_mm)
    if row.colour is None:
        return surface
    return MaterialSurface(surface.kind, {**surface.values, KINDS[surface.kind].albedo_input: reflectance.held(row.colour)})


def samples() -> tuple[tuple[str, str, dict[str, str]], ...]:
    """(label, material, settings) of all samples of the sample sheet, in order."""
    return tuple((label, kind, choice) for kind in KINDS for label, choice in recipe(kind).samples)


def file_of(place: int, label: str) -> str:
    """Name of the picture of the sample at a place in the list; it holds the label, as a later release may list others."""
    return f"{place + 1:02d} {label.lower().replace(',', '')}.png".replace(" ", "_")
