"""How long is a scale bar? The largest round number of millimetres that fits."""

from __future__ import annotations

import math


def bar_length(room_mm: float) -> float:
    """The longest of 1, 2 and 5 times a power of ten, in mm, that fits into `room_mm` (> 0)."""
    if not room_mm > 0:
        raise ValueError(f"room must be positive, not {room_mm}")
    power = 10.0 ** math.floor(math.log10(room_mm))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= room_mm * (1 + 1e-12))
