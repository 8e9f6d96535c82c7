"""Does the light keep what the user set, does each shot find its own, and do the targets read as published?"""

from __future__ import annotations

import math
import time
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Vector

from blender_addon.core import srgb
from blender_addon.core.dressing import exposure, light_setups
from blender_addon.job.errors import JobError
from blender_addon.scene import images, roles
from blender_addon.scene.dressing import hdri, lights, meter
from blender_addon.scene.dressing.shot_light import (
    CLOSE_OFFSET,
    EXPOSURE,
    FLUX,
    RAKING,
    apply_shot_light,
    close_card,
    turn_towards,
)
from blender_addon.scene.dressing.targets import make_targets
from blender_addon.scene.shots.lens_drivers import FOCUS, KIND
from tests.steps.dressing.lit_lump import on, run

pytestmark = pytest.mark.usefixtures("empty_scene")


def test_turning_the_dial_turns_the_light() -> None:
    """A quarter turn of the dial moves the window by a quarter turn about the vertical, counter-clockwise from above."""
    stage, _ = run()
    first = stage.require("light").location.copy()
    stage, _ = run("lighting.turn=90", only="lighting")
    second = stage.require("light").location
    assert (second.x, second.y, second.z) == pytest.approx((-first.y, first.x, first.z), abs=1e-5)


def test_turning_the_dial_turns_the_surroundings() -> None:
    """A picture black but for a lamp: the flux computed for the turned picture is where a rendered card is brightest."""
    pixels = np.zeros((32, 64, 4), np.float32)
    pixels[20:24, 40:44, :3] = 500.0
    image = images.make_image("lamp", pixels[..., :3], data=True, floating=True)
    for turn in (0.0, 70.0):
        world = lights.make_surroundings(image, turn=turn, level=1.0)
        flux = exposure.environment_flux(pixels[..., 0], turn=turn)
        flat = math.atan2(flux[1], flux[0])
        readings = []
        for off in (-0.6, 0.0, 0.6):
            normal = (math.cos(flat + off), math.sin(flat + off), 0.0)
            readings.append(float(meter.read_card(centre_mm=(0, 0, 0), normal=normal, lights=(), world=world).colour[1]))
        assert readings[1] > 1.05 * max(readings[0], readings[2])


def test_a_picture_that_rings_below_zero_takes_no_light_away() -> None:
    """A lamp with a ring of minus a tenth of its radiance round it, as a sharp filter leaves it, lights as it does alone.

    Twenty pixels of ring round sixteen of lamp would take an eighth of the light; cut off, they reach only into its edge.
    """
    readings = []
    for ring in (0.0, -50.0):
        pixels = np.full((32, 64, 3), 0.1, np.float32)
        pixels[19:25, 39:45] = ring if ring else 0.1
        pixels[20:24, 40:44] = 500.0
        image = images.make_image("lamp", pixels, data=True, floating=True)
        world = lights.make_surroundings(image, turn=0.0, level=1.0)
        readings.append(float(meter.read_card(centre_mm=(0, 0, 0), normal=(0, 0, 1), lights=(), world=world).colour[1]))
    assert readings[1] > 0.95 * readings[0]


def test_a_card_under_a_lamp_reads_what_the_inverse_square_says() -> None:
    """Small lamp of radiance L and area A at distance d, card square to it: E = L A / d^2, card 0.18 E / pi (2 %: the lamp is
    a twentieth as wide as it is far)."""
    lamp = light_setups.Lamp("lamp", np.array([0.0, 0.0, 1000.0]), np.zeros(3), 50.0, 50.0, 40.0, 5600.0)
    item = lights.make_lamp(lamp, "test", 5600.0)
    world = bpy.data.worlds.new("dark")
    lights.compat.node_tree_of(world).nodes.clear()
    found = meter.read_card(centre_mm=(0, 0, 0), normal=(0, 0, 1), lights=[item], world=world)
    assert found.colour[1] == pytest.approx(0.18 * 40.0 * 0.05**2 / np.pi, rel=0.02)


def test_a_room_lights_a_card_as_the_integral_says_and_is_soon_rendered() -> None:
    """Radiance h + (z - h) cos t over a card that faces up: E = pi h + 2/3 pi (z - h); the card is 0.18 E / pi (1 %: noise, and
    a horizon that is blended over 2 degrees). By the map that Cycles takes by itself the same render is far slower."""
    room = light_setups.Room(zenith=0.6, horizon=0.2, ground=0.0)
    world: Any = lights.make_room(room, "test", room.sky_kelvin)
    seconds = []
    for _ in range(2):
        began = time.process_time()
        found = meter.read_card(centre_mm=(0, 0, 0), normal=(0, 0, 1), lights=(), world=world)
        seconds.append(time.process_time() - began)
        assert found.colour[1] == pytest.approx(0.18 * (0.2 + 2 / 3 * 0.4), rel=0.01)
        world.cycles.sampling_method = "AUTOMATIC"
    assert seconds[0] < 0.5 * seconds[1]


