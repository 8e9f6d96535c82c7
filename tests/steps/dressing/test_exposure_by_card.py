"""Is every light exposed as a grey card says, for the tone that its view shows?"""

from __future__ import annotations

import math
from pathlib import Path

import bpy
import numpy as np
import pytest
from mathutils import Matrix

from blender_addon.core import srgb
from blender_addon.core.dressing import exposure, light_setups
from blender_addon.job import sheet as sheets
from blender_addon.scene import images, roles
from blender_addon.scene.delivery.output import Quality, set_up
from blender_addon.scene.dressing import lights, meter, set_parts
from blender_addon.scene.dressing.set_materials import plain_material
from blender_addon.scene.stage import Stage
from blender_addon.steps.dressing import lighting as step
from tests.steps.dressing.lit_lump import STEPS, card_reading, on, run

pytestmark = pytest.mark.usefixtures("empty_scene")
NAMES = [key for key, *_ in light_setups.SETUPS]


@pytest.mark.parametrize("name", NAMES)
def test_the_grey_card_lands_on_mid_grey(name: str) -> None:
    """Scene-linear value after exposure = 0.18 within 0.1 stops, in each built-in set-up."""
    stage, figures = run(f"lighting.setup={name}")
    value = card_reading(stage, figures["card_normal"]) * 2.0**stage.scene.view_settings.exposure
    assert abs(math.log2(value / exposure.GREY)) < 0.1


@pytest.mark.parametrize("name", ["city", "courtyard", "forest", "interior", "night", "studio", "sunrise", "sunset"])
def test_surroundings_are_exposed_by_the_card_too(name: str) -> None:
    """Blender's own eight pictures, whose peaks run from tens to tens of thousands."""
    stage, figures = run("lighting.setup=hdri", f"lighting.surroundings={name}")
    value = card_reading(stage, figures["card_normal"]) * 2.0**stage.scene.view_settings.exposure
    assert abs(math.log2(value / exposure.GREY)) < 0.1
    assert figures["card_error_percent"] < 2.0


@pytest.mark.parametrize("view", ["AgX", "Standard"])
def test_the_grey_card_has_the_code_of_grey_in_the_picture(view: str, tmp_path: Path) -> None:
    """sRGB code of 18 % is 118 (0.46136 x 255 = 117.6, IEC 61966-2-1). 4 codes are a tenth of a stop there; AgX tints greys a
    little, so the mean of the channels counts."""
    stage, _ = run(f"lighting.view={view}", "lighting.finish=false")
    scene, card = stage.scene, stage.require("card", "grey")
    card.hide_render = False
    stage.require("piece").hide_render = True
    camera = bpy.data.objects.new("eye", bpy.data.cameras.new("eye"))
    scene.collection.objects.link(camera)
    camera.data.type, camera.data.ortho_scale, camera.data.clip_start = "ORTHO", 0.01, 1e-5
    away = card.matrix_basis @ Matrix.Translation((0, 0, -0.0005)) @ Matrix.Rotation(math.pi, 4, "Y")
    camera.matrix_world = away
    scene.camera = camera
    set_up(scene, Quality(128, 0.0, denoise=False), device="cpu", seed=5)
    scene.render.resolution_x = scene.render.resolution_y = 8
    scene.render.filepath = str(tmp_path / "card.png")
    bpy.ops.render.render(write_still=True)
    image = bpy.data.images.load(scene.render.filepath)
    values = np.zeros(8 * 8 * 4, np.float32)
    image.pixels.foreach_get(values)
    assert 255 * values.reshape(-1, 4)[:, :3].mean() == pytest.approx(117.6, abs=4)


