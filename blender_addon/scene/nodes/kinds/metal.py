"""Bare metal, such as gilding, wire and pins: the bronze's node group without a patina."""

from __future__ import annotations

from typing import Any

from ....core.surface import reflectance
from ..kind import Recipe, Values, label_of
from .bronze import bronze_group


def _values(settings: Any) -> Values:
    return {"Metal": reflectance.METALS[settings.metal][1], "Patina": 0.0, "Verdigris": 0.0, "Wax": 0.0, "Polish": 0.7}


RECIPE = Recipe(
    bronze_group,
    _values,
    lambda settings: label_of(reflectance.METALS[settings.metal]),
    kind="bronze",
    variety="metal",
    varieties=reflectance.METALS,
)
