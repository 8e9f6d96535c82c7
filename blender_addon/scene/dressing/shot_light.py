"""Applies a shot's light: the scene contains all set-ups used, of which one is on, turned with the shot's camera."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeAlias

import bpy
from mathutils import Euler, Matrix, Quaternion, Vector

from ...core.arrays import Floats
from ...core.dressing.exposure import NEUTRAL_K, balanced_for
from .. import roles
from ..meshes import MM
from ..nodes.finish import diffraction_share, set_softness
from ..shots.lens_drivers import EFFECTIVE, FOCUS, FRAME, KIND
from .lights import SETUP

EXPOSURE = "bozzetto_exposure"
"""On a world: the exposure in stops of its set-up."""
CARD = "bozzetto_exposure_card"
"""On a world: the exposure in stops that renders a grey card at the subject's place as mid-grey."""
CLOSER = "bozzetto_exposure_closer"
"""On a world: exposure correction of close looks in stops, by the shot's key."""
FLUX = "bozzetto_flux"
"""On a world: the net flux vector of its set-up at the subject, in any unit; it points towards the main light."""
SHADE = "bozzetto_shade"
"""On a world: the share of the visible side that its set-up leaves in shade, 0 to 1, which the exposure compensates."""
WARMTH = "bozzetto_warmth"
"""On a shot: how much warmer its picture is than the job's others, in mired."""
FOLLOWS = "bozzetto_follows"
"""On a world, chart or ball that turns with the shot: the azimuth in radians of the camera for which it was placed."""


def apply_shot_light(scene: bpy.types.Scene, shot: bpy.types.Object) -> Callable[[], None]:
    """Apply the light, exposure and view of a shot (a camera object) to the scene; returns a function that restores all of it.

    A shot without the property `bozzetto_light` uses the job's own set-up.
    """
    scene_name, restore_view = scene.name, _apply_view(scene, shot)
    job = scene.get(roles.JOB, "")
    worlds = {world.get(SETUP, ""): world for world in roles.players(job, role="world", scene=scene, kinds=("worlds",))}
    wanted = shot.get(SETUP) or (scene.world.get(SETUP, "") if scene.world else "")
    world = worlds.get(wanted)
    if world is None:
        return restore_view
    followers = [item for item in roles.players(job, role="card", scene=scene, kinds=("objects",)) if FOLLOWS in item]
    items = [item for role in ("light", "card") for item in roles.players(job, role=role, scene=scene) if item.get(SETUP)]
    kept = [(item.name, item.hide_render, pose_of(item)) for item in [*items, *followers]]
    before = scene.world.name if scene.world else "", scene.view_settings.exposure
    turn = turn_towards(world, shot)
    same = scene.world == world
    for item in items:
        if item.get(SETUP) == wanted:
            item.hide_render = item.hide_render if same else False
            item.matrix_basis = turn @ item.matrix_basis
        else:
            item.hide_render = True
    for item in followers:
        item.matrix_basis = _round_to(item[FOLLOWS], shot) @ item.matrix_basis
    if not same:
        scene.world = world
        scene.view_settings.exposure = world.get(EXPOSURE, scene.view_settings.exposure)
    if CLOSER in world:
        scene.view_settings.exposure += world[CLOSER].get(shot.get(roles.KEY, ""), 0.0)

    def restore() -> None:
        restore_view()
        for name, hidden, pose in kept:
            item = bpy.data.objects[name]
            item.hide_render = hidden
            give_pose(item, pose)
        place = bpy.data.scenes[scene_name]
        place.world = bpy.data.worlds.get(before[0])
        place.view_settings.exposure = before[1]

    return restore


def _apply_view(scene: bpy.types.Scene, shot: bpy.types.Object) -> Callable[[], None]:
    """Apply a shot's diffraction blur and white balance; returns a function that restores both."""
    soft = None
    if shot.get(EFFECTIVE) and shot.get(FRAME):
        soft = set_softness(scene, diffraction_share(shot[EFFECTIVE], shot[FRAME]))
    scene_name, view = scene.name, scene.view_settings
    before = view.use_white_balance, view.white_balance_temperature
    if shot.get(WARMTH):
        view.white_balance_temperature = balanced_for(shot[WARMTH], before=before[1] if before[0] else NEUTRAL_K)
        view.use_white_balance = True

    def restore() -> None:
        place = bpy.data.scenes[scene_name]
        if soft is not None:
            set_softness(place, soft)
        place.view_settings.use_white_balance, place.view_settings.white_balance_temperature = before

    return restore


