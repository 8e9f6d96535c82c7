"""How large is the sensor? Formats by name, the part of the sensor that a picture uses, the circle of confusion."""

from __future__ import annotations

import math

from ..records import record


@record
class Format:
    """A sensor: key, the label shown, width and height in mm (landscape)."""

    key: str
    label: str
    width_mm: float
    height_mm: float

    @property
    def diagonal_mm(self) -> float:
        return math.hypot(self.width_mm, self.height_mm)

    @property
    def crop(self) -> float:
        """Diagonal of 36 x 24 mm over this one's."""
        return math.hypot(36.0, 24.0) / self.diagonal_mm


FORMATS = (
    Format("full_frame", "Full frame", 36.0, 24.0),
    Format("aps_c", "APS-C", 23.7, 15.7),
    Format("aps_c_small", "APS-C, 1.6x", 22.3, 14.9),
    Format("four_thirds", "Four Thirds", 17.3, 13.0),
    Format("one_inch", "1-inch type", 13.2, 8.8),
    Format("two_thirds", "2/3-inch type", 8.8, 6.6),
    Format("one_1_7", "1/1.7-inch type", 7.6, 5.7),
    Format("one_1_8", "1/1.8-inch type", 7.18, 5.32),
    Format("one_2", "1/2-inch type", 6.4, 4.8),
    Format("one_2_3", "1/2.3-inch type", 6.16, 4.62),
    Format("one_2_5", "1/2.5-inch type", 5.76, 4.29),
    Format("one_2_55", "1/2.55-inch type", 5.64, 4.23),
)
"""Typical sizes; inch types are names, not measures, and vary by maker by up to 3 %.

Full frame: ISO 1007. Four Thirds: its standard. 1-inch type and 1/2.55-inch type: from memory of makers' specifications; see
tests/outside/test_format_sizes.py for what each is held to.
"""

BY_KEY = {entry.key: entry for entry in FORMATS}


def frame_used(width_mm: float, height_mm: float, resolution: tuple[int, int]) -> tuple[float, float]:
    """Width and height (mm) of the largest part of a sensor with the picture's aspect; a portrait picture turns the camera."""
    long, short = max(width_mm, height_mm), min(width_mm, height_mm)
    aspect = resolution[0] / resolution[1]
    width = min(long, short * aspect) if aspect >= 1.0 else min(short, long * aspect)
    return width, width / aspect


def circle_of_confusion(width_mm: float, height_mm: float, *, parts: float = 1500.0) -> float:
    """The blur (mm) still taken as sharp: the diagonal over 1500, common practice; older tables take 1000."""
    return math.hypot(width_mm, height_mm) / parts
