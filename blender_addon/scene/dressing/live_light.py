"""Turns the light about the vertical as a preview of the setting `lighting.turn`, and restores it."""

from __future__ import annotations

import math

import bpy
import numpy as np
from mathutils import Matrix, Vector

from .. import roles
from .lights import SETUP
from .shot_light import FLUX, give_pose, pose_of

TURN = "Turn"
"""Label of the node that turns an environment picture."""


class LiveLight:
    """The lamps, cards and environment of a scene's active light. Data are referenced by name, so that undo is harmless."""

    def __init__(self, scene: bpy.types.Scene):
        job, world = scene.get(roles.JOB, ""), scene.world
        name = world.get(SETUP, "") if world is not None else ""
        items = [item for role in ("light", "card") for item in roles.players(job, role=role, scene=scene, kinds=("objects",))]
        turned = [item for item in items if name and item.get(SETUP) == name]
        self._poses = {item.name: item.matrix_basis.copy() for item in turned}
        self._channels = {item.name: pose_of(item) for item in turned}
        self._world = world.name if world is not None and roles.has(world, SETUP) else ""
        node = self._node()
        self._start = float(node.inputs["Rotation"].default_value[2]) if node is not None else 0.0
        self.middle = _middle(scene, job)

    @property
    def there(self) -> bool:
        """Whether there is anything to turn."""
        return bool(self._poses) or self._node() is not None

    @property
    def azimuth(self) -> float:
        """Azimuth of the main light at the beginning, radians counter-clockwise from +X seen from above."""
        flux = bpy.data.worlds[self._world].get(FLUX) if self._world else None
        if flux is None or math.hypot(flux[0], flux[1]) < 1e-9:
            return -0.5 * math.pi
        return math.atan2(flux[1], flux[0])

    def show(self, turn: float) -> None:
        """Turn the light by an angle (radians, counter-clockwise from above) from its position at the beginning."""
        about = Matrix.Translation(self.middle) @ Matrix.Rotation(turn, 4, "Z") @ Matrix.Translation(-self.middle)
        for name, pose in self._poses.items():
            if name in bpy.data.objects:
                bpy.data.objects[name].matrix_basis = about @ pose
        node = self._node()
        if node is not None:
            node.inputs["Rotation"].default_value[2] = self._start - turn

    def restore(self) -> None:
        """Restore the exact state at the beginning."""
        for name, channels in self._channels.items():
            if name in bpy.data.objects:
                give_pose(bpy.data.objects[name], channels)
        node = self._node()
        if node is not None:
            node.inputs["Rotation"].default_value[2] = self._start

    def _node(self) -> bpy.types.Node | None:
        world = bpy.data.worlds.get(self._world)
        tree = world.node_tree if world is not None else None
        return next((node for node in tree.nodes if node.label == TURN), None) if tree is not None else None


def _middle(scene: bpy.types.Scene, job: str) -> Vector:
    """The centre of the piece's bounding box, metres, about which the built-in set-ups are arranged."""
    pieces = roles.players(job, role="piece", scene=scene, kinds=("objects",))
    piece = next((item for item in pieces if getattr(item, "type", "") == "MESH"), None)
    if piece is None:
        return Vector((0.0, 0.0, 0.0))
    corners = np.array([piece.matrix_world @ Vector(corner) for corner in piece.bound_box])
    return Vector(0.5 * (corners.min(axis=0) + corners.max(axis=0)))
