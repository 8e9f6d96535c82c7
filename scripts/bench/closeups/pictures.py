"""The scan, what the close-ups made of it and the truth, under a lamp that grazes them: as a picture to look at."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import unit

from .measures import Read


def before_and_after(found: Read, path: Path) -> None:
    """Scan, close-up and truth side by side, lit from the picture's upper left at 25 degrees over the surface."""
    from PIL import Image

    reading = found.reading
    middle = unit(reading.normal.mean(axis=0))
    across = unit(np.cross((0.0, 0.0, 1.0), middle))
    up = np.cross(middle, across)
    lamp = unit(-across + up + 0.65 * middle)
    shown = [_lit(found, unit(normal), lamp) for normal in (reading.normal, reading.normal - reading.slope, found.true)]
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.concatenate(shown, axis=1)[::-1].copy()).save(path)


def _lit(found: Read, normal: Any, lamp: Any) -> Any:
    light = np.where(found.reading.weight > 0.5, 0.05 + 0.9 * np.clip(normal @ lamp, 0, 1), 0.0)
    return np.round(255 * found.reading.pixels.scatter(light.astype(np.float32)) ** (1 / 2.2)).astype(np.uint8)
