"""Lays a rule in front of the subject for the pictures that show its size; it is hidden in all others."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.dressing.compose import Spot
from ..shots.lens_drivers import KIND
from .set_parts import HIDDEN_IN, Foot
from .set_props import Place, made_candidates, made_props, settled

if TYPE_CHECKING:
    import bpy

    from ..stage import Stage

GAP, HALF_WIDTH = 9.0, 9.5
"""Gap between the subject's foot and the rule, and half of the rule's width, mm."""


def laid_rules(
    stage: Stage, foot: Foot, heights: Callable[[Floats], Floats], tone: Sequence[float]
) -> dict[str, bpy.types.Object]:
    """A rule for each shot of the kind 'scale', by key, along the picture's width and with its figures upright.

    heights: gives the table's height (k,) at places (k, 2), mm. tone: linear colour by which the rules' own is multiplied.
    """
    shots = stage.find_all("shot")
    found: dict[str, bpy.types.Object] = {}
    for name in scale_shots(stage):
        facing = np.array(shots[name].matrix_basis.col[2])[:2]
        if float(np.hypot(*facing)) < 0.2:  # seen from above, the front is the picture's lower edge
            facing = -np.array(shots[name].matrix_basis.col[1])[:2]
        towards = facing / max(float(np.hypot(*facing)), 1e-9)
        right = np.array([-towards[1], towards[0]])
        nearest = float((foot.vertices[:, :2] @ towards).max())
        across = foot.vertices[:, :2] @ right
        place = (nearest + GAP + HALF_WIDTH) * towards + 0.5 * float(across.min() + across.max()) * right
        rule = made_candidates(["rule"], seed=1)[0]
        others = tuple(other for other in shots if other != name)
        spot = Spot(place, math.atan2(right[1], right[0]), others)
        matrix, gap = settled(rule.mesh, spot, heights)
        if matrix is not None:
            found[f"rule for {name}"] = dict(made_props([Place(rule, spot, matrix, gap)], tone))["rule"]
    return found


def scale_shots(stage: Stage) -> list[str]:
    """The shots that show the subject's size."""
    return [name for name, shot in stage.find_all("shot").items() if shot.get(KIND) == "scale"]


def hide_in(items: Iterable[bpy.types.Object], shots: Sequence[str]) -> None:
    """Hide props in these shots in addition."""
    for item in items:
        item[HIDDEN_IN] = ",".join(dict.fromkeys([*filter(None, str(item.get(HIDDEN_IN, "")).split(",")), *shots]))
