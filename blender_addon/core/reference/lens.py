"""Which lens and pose give the picture of a photo's camera? And the photo as a lens without distortion would have taken it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Floats
from ..closeups.camera import PhotoCamera
from ..rasters import bilinear
from ..shots import optics
from ..shots.formats import frame_used
from ..shots.framing import CameraPose


def optics_of(camera: PhotoCamera, depths: Floats, format_mm: tuple[float, float], coc_mm: float) -> optics.Optics:
    """A thin lens with the photo's angle of view on a sensor of `format_mm`, set so that depths (n,) in mm are sharp.

    A photo says where its image lies (v in pixels), not the lens's focal length: 1/f = 1/v + 1/s, s the distance in focus. The
    f-number is the marked one that holds nearest and furthest sharp, since a phone's small lens does.
    """
    near, far = float(np.min(depths)), float(np.max(depths))
    far = max(far, 1.0001 * near)
    image = camera.distance / camera.size[0] * frame_used(*format_mm, camera.size)[0]
    focus = 2.0 * near * far / (near + far)
    focal = image * focus / (image + focus)
    held = optics.holding(near, far, focal, coc_mm)
    return optics.Optics(focal, optics.marked(held.fnumber), focus)


def pose_of(camera: PhotoCamera, focus_mm: float) -> CameraPose:
    """The pose with a shot's axes: x right, y up, z backwards."""
    return CameraPose(np.asarray(camera.place, float), camera.rotation.T * (1.0, -1.0, -1.0), focus_mm)


def without_bend(camera: PhotoCamera) -> PhotoCamera:
    """The camera without its radial term."""
    return replace(camera, radial=0.0)


def straightened(photo: Floats, camera: PhotoCamera) -> Floats:
    """A photo (h, w, 3), row 0 at the bottom, as the camera without its radial term would show it; its border is repeated."""
    height, width = photo.shape[:2]
    if camera.radial == 0.0:
        return photo
    bend = camera.scaled((width, height))
    row, column = np.indices((height, width)).reshape(2, -1)
    x, y = column + 0.5 - 0.5 * width, 0.5 * height - (row + 0.5)
    stretch = 1.0 + bend.radial * (x * x + y * y) / (0.25 * (width * width + height * height))
    x, y = 0.5 * width + stretch * x - 0.5, 0.5 * height + stretch * -y - 0.5
    planes = [bilinear(photo[..., channel], x, y).reshape(height, width) for channel in range(3)]
    return np.stack(planes, axis=2).astype(np.float32)