def test_a_shot_stands_in_its_own_light_and_all_comes_back() -> None:
    stage, figures = run()
    assert figures["setups"] == 2
    scene = stage.scene
    before = {item.name: (item.hide_render, item.matrix_basis.copy()) for item in scene.objects}
    state = (scene.world.name, scene.view_settings.exposure)
    restore = apply_shot_light(scene, stage.require("shot", "side"))
    assert {item[lights.SETUP] for item in on(stage)} == {"bench_lamp"}
    assert scene.view_settings.exposure == pytest.approx(stage.require("world", "bench_lamp")[EXPOSURE])
    restore()
    assert {item.name: (item.hide_render, item.matrix_basis) for item in scene.objects} == before
    assert (scene.world.name, scene.view_settings.exposure) == state


def test_a_built_in_light_keeps_its_side_of_the_camera() -> None:
    """The window stands at the hero's left; for a camera at the right of the set it is turned with it."""
    stage, _ = run()
    hero, side = stage.require("shot", "hero"), stage.require("shot", "side")
    side[lights.SETUP] = ""
    lamp = stage.find("light", "north_window window").name

    def bearing(camera: Any) -> float:
        place = bpy.data.objects[lamp].matrix_basis.translation
        return (math.atan2(place.y, place.x) - math.atan2(camera.location.y, camera.location.x)) % (2 * math.pi)

    straight = bearing(hero)
    restore = apply_shot_light(stage.scene, side)
    assert bearing(side) == pytest.approx(straight, abs=1e-4)
    restore()


def test_a_lamp_and_a_card_stay_as_the_user_left_them() -> None:
    stage, _ = run()
    lamp, card = stage.require("light", "north_window window"), stage.require("card", "north_window white card")
    place, bright = lamp.location.x + 0.3, 3.0 * lamp.data.energy
    lamp.location.x, lamp.data.energy = place, bright
    card.hide_render = True
    stage, _ = run(only="lighting")
    lamp, card = stage.require("light", "north_window window"), stage.require("card", "north_window white card")
    assert lamp.location.x == pytest.approx(place) and lamp.data.energy == pytest.approx(bright) and card.hide_render


def test_running_twice_changes_nothing() -> None:
    run()
    first = sorted(item.name for item in bpy.data.objects), len(bpy.data.worlds), len(bpy.data.lights), len(bpy.data.materials)
    run(only="lighting")
    assert (
        sorted(i.name for i in bpy.data.objects),
        len(bpy.data.worlds),
        len(bpy.data.lights),
        len(bpy.data.materials),
    ) == first


def test_a_users_compositor_is_left_alone() -> None:
    scene = bpy.context.scene
    if hasattr(scene, "compositing_node_group"):
        scene.compositing_node_group = bpy.data.node_groups.new("Mine", "CompositorNodeTree")
    else:
        scene.use_nodes = True
    stage, _ = run()
    assert any("compositor of your own" in str(note) for note in stage.notes)


@pytest.mark.parametrize(
    ("name", "words"),
    [("interiour", 'did you mean "interior"'), ("gone.exr", "no picture of surroundings"), ("photo.jpg", "full range"),
     ("broken.exr", "broken.exr"), ("square.exr", "twice as wide")],
)  # fmt: skip
def test_bad_surroundings_are_reported_and_nothing_is_left(name: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "photo.jpg").write_bytes(b"x")
    (tmp_path / "broken.exr").write_bytes(b"v/1\x01 no picture")
    image = bpy.data.images.new("square", 8, 8, float_buffer=True)
    image.file_format, image.filepath_raw = "OPEN_EXR", str(tmp_path / "square.exr")
    image.save()
    bpy.data.images.remove(image)
    where = name if name == "interiour" else str(tmp_path / name)
    with pytest.raises(JobError, match=words):
        run("lighting.setup=hdri", f'lighting.surroundings="{where}"')
    assert not bpy.data.images and not bpy.data.worlds


def test_another_set_up_brings_its_own_world_and_leaves_yours() -> None:
    """With none, an overcast sky would leave the pictures black."""
    scene = bpy.context.scene
    for name in ("north_window", "overcast", "soft", "north_window"):
        stage, _ = run(f"lighting.setup={name}")
        assert not any("your world" in note.words for note in stage.notes)
        assert scene.world is not None
        assert scene.world[roles.KEY] == name
    scene.world = yours = bpy.data.worlds.new("Yours")
    run("lighting.setup=overcast")
    assert scene.world == yours
    scene.world = None
    run("lighting.setup=soft")
    assert scene.world is None  # taken away by hand


def test_blender_brings_eight_surroundings() -> None:
    assert len(hdri.own_pictures()) == 8


def test_the_chart_comes_back_as_published() -> None:
    """24 patches under the soft set-up, white-balanced on the fourth grey: mean CIEDE2000 to their values of 2005 under 1."""
    from blender_addon.core.colour import delta_e_2000, lab
    from blender_addon.core.surface.colour_card import CHART
    from scripts.bench._chart_reading import read_chart

    stage, figures = run("lighting.setup=soft")
    patches = read_chart(
        centre_mm=(0.0, 0.0, 30.0), normal=figures["card_normal"], lights=on(stage), world=stage.scene.world, seed=3
    )  # fmt: skip
    published = np.clip(CHART, 0, 1)
    patches = patches * (published[21] / patches[21])
    assert float(delta_e_2000(lab(patches), lab(published)).mean()) < 1.0


