"""Stands the scan up on its base, turns its front to the camera, and gives it its true size from one known length."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import FIRST, SHORT, angle, choice, length, point, switch

LABEL = "Orientation"
NEEDS = ("clean",)
MAKES = ("upright",)
COST = 3.0


@dataclass(kw_only=True)
class Settings:
    """The settings of orientation."""

    MARKS = {"height": (FIRST, SHORT), "of": (FIRST, SHORT)}

    height: float | None = length(None, low=0.1, high=5000.0, help="Known height; without any known length the size is assumed")
    of: str = choice(
        "whole",
        (
            ("whole", "Whole", "The height of piece and stand together"),
            ("piece", "Piece", "The height of the piece over its stand"),
        ),
        label="Height of",
        help="What the known height is the height of",
    )
    width: float | None = length(None, low=0.1, high=5000.0, help="Known width, from left to right seen from the front")
    stand_length: float | None = length(None, low=0.1, high=5000.0, help="Known length of the stand's longer side", more=True)
    disc: float | None = length(
        None, low=0.1, high=5000.0, label="Stand diameter", help="Known diameter of a round stand", more=True
    )
    distance: float | None = length(
        None,
        low=0.01,
        high=5000.0,
        label="Distance A to B",
        help="Known distance of the points A and B, such as the marks of a scale bar",
        more=True,
    )
    point_a: tuple[float, ...] | None = point(
        None, unit="", label="Point A", help="Point A, in the scan's own coordinates", more=True
    )
    point_b: tuple[float, ...] | None = point(
        None, unit="", label="Point B", help="Point B, in the scan's own coordinates", more=True
    )
    up: str = choice(
        "auto",
        (
            ("auto", "Auto", "Found from the shape"),
            *((axis, axis.upper(), f"The scan's {axis.upper()} axis") for axis in ("x", "-x", "y", "-y", "z", "-z")),
        ),
        label="Up axis",
        help="Which way is up",
    )
    up_direction: tuple[float, ...] | None = point(
        None, unit="", help="Which way is up as a direction in the scan's own coordinates, where no axis of it is", more=True
    )
    keep_lean: bool = switch(False, help="Keep the scan's own vertical, so that a leaning piece goes on leaning")
    front: float | None = angle(
        None,
        low=-360.0,
        high=360.0,
        label="Front direction",
        help="Where the front is, counter-clockwise from above; auto: the shape's mirror plane proposes it",
    )
