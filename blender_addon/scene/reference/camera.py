"""Makes the camera of a reference photo: an ordinary shot's camera with the photo as its background picture."""

from __future__ import annotations

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.closeups.camera import PhotoCamera
from ...core.reference.lens import optics_of, pose_of
from ...core.shots.formats import BY_KEY, circle_of_confusion
from ..shots.cameras import Lens, make_camera

KIND = "reference"
POSE = "bozzetto_solved_pose"
"""On a reference's camera: the matrix (16 numbers) as it was solved, by which a later move is noticed."""
OPACITY = 0.5
"""Of the photo over the view: half, so that both are seen."""
MOVED = 1e-4
"""Change of the matrix, metres and parts of a turn, from which a camera counts as moved: a tenth of a millimetre."""


def make_reference_camera(camera: PhotoCamera, depths: Floats, photo: bpy.types.Image, name: str) -> bpy.types.Object:
    """The camera of a straight photo. depths: (n,) mm of what it shows of the piece, which is held sharp."""
    frame = BY_KEY["full_frame"]
    size = (frame.width_mm, frame.height_mm)
    coc = circle_of_confusion(*size)
    optics = optics_of(camera, depths, size, coc)
    lens = Lens(optics, size, camera.size, KIND, coc)
    item = make_camera(f"Shot {name}", pose_of(camera, optics.focus_mm), lens, extra={"bozzetto_caption": name.capitalize()})
    item[POSE] = [float(value) for value in np.array(item.matrix_basis).ravel()]
    data = item.data
    assert isinstance(data, bpy.types.Camera)
    data.show_background_images = True
    behind = data.background_images.new()
    behind.image, behind.alpha, behind.display_depth, behind.frame_method = photo, OPACITY, "FRONT", "FIT"
    return item


def is_moved(item: bpy.types.Object) -> bool:
    """Whether a reference's camera stands elsewhere than the photo's was found to."""
    solved = np.array(item.get(POSE, ()), float)
    return len(solved) == 16 and float(np.abs(np.array(item.matrix_basis).ravel() - solved).max()) > MOVED
