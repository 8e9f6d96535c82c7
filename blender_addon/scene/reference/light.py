"""The light of a photo as ordinary Blender data: a world of spherical harmonics and one area lamp, for that photo alone."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.dressing.setups.setup import Lamp
from ...core.reference.light import PhotoLight
from ...core.srgb import luminance
from ...core.surface.light.spherical_harmonics import basis
from .. import compat, roles
from ..delivery.kept_pictures import AWAY_FROM_PHOTO
from ..dressing.lights import ROOM_MAP, make_lamp
from ..nodes.builder import Socket, Tree

if TYPE_CHECKING:
    from ..stage import Stage
    from ..temporary import Change

PHOTO = "photo"
"""The set-up that a photo's lamp belongs to; no shot names it."""


def make_photo_world(light: PhotoLight, behind: Floats) -> bpy.types.World:
    """A world with the room's radiance, its harmonics as polynomials in the direction; nowhere below 0.

    behind: (3,) the plain linear tone that the camera sees behind the piece: what the photo shows there is not the piece's.
    """
    world = bpy.data.worlds.new("Light of a photo")
    node_tree = compat.node_tree_of(world)
    node_tree.nodes.clear()
    tree = Tree(node_tree)
    way = tree.vector("NORMALIZE", tree.node("TexCoord")["Generated"])
    parts = tree.node("SeparateXYZ", {"Vector": way})
    x, y, z = parts["X"], parts["Y"], parts["Z"]
    constant, linear, mixed, tall, flat = _norms()
    plain: list[tuple[Socket | float, float]] = [
        (1.0, constant), (y, linear), (z, linear), (x, linear),
        (tree.math("MULTIPLY", x, y), mixed), (tree.math("MULTIPLY", y, z), mixed),
        (tree.math("MULTIPLY_ADD", tree.math("MULTIPLY", z, z), 3.0, -1.0), tall),
        (tree.math("MULTIPLY", x, z), mixed),
        (tree.math("SUBTRACT", tree.math("MULTIPLY", x, x), tree.math("MULTIPLY", y, y)), flat),
    ]  # fmt: skip
    total: Any = tuple(float(value) for value in constant * light.room[0])
    for (polynomial, norm), coefficient in zip(plain[1:], light.room[1:], strict=True):
        tint = tuple(float(value) for value in norm * coefficient)
        total = tree.vector("MULTIPLY_ADD", tree.grey(polynomial), tint, total)
    colour = tree.vector("MAXIMUM", total, (0.0, 0.0, 0.0))
    seen = tree.node("LightPath")["Is Camera Ray"]
    shown = tree.mix(seen, colour, tuple(float(value) for value in behind))
    tree.node("OutputWorld", {"Surface": tree.node("Background", {"Color": shown, "Strength": 1.0}, label="Level")})
    tree.arrange()
    world.cycles.sampling_method, world.cycles.sample_map_resolution = "MANUAL", ROOM_MAP
    return world


def _norms() -> tuple[float, float, float, float, float]:
    """The factors of the harmonics' polynomials: of 1, of x, of xy, of 3 z^2 - 1 and of x^2 - y^2; read from the basis."""
    along_x, along_z, between = basis(np.array([[1.0, 0, 0], [0, 0, 1.0], [np.sqrt(0.5), np.sqrt(0.5), 0]]))
    return float(along_x[0]), float(along_x[3]), float(2.0 * between[4]), float(0.5 * along_z[6]), float(along_x[8])


def make_photo_lamp(light: PhotoLight) -> bpy.types.Object | None:
    """The lamp as a round area light that faces the middle of what the photo shows; None for a room without one."""
    if light.way is None:
        return None
    radius = 0.5 * light.size * light.distance
    bright = float(luminance(light.flux))
    radiance = bright * (radius**2 + light.distance**2) / (np.pi * radius**2)  # a disc of radiance L gives pi L r^2/(r^2 + d^2)
    place = light.middle + light.distance * light.way
    lamp = make_lamp(Lamp("lamp", place, light.middle, 2 * radius, 2 * radius, radiance, 5600.0, True), PHOTO, 5600.0)
    lamp.data.color = tuple(float(value) for value in light.flux / max(bright, 1e-9))
    return lamp


def scale_light(world: bpy.types.World, lamp: bpy.types.Object | None, gains: Floats) -> None:
    """Multiply the channels of a photo's light; the tone behind the piece stays."""
    for node in world.node_tree.nodes:
        if node.bl_idname == "ShaderNodeVectorMath" and node.operation == "MULTIPLY_ADD":
            for socket in node.inputs[1:3]:
                if not socket.is_linked:
                    socket.default_value = tuple(float(value) for value in np.array(socket.default_value) * gains)
    if lamp is not None:
        colour = np.array(lamp.data.color) * gains
        bright = float(luminance(colour))
        lamp.data.energy *= bright
        lamp.data.color = tuple(float(value) for value in colour / max(bright, 1e-9))


@contextlib.contextmanager
def lit_as_photo(stage: Stage, key: str) -> Iterator[None]:
    """Inside the block, piece and stand alone in a photo's light, shown by plain sRGB as the photo was decoded."""
    scene = stage.scene
    world, lamp = stage.find("reference_world", key), stage.find("reference_light", key)
    kept = _kept(scene)
    shown = {item.name: item.hide_render for item in scene.objects if _away(item, stage.job)}
    lit = (lamp.name, lamp.hide_render) if lamp is not None else None
    try:
        for name in shown:
            scene.objects[name].hide_render = True
        if lamp is not None:
            lamp.hide_render = False
        scene.world = world or scene.world
        scene.render.use_compositing = False
        view = scene.view_settings
        scene.display_settings.display_device = "sRGB"
        view.view_transform, view.look = "Standard", "None"
        view.exposure, view.gamma, view.use_curve_mapping, view.use_white_balance = 0.0, 1.0, False, False
        yield
    finally:
        for name, hidden in (*shown.items(), *([lit] if lit else [])):
            scene.objects[name].hide_render = hidden
        for owner, name, value in kept:
            setattr(owner, name, value)


def _away(item: bpy.types.Object, job: str) -> bool:
    """Whether an object is not there in a photo's light: what the job dresses and lights with, and any lamp besides."""
    return (item.get(roles.JOB) == job and item.get(roles.ROLE) in AWAY_FROM_PHOTO) or item.type == "LIGHT"


def _kept(scene: bpy.types.Scene) -> list[Change]:
    view = scene.view_settings
    names = ("view_transform", "look", "exposure", "gamma", "use_curve_mapping", "use_white_balance")
    return [
        (scene, "world", scene.world),
        (scene.render, "use_compositing", scene.render.use_compositing),
        (scene.display_settings, "display_device", scene.display_settings.display_device),
        *((view, name, getattr(view, name)) for name in names),
    ]