def test_targets_stands_beside_the_subject_and_goes_again() -> None:
    stage, _ = run("lighting.targets=true")
    chart, ball = stage.require("card", "target chart"), stage.require("card", "target grey ball")
    assert ball.matrix_basis.translation.x > 0.03  # the hero looks along +Y, so the right is +X
    assert not chart.hide_render
    stage, _ = run(only="lighting")
    assert stage.find("card", "target chart") is None


@pytest.mark.parametrize(
    ("camera", "light"), [((0, -1, 0), (0, 1, 0)), ((0, -1, 0), (-1, 0.2, 0.4)), ((0, -1, 0), (0, 1, 0.01))]
)
def test_a_card_is_always_seen_by_the_camera(camera: tuple, light: tuple) -> None:
    """Also with the light behind the subject the card shows its face to the camera, at 60 degrees at most."""
    normal = exposure.card_normal(np.array(camera, float), np.array(light, float))
    assert np.linalg.norm(normal) == pytest.approx(1.0)
    assert float(np.dot(normal, camera)) >= 0.5 - 1e-9


def test_no_ball_hides_a_patch_of_the_chart_from_the_camera() -> None:
    """Seen from 15 degrees above, as product shots are: the lowest row of patches lies clear over both balls."""
    camera = np.array([0.0, -np.cos(np.radians(15.0)), np.sin(np.radians(15.0))])
    targets = make_targets(np.zeros(3), 90.0, camera)
    up = np.array([0.0, np.sin(np.radians(15.0)), np.cos(np.radians(15.0))])

    def seen(item: Any) -> np.ndarray:
        return np.array([1000.0 * np.array(item.matrix_world @ vertex.co) for vertex in item.data.vertices]) @ up

    assert seen(targets["chart"]).min() > max(seen(targets[name]).max() for name in ("grey ball", "mirror ball"))


def test_a_close_look_is_lit_from_the_side_and_exposed_for_what_it_shows() -> None:
    """The main light comes well off the camera's direction, the white card fills, and a card in the focus reads its value."""
    stage, _ = run()
    scene, shot = stage.scene, stage.require("shot", "side")
    shot[lights.SETUP], shot[KIND], shot[FOCUS] = "", "detail", 380.0
    shot.matrix_basis = lights.facing((400.0, 0.0, 100.0), (20.0, 0.0, 30.0))
    stage, figures = run(only="lighting")
    world, shot = scene.world, stage.require("shot", "side")
    flux = turn_towards(world, shot) @ Vector(world[FLUX])
    camera = shot.matrix_world.to_3x3().col[2]
    assert math.degrees(flux.angle(camera)) == pytest.approx(math.degrees(RAKING), abs=0.5)
    assert any(item.get(lights.FILL) for item in on(stage))
    restore = apply_shot_light(scene, shot)
    assert any(item.get(lights.FILL) for item in on(stage))  # without it sockets are black
    place, normal = close_card(shot)
    around = [item for role in ("table", "backdrop", "prop") for item in stage.find_all(role).values()]
    found = meter.read_card(centre_mm=place, normal=normal, lights=on(stage), world=world, around=around, seed=5)
    reads = float(srgb.luminance(found.colour)) * 2.0**scene.view_settings.exposure
    restore()
    wanted = exposure.GREY * 2.0 ** (CLOSE_OFFSET * figures["offset_stops"])
    assert reads == pytest.approx(wanted, rel=0.03)  # the meter's own noise is under one percent


def test_a_warmer_picture_is_redder_and_a_neutral_one_is_left_alone(tmp_path: Path) -> None:
    stage, _ = run()
    assert not stage.scene.view_settings.use_white_balance
    ratios = []
    for warmth in (-20, 20):
        run(f"lighting.warmth={warmth}")
        grey = bpy.data.images.new("grey", 4, 4, float_buffer=True)
        grey.pixels.foreach_set(np.tile(np.array([0.18, 0.18, 0.18, 1.0], np.float32), 16))
        grey.save_render(str(tmp_path / "grey.png"), scene=bpy.context.scene)
        shown = images.read_pixels(bpy.data.images.load(str(tmp_path / "grey.png"), check_existing=False))[0, 0]
        ratios.append(float(shown[0] / shown[2]))
    assert ratios[0] < 0.97 and ratios[1] > 1.03  # 20 mired are about a twentieth of red over blue


def test_twenty_mired_warmer_is_a_balance_for_7470_kelvin() -> None:
    assert exposure.balanced_for(0.0) == pytest.approx(6500.0)
    assert exposure.balanced_for(20.0) == pytest.approx(7471, abs=1)  # 1e6 / (153.85 - 20)