@pytest.mark.parametrize("view", ["AgX", "Standard"])
def test_the_tone_of_each_view_is_as_it_shows_greys(view: str) -> None:
    """The codes of scene-linear greys at the stops of `TONES`: 221 and 238 of 255 to 2 codes, and L* 13 to 1.5."""
    from blender_addon.core.colour import lab

    tone, scene = exposure.TONES[view], bpy.context.scene
    found = images.make_image("greys", np.zeros((1, 3, 3)), floating=True)
    values = exposure.GREY * 2.0 ** np.array([tone.top, tone.highest, tone.dark])
    found.pixels.foreach_set(
        np.append(np.repeat(values[:, None], 3, axis=1), np.ones((3, 1)), axis=1).astype(np.float32).ravel()
    )
    scene.view_settings.view_transform, scene.view_settings.look = view, step.LOOKS[view]
    scene.view_settings.exposure = 0.0
    scene.render.image_settings.file_format = "PNG"
    path = Path(bpy.app.tempdir) / "greys.png"
    found.save_render(str(path), scene=scene)
    shown = images.read_pixels(bpy.data.images.load(str(path)))[0, :, :3]
    assert 255.0 * shown[:2].mean(axis=1) == pytest.approx([221.0, 238.0], abs=2.0)
    assert float(lab(srgb.decode(shown[2]))[0]) == pytest.approx(13.0, abs=1.5)


@pytest.mark.parametrize(("albedo", "name"), [(0.7, "pale"), (0.25, "middling")])
def test_the_lights_of_a_piece_reach_the_top_of_the_picture(albedo: float, name: str) -> None:
    """In a trial picture with another seed than the job's they lie where the step puts them, to a tenth of a stop."""
    run()
    stage = Stage(bpy.context.scene, sheets.blank(STEPS))
    _wear(stage, albedo)
    stage.require("shot", "hero").matrix_basis = lights.facing((0.0, -400.0, 60.0), (0.0, 0.0, 30.0))
    stage, _ = run(only="lighting")
    shot = stage.require("shot", "hero")
    bright = meter.read_piece(
        camera=shot, piece=stage.require("piece"), lights=on(stage), world=stage.scene.world,
        around=[stage.require("table")], seed=77,
    )  # fmt: skip
    lights_at = float(np.percentile(bright, exposure.LIGHTS_PERCENT)) * 2.0**stage.scene.view_settings.exposure
    assert math.log2(lights_at / exposure.GREY) == pytest.approx(exposure.TONES["AgX"].top, abs=0.1)


def test_the_room_behind_has_one_tone_however_its_piece_is_exposed() -> None:
    """Of a pale piece and a dark one: the exposures differ, the wall's light in the picture does not, to a tenth of a stop,
    which is what a series may spread; measured once more it stays; with an exposure set by hand the wall keeps its albedo."""
    run()
    stops, tones, levels = [], [], []
    for albedo in (0.75, 0.1, 0.1):
        stage = Stage(bpy.context.scene, sheets.blank(STEPS))
        _wear(stage, albedo)
        stage.require("shot", "hero").matrix_basis = lights.facing((0.0, -400.0, 60.0), (0.0, 0.0, 40.0))
        if stage.find("backdrop", "room") is None:
            _stand_wall(stage)
        stage, figures = run(only="lighting")
        room = stage.require("backdrop", "room")
        bright = meter.read_room(
            camera=stage.require("shot", "hero"), room=room, lights=on(stage), world=stage.scene.world,
            horizon=0.66, seed=77,
        )  # fmt: skip
        assert bright is not None
        stops.append(figures["exposure_stops"])
        tones.append(math.log2(bright / exposure.GREY) + figures["exposure_stops"])
        levels.append(room.color[0])
    assert abs(stops[1] - stops[0]) > 0.2
    assert tones == pytest.approx([exposure.ROOM] * 3, abs=0.1)
    assert levels[2] == levels[1]
    stage, _ = run("lighting.exposure=0.5", only="lighting")
    assert stage.require("backdrop", "room").color[0] == 1.0


def test_the_tone_that_an_earlier_light_gave_the_table_is_not_metered() -> None:
    """Else the same light again would give another exposure, and the table yet another tone."""
    run()
    stage = Stage(bpy.context.scene, sheets.blank(STEPS))
    table = stage.require("table")
    table.data.materials[0] = plain_material("Board", (0.6, 0.6, 0.6), rough=0.9, mottle=0.1, size=200.0)
    table[set_parts.TONED] = True
    stage.require("shot", "hero").matrix_basis = lights.facing((0.0, -400.0, 160.0), (0.0, 0.0, 20.0))
    found = []
    for tone in (1.0, 0.3):
        table.color = (tone, tone, tone, 1.0)
        _, figures = run(only="lighting")
        found.append((figures["exposure_stops"], figures["card_luminance"], table.color[0]))
    assert found[0] == found[1]


