"""Makes Blender's lights, cards and world from a light set-up in mm and kelvin."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ...core.arrays import Floats
from ...core.colour import blackbody
from ...core.dressing.light_setups import Card, Lamp, Room, SetUp
from .. import compat
from ..meshes import MM
from ..nodes.builder import Tree, first_equal
from ..prints.fingerprint import fingerprint

SETUP = "bozzetto_light"
"""Custom property: the set-up that a light, card or world belongs to; on a camera, the one that its shot uses."""


FILL = "bozzetto_fill"
"""Custom property on a white card, which fills shadows."""

BALANCE = "White balance"


def set_balance(world: bpy.types.World, gains: Iterable[float]) -> None:
    """Multiply the red, green and blue of the environment, as a camera's white balance multiplies those of a picture."""
    world.node_tree.nodes[BALANCE].inputs[1].default_value = tuple(float(gain) for gain in gains)


ROOM_MAP = 256
"""Width in px of the map by which Cycles chooses directions in a room, whose radiance is a smooth gradient. By itself Cycles
makes one of 1024 x 512, which takes about a second per render on two cores."""
LARGEST_MAP = 8192
"""Cycles' own limit of that map's width."""

MATT = "bozzetto_matt"
"""Custom property on a matt material made here: its digest."""


def facing(centre: Floats, aim: Floats) -> Matrix:
    """The matrix (metres) of an object at `centre` (mm) whose -Z points to `aim` (mm), with Y as near to vertical as can be."""
    way = Vector(np.asarray(aim, float) - np.asarray(centre, float))
    turn = way.to_track_quat("-Z", "Y")
    return Matrix.Translation(Vector(np.asarray(centre, float) / MM)) @ turn.to_matrix().to_4x4()


def tint(kelvin: float, white_kelvin: float) -> tuple[float, float, float]:
    """Linear RGB, luminance 1, of a black body of `kelvin` for a camera balanced to `white_kelvin`."""
    colour = blackbody(kelvin) / blackbody(white_kelvin)
    return tuple(float(value) for value in colour / (colour @ np.array([0.2126, 0.7152, 0.0722])))  # type: ignore[return-value]


def make_lamp(lamp: Lamp, setup: str, white_kelvin: float) -> bpy.types.Object:
    """An area light; its power in watts gives the lamp's radiance (power = pi x area x radiance for a Lambertian emitter)."""
    data = bpy.data.lights.new(f"{setup} {lamp.name}", "AREA")
    data.shape = "DISK" if lamp.round else "RECTANGLE"
    data.size, data.size_y = lamp.width / MM, lamp.height / MM
    area = data.size * (data.size * math.pi / 4 if lamp.round else data.size_y)
    data.energy = lamp.radiance * area * math.pi
    data.color = tint(lamp.kelvin, white_kelvin)
    data.spread = math.radians(lamp.spread)
    item = bpy.data.objects.new(data.name, data)
    item.matrix_world = facing(lamp.centre, lamp.aim)
    item.visible_camera = False
    item[SETUP] = setup
    return item


def make_card(card: Card, setup: str) -> bpy.types.Object:
    """A matt card that reflects and blocks light and shows in reflections, but not to the camera."""
    item = flat_object(
        f"{setup} {card.name}", card.width, card.height, matt_material(f"Card {card.albedo:g}", (card.albedo,) * 3)
    )
    item.matrix_world = facing(card.centre, card.aim)
    item.visible_camera = False
    item[SETUP] = setup
    if card.albedo > 0.5:
        item[FILL] = True
    return item


def flat_object(name: str, width: float, height: float, material: bpy.types.Material) -> bpy.types.Object:
    """A rectangle of `width` x `height` mm that faces along its own -Z."""
    mesh = bpy.data.meshes.new(name)
    x, y = width / (2.0 * MM), height / (2.0 * MM)
    mesh.from_pydata([(-x, -y, 0.0), (-x, y, 0.0), (x, y, 0.0), (x, -y, 0.0)], [], [(0, 1, 2, 3)])
    mesh.materials.append(material)
    return bpy.data.objects.new(name, mesh)


