"""What lies in a scene beside the job: the cube and the lamp of Blender's start scene are hidden, own lamps are reported.

Without this the cube would enclose a piece of 80 mm, since it is 2 m wide, and the lamp would overexpose the picture.
"""

from __future__ import annotations

import bpy
import numpy as np

from .. import roles
from ..stage import Stage

SET_ASIDE = "bozzetto_set_aside"
"""Custom property of what was hidden once: shown again by the user, it stays."""
LAMP_W, LAMP_AT = 1000.0, (4.07625, 1.00545, 5.90386)
"""Power and place of the start scene's lamp, as in Blender 4.5 to 5.2."""


def hide_start_scene(stage: Stage) -> None:
    """At the swap: hide the start scene's cube and lamp as long as nobody changed them; nothing is deleted."""
    found = [item for item in stage.scene.objects if _is_start_cube(item) or _is_start_lamp(item)]
    hidden = [item for item in found if not item.get(SET_ASIDE) and not item.hide_render and item.library is None]
    for item in hidden:
        stage.edit(item, _hide)
    if hidden:
        names = " and ".join(f'"{item.name}"' for item in hidden)
        stage.note(f"Hidden, not deleted: {names} of Blender's start scene, which would be in the pictures")


def _hide(item: bpy.types.Object) -> None:
    item.hide_render = item.hide_viewport = item[SET_ASIDE] = True


def _is_start_cube(item: bpy.types.Object) -> bool:
    mesh = item.data
    if not isinstance(mesh, bpy.types.Mesh) or (len(mesh.vertices), len(mesh.polygons)) != (8, 6):
        return False
    corners = np.array([vertex.co for vertex in mesh.vertices])
    unmoved = np.allclose(np.array(item.matrix_world), np.eye(4))
    return roles.stem(item.name) == "Cube" and unmoved and np.allclose(np.abs(corners), 1.0) and not item.modifiers


def _is_start_lamp(item: bpy.types.Object) -> bool:
    lamp = item.data
    if not isinstance(lamp, bpy.types.PointLight) or roles.stem(item.name) != "Light":
        return False
    return abs(lamp.energy - LAMP_W) < 1e-3 and np.allclose(item.location, LAMP_AT, atol=1e-3)


def warn_of_own_lamps(stage: Stage) -> None:
    """Warn of lamps in the scene that are not the job's, since they light its pictures too."""
    lamps = [
        item.name for item in stage.scene.objects
        if item.type == "LIGHT" and not item.hide_render and item.get(roles.JOB) != stage.job
    ]  # fmt: skip
    for name in lamps:
        stage.warn(
            f'"{name}" is a lamp of your own: it lights the pictures too, and the exposure is measured without it. Hide it in '
            "renders (the camera beside its name in the outliner) if it should not"
        )
