"""What does a reference photo show of the piece? Its light at each pixel beside the scan's place, normal and colour there."""

from __future__ import annotations

import numpy as np

from ...core.arrays import Bools, Floats
from ...core.closeups.camera import PhotoCamera
from ...core.closeups.placing.look import Look, Skin, look
from ...core.closeups.placing.pictures import smaller
from ...core.dressing.exposure import GREY
from ...core.rasters import colours_at
from ...core.records import record
from ...core.reference.light import PhotoLight, Sight, fitted_light
from ...core.srgb import decode

FEWEST_BESIDE = 500
"""Pixels beside the piece that give their tone."""
LONGEST = 500
"""Longest side in pixels at which the light is fitted: it varies smoothly."""


@record
class Seen:
    """A straight photo at its working size and the piece in it. camera: without bend, at that size. light: (h, w, 3) decoded,
    row 0 at the bottom. look: what the camera sees of the piece."""

    camera: PhotoCamera
    light: Floats
    look: Look

    def mask(self) -> Bools:
        """(h, w) bool: the piece."""
        return self.look.mask()

    def behind(self) -> Floats:
        """(3,) mean linear tone of what the photo shows beside the piece; mid-grey where the piece fills it."""
        beside = self.light[~self.mask()]
        return beside.mean(axis=0) if len(beside) > FEWEST_BESIDE else np.full(3, GREY)


def seen_in(photo: Floats, camera: PhotoCamera, skin: Skin) -> Seen | None:
    """The piece in a straight display-encoded photo (h, w, 3), row 0 at the bottom; None where next to nothing of it shows."""
    factor = max(max(photo.shape[:2]) / LONGEST, 1.0)
    light = decode(photo)
    planes = [smaller(np.ascontiguousarray(light[..., channel]), factor) for channel in range(3)]
    small = np.stack(planes, axis=2)
    straight = camera.scaled((small.shape[1], small.shape[0]))
    found = look(skin, straight)
    return None if found is None else Seen(straight, small, found)


def light_of(seen: Seen, skin: Skin, *, seed: int) -> PhotoLight:
    """The light of a photo. Raises ValueError where too little of the piece can be read."""
    found = seen.look
    lit = seen.light.reshape(-1, 3)[found.index]
    sight = Sight(found.position, found.normal, _albedo(found, skin), lit)
    return fitted_light(sight, skin, seed=seed)


def _albedo(found: Look, skin: Skin) -> Floats:
    """(n, 3) the scan's own colour at each pixel, where it has a picture; else the grey of its vertices, or of none."""
    if skin.texture is None:
        return np.repeat(found.albedo[:, None], 3, axis=1)
    uv = np.einsum("nc,nci->ni", found.texels.weight, skin.texture.uv[found.texels.face])
    return colours_at(skin.texture.picture, uv)
