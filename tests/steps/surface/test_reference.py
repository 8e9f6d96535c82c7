"""Does a photo of the real piece give a shot with its camera and light, and is one that does not fit asked about?

The photos are those of the close-ups' tests: made by formula of a waved sheet under one near lamp and a little of a room.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Vector

from blender_addon.core.files.pictures.picture_headers import check_picture
from blender_addon.job import sheet as sheets
from blender_addon.job.decisions import as_kept, is_answered, questions_in
from blender_addon.job.errors import JobError
from blender_addon.job.files.whole_files import begin_folder
from blender_addon.scene.delivery.kept_pictures import scene_digests
from blender_addon.scene.reference.files import compared_in, files_of
from blender_addon.scene.reference.light import lit_as_photo
from blender_addon.steps import catalogue
from blender_addon.steps.delivery import comparison
from blender_addon.steps.surface import material, reference
from blender_addon.ui.looks.kept import of_a_look
from tests.steps.surface.test_closeups import CAMERA, LAMPS, SIZE, _form, _photographed, _spots
from tests.steps.surface.test_relief import Laid, done, laid, sheet, words

pytestmark = pytest.mark.usefixtures("empty_scene")


def _laid(out: Path) -> Laid:
    """The sheet in a plain clay, with a folder to write to."""
    place = laid(sheet(), None)
    place.stage.sheet = sheets.blank(catalogue())
    begin_folder(out)
    place.stage.out = out
    done(place, material, clay_colour=(0.6, 0.6, 0.6), recesses=False)
    return place


def _rows(names: list[str]) -> list[Any]:
    return [reference.Settings.__dataclass_fields__["photos"].metadata["bozzetto"].row(file=name) for name in names]


def _found(place: Laid, folder: Path, **settings: Any) -> Any:
    names = _photographed(folder, LAMPS[3:4])
    return done(place, reference, **{"photos": _rows(names), "spots": _spots(), **settings})


def test_a_photo_gives_a_camera_a_world_and_a_lamp_of_its_own(tmp_path: Path) -> None:
    place = _laid(tmp_path / "out")
    lights = len(bpy.data.lights)
    result = _found(place, tmp_path)
    assert result.figures["references"] == 1 and result.figures["reference_camera"] == "sure", words(place)
    camera = place.stage.require("reference", "reference")
    scene = place.stage.scene
    scene.render.resolution_x, scene.render.resolution_y = SIZE
    bpy.context.view_layer.update()
    points = _form().vertices[::97]
    seen = [world_to_camera_view(scene, camera, Vector(point / 1000.0)) for point in points]
    pixels = np.array([(at.x * SIZE[0], (1 - at.y) * SIZE[1]) for at in seen])
    inside = ((CAMERA.project(points)[0] > 0) & (CAMERA.project(points)[0] < SIZE)).all(axis=1)
    assert np.linalg.norm(pixels - CAMERA.project(points)[0], axis=1)[inside].max() < 1.5  # the camera is fitted to spots
    assert camera.data.background_images[0].image == place.stage.find("reference_photo", "reference")
    lamp = place.stage.require("reference_light", "reference")
    way = np.array(lamp.matrix_basis.translation) * 1000.0 - (19.0, 21.0, 0.0)
    true = LAMPS[3] - (19.0, 21.0, 0.0)
    assert way @ true / np.linalg.norm(way) / np.linalg.norm(true) > np.cos(np.radians(15.0))  # the grooves blur its direction
    assert lamp.hide_render and len(bpy.data.lights) == lights + 1
    _laid_beside_each_other(place, tmp_path)
    _stays_as_changed(place, tmp_path)


def _stays_as_changed(place: Laid, folder: Path) -> None:
    """What the user changed of it stays when it is found again, and no other picture shows it."""
    hero = bpy.data.objects.new("hero", bpy.data.cameras.new("hero"))
    place.stage.scene.collection.objects.link(hero)
    hero["bozzetto_key"] = "hero"
    camera, lamp = (place.stage.require(role, "reference") for role in ("reference", "reference_light"))
    before = scene_digests(place.stage.scene, place.stage.job)
    lamp.data.color = (1.0, 0.5, 0.25)
    after = scene_digests(place.stage.scene, place.stage.job)
    assert before.of(hero) == after.of(hero) and before.of(camera) != after.of(camera)
    _found(place, folder)
    assert tuple(place.stage.require("reference_light", "reference").data.color) == (1.0, 0.5, 0.25)
    assert len(place.stage.find_all("reference")) == 1
    done(place, reference)  # the photo is no longer named
    assert not place.stage.has("reference") and not place.stage.has("reference_world")
    assert done(place, comparison).figures == {"compared": []}


def _laid_beside_each_other(place: Laid, folder: Path) -> None:
    """Render and photo are compared; both files and figures stay while nothing changes."""
    table = bpy.data.objects.new("mine", bpy.data.lights.new("mine", "SUN"))
    place.stage.scene.collection.objects.link(table)
    view = place.stage.scene.view_settings
    view.view_transform, view.exposure = "AgX", 1.5
    with lit_as_photo(place.stage, "reference"):
        assert table.hide_render and view.view_transform == "Standard" and view.exposure == 0.0
        assert not place.stage.require("reference_light").hide_render
    assert not table.hide_render and view.view_transform == "AgX" and view.exposure == 1.5
    result = done(place, comparison, size=160, samples=16)
    files = files_of(folder / "out", "reference")
    assert {check_picture(path).width for path in files} == {160}
    # a plain clay of the true albedo, without the photo's grooves: 10 % of the light and no stroke in common
    assert result.figures["reference_delta_e2000"] < 8.0
    assert [name for name, _ in compared_in(place.stage.scene, folder / "out")] == ["reference"]
    assert compared_in(place.stage.scene, folder) == []
    stamp = files.render.stat().st_mtime_ns
    again = done(place, comparison, size=160, samples=16)
    assert files.render.stat().st_mtime_ns == stamp and again.figures == result.figures
    place.stage.require("reference").location.x += 0.01
    done(place, comparison, size=160, samples=16)
    assert files.render.stat().st_mtime_ns != stamp and "moved by hand" in words(place)


def test_a_photo_that_does_not_fit_is_set_aside_and_never_used(tmp_path: Path) -> None:
    place = _laid(tmp_path / "out")
    spots = _spots()
    for row in spots:
        row.pixel = (SIZE[0] - row.pixel[0], row.pixel[1])
    result = _found(place, tmp_path, spots=spots, accepted="1")  # accepting helps only what may be right
    assert result.figures["references"] == 0 and "mirrored" in words(place)
    assert not place.stage.has("reference") and not place.stage.has("reference_light")


def test_a_light_that_explains_little_is_asked_about(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from blender_addon.core.reference import light

    monkeypatch.setattr(light, "MOST_RESIDUAL", 0.001)
    place = _laid(tmp_path / "out")
    result = _found(place, tmp_path)
    (asked,) = result.decisions
    assert asked.asked and result.figures["references"] == 0 and "unexplained" in words(place)
    assert asked.alternatives[0].sets == {"reference.accepted": "1"}
    (question,) = questions_in("reference", [as_kept("reference", asked)])
    assert not is_answered(question, {"reference.accepted": ""}.get, {})  # it stays in the list until somebody answers
    assert is_answered(question, {"reference.accepted": "1"}.get, {})


def test_a_look_for_other_pieces_has_no_photos_of_this_one() -> None:
    left_out = {step.name for step in catalogue() if not of_a_look(step)}
    assert {"closeups", "reference"} <= left_out and "comparison" not in left_out


def test_a_sheet_names_photos_shortly_and_each_needs_a_place_of_its_own(tmp_path: Path) -> None:
    text = 'bozzetto = 1\n[reference]\nphotos = ["a.jpg", "b.jpg"]\n[[reference.spots]]\npixel = [1, 2]\non_scan = [1, 2, 3]\n'
    read = sheets.parse(text, catalogue(), name="x", folder=tmp_path)
    assert [name for _, name, _ in read["reference"].named()] == ["reference", "reference 2"]
    rows = _rows(["a.jpg", "b.jpg"])
    rows[0].set = "2"
    with pytest.raises(JobError, match='two photos are from the place "2"'):
        reference.Settings(photos=rows).check_names()
    place = laid(sheet(), None)
    with pytest.raises(JobError, match='there is no photo of a place "1"'):
        rows[1].set = "3"
        done(place, reference, photos=rows, spots=_spots())
    place.stage.discard()
