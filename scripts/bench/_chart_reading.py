"""Which colours does a 24-patch chart show under a set's lights? For benches and tests; the tool itself meters a grey card."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from blender_addon.core.surface.colour_card import CARD
from blender_addon.scene.dressing.meter import CARD_MM, card_matrix, photographed
from blender_addon.scene.dressing.targets import chart_object


def read_chart(
    *,
    centre_mm: Sequence[float],
    normal: Sequence[float],
    lights: Iterable[Any],
    world: Any,
    around: Iterable[Any] = (),
    seed: int = 1,
) -> Any:
    """(24, 3) linear colours of the 24-patch chart, photographed as `read_card` does the grey card."""
    patch = CARD_MM / CARD.columns
    chart = chart_object("Chart meter", patch)
    chart.matrix_world = card_matrix(centre_mm, normal)
    size = 4 * CARD.columns, 4 * CARD.rows
    pixels = photographed(chart, patch * CARD.columns, size, [*lights, *around], world, seed)
    patches = pixels[::-1].reshape(CARD.rows, 4, CARD.columns, 4, 3)  # the picture's first row is its lowest
    return patches[:, 1:3, :, 1:3].mean(axis=(1, 3)).reshape(-1, 3)
