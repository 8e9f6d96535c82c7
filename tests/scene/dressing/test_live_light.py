"""The light that a dial turns stands as the lighting step would make it at that turn, and goes back to the last bit."""

from __future__ import annotations

import math

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.core.dressing.light_setups import make_setup  # noqa: E402
from blender_addon.scene import roles  # noqa: E402
from blender_addon.scene.dressing import lights  # noqa: E402
from blender_addon.scene.dressing.live_light import LiveLight  # noqa: E402

CENTRE, CAMERA = np.array([10.0, -5.0, 40.0]), np.array([0.3, -0.9, 0.2])


def lit_scene(turn: float = 0.0) -> dict[str, np.ndarray]:
    """A scene with a piece and the north window turned by degrees, as the step makes both; where lamps and cards stand."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene[roles.JOB] = "job"
    setup = make_setup("north_window", subject=CENTRE, size=80.0, camera=CAMERA, turn=turn)
    lamps, cards, world = lights.make_light("north_window", setup)
    mesh = bpy.data.meshes.new("Piece")
    mesh.from_pydata([tuple((CENTRE + side * np.array([10.0, 20.0, 40.0])) / 1000.0) for side in (-1.0, 1.0)], [], [])
    piece = bpy.data.objects.new("Piece", mesh)
    items = {f"light {name}": item for name, item in lamps.items()} | {f"card {name}": item for name, item in cards.items()}
    for key, item in (items | {"piece": piece}).items():
        scene.collection.objects.link(item)
        roles.mark(item, job="job", step="lighting", role=key.split()[0], key=key)
    scene.world = world
    bpy.context.view_layer.update()
    return {key: np.array(item.matrix_basis) for key, item in items.items()}


@pytest.mark.parametrize("turn", [30.0, -110.0])
def test_it_turns_as_the_setting_does(turn: float) -> None:
    wanted = lit_scene(turn)
    lit_scene()
    light = LiveLight(bpy.context.scene)
    assert light.there
    light.show(math.radians(turn))
    for item in bpy.context.scene.objects:
        if item.get(roles.KEY) in wanted:
            assert np.array(item.matrix_basis) == pytest.approx(wanted[item[roles.KEY]], abs=2e-5), item.name


def test_it_goes_back_to_the_last_bit() -> None:
    before = lit_scene()
    light = LiveLight(bpy.context.scene)
    for turn in (0.3, 1.7, -2.2):
        light.show(turn)
    light.restore()
    for item in bpy.context.scene.objects:
        if item.get(roles.KEY) in before:
            assert (np.array(item.matrix_basis) == before[item[roles.KEY]]).all(), item.name


def test_a_picture_of_surroundings_is_turned_by_its_node() -> None:
    lit_scene()
    image = bpy.data.images.new("Sky", 8, 4, float_buffer=True)
    world = lights.make_surroundings(image, turn=20.0, level=1.0)
    scene = bpy.context.scene
    scene.world = world
    light = LiveLight(scene)
    light.show(math.radians(15.0))
    node = next(node for node in world.node_tree.nodes if node.label == "Turn")
    assert node.inputs["Rotation"].default_value[2] == pytest.approx(-math.radians(35.0), abs=1e-6)
    light.restore()
    assert node.inputs["Rotation"].default_value[2] == pytest.approx(-math.radians(20.0), abs=1e-7)


def test_without_a_light_there_is_nothing_to_turn() -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    assert not LiveLight(bpy.context.scene).there


@pytest.mark.parametrize(("width", "chosen"), [(8, lights.ROOM_MAP), (600, 600)])
def test_directions_in_a_picture_are_chosen_by_a_map_of_its_width(width: int, chosen: int) -> None:
    world = lights.make_surroundings(bpy.data.images.new("Sky", width, width // 2), turn=0.0, level=1.0)
    assert (world.cycles.sampling_method, world.cycles.sample_map_resolution) == ("MANUAL", chosen)