def matt_material(name: str, albedo: Sequence[float]) -> bpy.types.Material:
    """A perfectly matt material of a given albedo; an equal one made earlier and not edited is reused."""
    material = bpy.data.materials.new(name)
    node_tree = compat.node_tree_of(material)
    node_tree.nodes.clear()
    tree = Tree(node_tree)
    tree.node("OutputMaterial", {"Surface": tree.node("BsdfDiffuse", {"Color": tuple(albedo), "Roughness": 0.0})["BSDF"]})
    tree.arrange()
    return first_equal(material, bpy.data.materials, MATT, fingerprint)


def make_room(room: Room, setup: str, white_kelvin: float) -> bpy.types.World:
    """A world without a picture: the sky's radiance varies with the cosine from horizon to zenith; ground below."""
    world, tree = _world(f"Room {setup}")
    up = tree.node("SeparateXYZ", {"Vector": tree.node("TexCoord")["Generated"]})["Z"]
    sky, ground = tint(room.sky_kelvin, white_kelvin), tint(room.ground_kelvin, white_kelvin)
    high = tree.span(up, 0.0, 1.0, room.horizon, room.zenith)
    level = tree.blend(tree.span(up, -0.03, 0.03), room.ground, high)
    colour = tree.mix(tree.span(up, -0.03, 0.03), ground, sky)
    tree.node("OutputWorld", {"Surface": tree.node("Background", {"Color": colour, "Strength": level})["Background"]})
    tree.arrange()
    world.cycles.sampling_method, world.cycles.sample_map_resolution = "MANUAL", ROOM_MAP
    world[SETUP] = setup
    return world


def make_surroundings(image: bpy.types.Image, *, turn: float, level: float) -> bpy.types.World:
    """A world lit by an equirectangular picture, turned about the vertical by `turn` degrees, counter-clockwise from above.

    Negative values, which come from resampling round a sun or a lamp, are clipped. The map by which Cycles chooses directions
    is as wide as the picture; by itself Cycles makes a far larger one (1.7 s a render on two cores, for 64 x 32 pixels).
    """
    world, tree = _world("Surroundings")
    dial = tree.node("Mapping", {
        "Vector": tree.node("TexCoord")["Generated"], "Rotation": (0.0, 0.0, -math.radians(turn)),
    }, label="Turn")  # fmt: skip
    picture = tree.node("TexEnvironment", {"Vector": dial["Vector"]}, image=image, label="Picture")
    balanced = tree.vector("MULTIPLY", tree.vector("MAXIMUM", picture["Color"], (0.0, 0.0, 0.0)), (1.0, 1.0, 1.0))
    balanced.node.name = balanced.node.label = BALANCE
    light = tree.node("Background", {"Color": balanced, "Strength": level}, label="Level")
    tree.node("OutputWorld", {"Surface": light["Background"]})
    tree.arrange()
    chosen = min(max(image.size[0], ROOM_MAP), LARGEST_MAP)
    world.cycles.sampling_method, world.cycles.sample_map_resolution = "MANUAL", chosen
    world[SETUP] = "hdri"
    return world


def _world(name: str) -> tuple[bpy.types.World, Tree]:
    world = bpy.data.worlds.new(name)
    node_tree = compat.node_tree_of(world)
    node_tree.nodes.clear()
    return world, Tree(node_tree)


def make_light(
    setup_name: str, setup: SetUp
) -> tuple[dict[str, bpy.types.Object], dict[str, bpy.types.Object], bpy.types.World]:
    """The lamps and cards of a built-in set-up, each by name, and its world."""
    lamps = {lamp.name: make_lamp(lamp, setup_name, setup.white_kelvin) for lamp in setup.lamps}
    cards = {card.name: make_card(card, setup_name) for card in setup.cards}
    return lamps, cards, make_room(setup.room, setup_name, setup.white_kelvin)
