"""Renders the piece with the camera and the light of each reference photo, and shows how far photo and render are apart."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import integer

LABEL = "Photo and render"
NEEDS = ("piece", "surface")
USES = (
    "stand", "reference", "reference_world", "reference_light", "reference_photo", "reference_mask", "pictures",
)  # fmt: skip
MAKES = ("comparison",)
COST = 0.2


@values
class Settings:
    """How the pictures beside reference photos are rendered; the photos are named in Surface > Reference photo."""

    size: int = integer(1200, low=160, high=6000, unit="px", help="Longer side of the pictures laid beside reference photos")
    samples: int = integer(64, low=1, high=4096, help="Samples per pixel: more take longer and leave less noise", more=True)
