"""Measures the clay's colour in a reference photo (`core/surface/colour_card.py`) and puts it into the settings."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.files.pictures.colour_profile import as_srgb
from ...core.files.plain_files import is_there
from ...core.surface import colour_card, reflectance
from ...job.errors import InputError
from ..images import opened, read_pixels


def with_measured_clay(settings: Any, path: Path) -> tuple[Any, dict[str, object]]:
    """The material settings with the clay's colour measured in the photo, and figures on it."""
    if settings.reference_corners is None or settings.reference_sample is None:
        raise InputError(
            f'The reference photo "{path.name}" needs reference_corners (the card\'s four corners) and '
            "reference_sample (x, y and radius of a spot of clay), in pixels from its top left"
        )
    picture = _read(path)
    try:
        if settings.reference_card == "colour":
            found = colour_card.by_chart(picture, settings.reference_corners, settings.reference_sample)
        else:
            found = colour_card.by_grey_card(
                picture, settings.reference_corners, settings.reference_sample, grey=settings.reference_grey
            )
    except colour_card.CardError as error:
        raise InputError(f'The card in "{path.name}" can\'t be used: {error}') from None
    colour = tuple(round(float(value), 4) for value in found.albedo)
    figures: dict[str, object] = {"measured_albedo": list(colour)}
    if found.delta_e is not None:
        figures["card_delta_e2000"] = round(found.delta_e, 2)
    return dataclasses.replace(settings, clay_colour=reflectance.held(colour)), figures


def _read(path: Path) -> Floats:
    """(h, w, 3) display-encoded values, row 0 at the top."""
    if not is_there(path):
        raise InputError(f'There is no reference photo "{path}": check the path on the sheet')
    image = opened(path, f'The reference photo "{path.name}"', "can't be used", "as JPEG or PNG")
    try:
        if image.is_float:
            raise InputError(f'The reference photo "{path.name}" holds linear light; save it as JPEG or PNG')
        return as_srgb(np.ascontiguousarray(read_pixels(image)[::-1, :, :3]), path.read_bytes())
    except ValueError:
        raise InputError(f'The reference photo "{path.name}" is damaged; save it again as JPEG or PNG') from None
    finally:
        bpy.data.images.remove(image)
