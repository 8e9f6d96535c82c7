"""Stands the scan upright on its base, turns its front to the camera, and scales it to true size by one known length."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import FIRST, SHORT, angle, choice, length, point, switch

LABEL = "Orientation"
NEEDS = ("clean",)
MAKES = ("upright",)
COST = 3.0


@values
class Settings:
    """How the scan is placed and scaled."""

    MARKS = {"height": (FIRST, SHORT), "of": (FIRST, SHORT)}

    height: float | None = length(
        None,
        low=0.1,
        high=5000.0,
        help="Measured height of the real piece; without any measured length the size is only assumed",
    )
    of: str = choice(
        "whole",
        (
            ("whole", "Whole", "The height of piece and stand together"),
            ("piece", "Piece", "The height of the piece over its stand"),
            ("longest", "Longest side", "The longest side of the whole, as of a medal or a relief that is shown lying"),
        ),
        label="Height of",
        help="What was measured as the height",
    )
    width: float | None = length(
        None, low=0.1, high=5000.0, help="Measured width of the real piece, from left to right as seen from the front"
    )
    stand_length: float | None = length(
        None, low=0.1, high=5000.0, help="Measured length of the stand's longer side", more=True
    )
    disc: float | None = length(
        None, low=0.1, high=5000.0, label="Stand diameter", help="Measured diameter of a round stand", more=True
    )
    distance: float | None = length(
        None,
        low=0.01,
        high=5000.0,
        label="Distance A to B",
        help="Measured distance between the points A and B, such as two marks of a scale bar",
        more=True,
    )
    point_a: tuple[float, ...] | None = point(
        None, unit="", label="Point A", help="First point of the measured distance, in the scan file's coordinates", more=True
    )
    point_b: tuple[float, ...] | None = point(
        None, unit="", label="Point B", help="Second point of the measured distance, in the scan file's coordinates", more=True
    )
    up: str = choice(
        "auto",
        (
            ("auto", "Auto", "Found by the shape of the piece"),
            *((axis, axis.upper(), f"The scan file's {axis.upper()} axis") for axis in ("x", "-x", "y", "-y", "z", "-z")),
        ),
        label="Up axis",
        help="Which axis of the scan file points up; set it where the piece does not stand right",
    )
    up_direction: tuple[float, ...] | None = point(
        None,
        unit="",
        place=False,
        help="The direction that points up, in the scan file's coordinates, where no axis does",
        more=True,
    )
    keep_lean: bool = switch(False, help="Keep the scan file's vertical, for a piece that leans on purpose")
    front: float | None = angle(
        None,
        low=-360.0,
        high=360.0,
        label="Front direction",
        help="Direction of the front, counter-clockwise as seen from above; auto: proposed by the piece's symmetry",
    )