def _stand_wall(stage: Stage) -> None:
    """A room of one wall, a metre behind."""
    plain = plain_material("Wall", (0.3, 0.3, 0.3), rough=0.9, mottle=0.1, size=200.0)
    wall = lights.flat_object("Room", 4000.0, 4000.0, plain)
    wall.matrix_world = lights.facing((0.0, 1000.0, 0.0), (0.0, 0.0, 0.0))
    wall[set_parts.TONED] = True
    set_parts.only_seen(wall)
    bpy.context.scene.collection.objects.link(wall)
    roles.mark(wall, job=stage.job, step="tabletop", role="backdrop", key="room")


def _wear(stage: Stage, albedo: float) -> None:
    """Give the lump a matt material that plays the role of its surface."""
    material = lights.matt_material(f"matt {albedo}", (albedo,) * 3)
    material["bozzetto_kind"] = "clay"
    roles.mark(material, job=stage.job, step="material", role="surface", key="piece")
    piece = stage.require("piece")
    piece.data.materials.clear()
    piece.data.materials.append(material)


def test_level_changes_the_light_and_not_the_picture() -> None:
    _, figures = run("lighting.setup=hdri")
    _, four = run("lighting.setup=hdri", "lighting.level=4")
    assert figures["exposure_stops"] - four["exposure_stops"] == pytest.approx(2.0, abs=0.02)


def test_an_offset_is_an_offset() -> None:
    _, plain = run()
    _, dark = run("lighting.offset=-0.5")
    assert plain["exposure_stops"] - dark["exposure_stops"] == pytest.approx(0.5, abs=0.01)


def test_a_piece_is_held_at_the_exposure_of_its_series_unless_it_differs_much() -> None:
    """The piece of the other tests has no material, so that its own exposure is the card's and the usual offset."""
    _, own = run()
    near, far = own["offset_stops"] + 0.4, own["offset_stops"] + 0.6  # half a stop is the limit
    assert run(f"lighting.series_offset={near}")[1]["offset_stops"] == pytest.approx(near, abs=0.01)
    assert run(f"lighting.series_offset={far}")[1]["offset_stops"] == pytest.approx(own["offset_stops"], abs=0.01)
    _, by_hand = run("lighting.offset=-0.5", f"lighting.series_offset={near}")
    assert by_hand["offset_stops"] == pytest.approx(-0.5, abs=0.01)


def test_a_given_exposure_is_taken() -> None:
    stage, _ = run("lighting.exposure=1.25")
    assert stage.scene.view_settings.exposure == pytest.approx(1.25)


def test_the_view_is_pinned() -> None:
    stage, _ = run()
    view = stage.scene.view_settings
    assert (view.view_transform, view.look, view.gamma) == ("AgX", step.LOOKS["AgX"], 1.0)
    stage, _ = run("lighting.view=Standard", only="lighting")
    assert (stage.scene.view_settings.view_transform, stage.scene.view_settings.look) == ("Standard", "None")


def test_the_first_look_is_exposed_without_a_test_render(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is not far from what the test render then gives, which the finished pictures have."""
    run()
    stage = Stage(bpy.context.scene, sheets.blank(STEPS))
    _wear(stage, 0.4)
    stage.require("shot", "hero").matrix_basis = lights.facing((0.0, -400.0, 60.0), (0.0, 0.0, 30.0))
    renders = []
    brightness = meter.brightness
    monkeypatch.setattr(meter, "brightness", lambda *what: renders.append(1) or brightness(*what))
    with monkeypatch.context() as first:
        first.setattr(Stage, "first_look", property(lambda stage: True, lambda stage, value: None), raising=False)
        _, look = run(only="lighting")
    assert not renders
    _, whole = run(only="lighting")
    assert renders
    assert look["card_luminance"] == whole["card_luminance"]
    assert look["offset_stops"] != whole["offset_stops"] and abs(look["offset_stops"] - whole["offset_stops"]) < 0.7