ObjectPose: TypeAlias = "tuple[Vector, Euler, Quaternion, Vector]"
"""Location, Euler angles, quaternion and scale of an object."""


def pose_of(item: bpy.types.Object) -> ObjectPose:
    """The transform channels of an object, by which it is restored exactly; through a matrix the values would drift."""
    return item.location.copy(), item.rotation_euler.copy(), item.rotation_quaternion.copy(), item.scale.copy()


def give_pose(item: bpy.types.Object, pose: ObjectPose) -> None:
    """Write channels that `pose_of` read."""
    item.location, item.rotation_euler, item.rotation_quaternion, item.scale = pose


def turn_towards(world: bpy.types.World, shot: bpy.types.Object) -> Matrix:
    """The rotation about the vertical through the origin that turns a set-up with the shot's camera.

    For a close look it is turned further until the main light grazes the surface, so that fine relief shows.
    """
    written_for = world.get(FOLLOWS)
    if written_for is None:
        return Matrix.Identity(4)
    turn = _round_to(written_for, shot)
    flux = world.get(FLUX)
    if flux is not None and is_close(shot):
        rake = raking_turn(Vector(flux), shot.matrix_world.to_3x3().col[2], written_for)
        turn = Matrix.Rotation(rake, 4, "Z") @ turn
    return turn


def _round_to(azimuth: float, shot: bpy.types.Object) -> Matrix:
    """The rotation about the vertical from an azimuth (radians) to that of a shot's camera; none for a view from above."""
    place = Vector(shot.matrix_world.translation)
    if place.xy.length < 0.05 * abs(place.z):
        return Matrix.Identity(4)
    return Matrix.Rotation(math.atan2(place.y, place.x) - azimuth, 4, "Z")


def is_close(shot: bpy.types.Object) -> bool:
    """Whether a shot is a close look, which is lit by grazing light."""
    return bool(shot.get(KIND) == "detail")


CLOSE_OFFSET = 0.2
"""The share of the usual exposure offset used in a close look, which is metered on the surface that it shows."""


def close_card(shot: bpy.types.Object) -> tuple[Vector, Vector] | None:
    """Position (3,) in mm and normal of the grey card for a close look: at the point in focus, facing the camera.

    None for other shots, which share the card at the subject's middle.
    """
    if not is_close(shot) or not shot.get(FOCUS):
        return None
    matrix = shot.matrix_basis.to_3x3().normalized()
    normal = matrix.col[2]
    return MM * shot.matrix_basis.translation - shot[FOCUS] * normal, normal


RAKING, MOST_TURNED = math.radians(70.0), math.radians(42.0)
"""Angle (radians) between the camera's direction and the main light of a close look, and the largest turn made to reach it.
Set by eye: at 78 degrees without the white card an eye socket of the demo's owl was black and lost its detail."""


def raking_turn(flux: Floats, camera: Floats, written_for: float) -> float:
    """Further turn (radians) of a set-up so that its main light, net flux (3,), is `RAKING` off the direction to a camera (3,).

    written_for: azimuth of the camera for which the flux holds. 0 for light from nearly above, which can't be turned to graze.
    """
    flux, camera = flux.normalized(), camera.normalized()
    level = flux.xy.length * camera.xy.length
    if flux.xy.length < 0.4 or level < 1e-6:
        return 0.0
    off = math.remainder(math.atan2(flux.y, flux.x) - written_for, math.tau)
    wanted = math.acos(max(-1.0, min(1.0, (math.cos(RAKING) - flux.z * camera.z) / level)))
    turn = max(0.0, min(wanted - abs(off), MOST_TURNED))
    return math.copysign(turn, off if abs(off) > 0.1 else -1.0)  # light from the front is turned to the camera's left
