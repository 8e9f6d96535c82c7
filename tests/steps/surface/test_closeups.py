"""Do close-ups of a small piece come onto it as relief, and is what can't be used set aside in words?

The photos are made by formula (Lambert's law, near lamps) of a waved sheet with fine grooves that its mesh does not have.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.closeups.camera import PhotoCamera, moved, turned
from blender_addon.core.closeups.placing.judging import judged
from blender_addon.core.closeups.placing.light import Light
from blender_addon.core.closeups.placing.refinement import Fit
from blender_addon.core.closeups.pose import Spots, pose_of
from blender_addon.core.closeups.seen import Form, faces_seen, pixels_seen
from blender_addon.core.mesh.triangles import shading_normals, unit
from blender_addon.core.srgb import encode
from blender_addon.core.surface.normal_maps import decode
from blender_addon.job import sheet as sheets
from blender_addon.job.errors import JobError
from blender_addon.scene import roles
from blender_addon.scene.images import read_pixels
from blender_addon.scene.nodes.closeups import LAYER
from blender_addon.scene.prints.fingerprint import noted
from blender_addon.scene.shots.closeup_shots import closeup_places
from blender_addon.scene.surface.closeup_photos import read_photo
from blender_addon.scene.swap import edited
from blender_addon.steps.surface import closeups, material
from blender_addon.steps.surface._closeup_cameras import _weighed
from tests.steps.surface.test_relief import Laid, done, laid, sheet, words

pytestmark = pytest.mark.usefixtures("empty_scene")

SIZE = (480, 360)
LAMPS = np.array([[-60.0, 0.0, 110.0], [100.0, 40.0, 90.0], [10.0, 120.0, 100.0], [30.0, -70.0, 120.0]])
GROOVE, PERIOD = 0.25, 0.8
LOOK = np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]])  # right, down, look: from above
CAMERA = PhotoCamera(LOOK, np.array([19.0, 21.0, 90.0]), 1350.0, 0.0, SIZE)


def _form() -> Form:
    piece = sheet()
    vertices = 1000.0 * piece.vertices.astype(float)
    return Form(vertices, piece.faces, shading_normals(vertices, piece.faces))


def _photographed(folder: Path, lamps: Any = LAMPS, *, other: bool = False, by_hand: bool = False) -> list[str]:
    """A PNG a lamp; grooves run along y. other: of a piece of another form. by_hand: of a speckled piece, each from a place of
    its own but the first."""
    return [_photo(folder, number, lamp, other, by_hand) for number, lamp in enumerate(lamps)]


def _of_hand(number: int) -> PhotoCamera:
    """The camera of a photo: a degree and a millimetre off the first one's."""
    rng = np.random.default_rng(number + 5)
    turn, place = np.radians(0.6) * rng.normal(size=3), CAMERA.place + 0.7 * rng.normal(size=3)
    return PhotoCamera(turned(turn) @ CAMERA.rotation, place, CAMERA.distance, 0.0, SIZE) if number else CAMERA


def _photo(folder: Path, number: int, lamp: Any, other: bool, by_hand: bool) -> str:
    form, camera = _form(), _of_hand(number) if by_hand else CAMERA
    seen = np.flatnonzero(faces_seen(camera, form))
    texels = pixels_seen(camera, form, seen, camera.size)
    place = texels.interpolate(form.faces[seen], form.vertices).astype(float)
    smooth = unit(texels.interpolate(form.faces[seen], form.normals)).astype(float)
    normal = unit(smooth / smooth[:, 2:] - GROOVE * np.cos(2 * np.pi * place[:, :1] / PERIOD) * (1.0, 0.0, 0.0))
    if other:
        wave = 0.6 * np.cos(2 * np.pi * (place[:, :1] + 0.7 * place[:, 1:2]) / 8.0)
        normal = unit(np.array([0.0, 0.0, 1.0]) - wave * (1.0, 0.7, 0.0))
    albedo = np.full((len(place), 1), 0.6)
    if by_hand:
        rng = np.random.default_rng(8)
        waves = rng.normal(size=(12, 3)) * 2.2
        albedo[:, 0] *= np.exp(0.12 * np.sin(place @ waves.T + rng.uniform(0, 6, 12)).sum(axis=1))
    way = lamp - place
    far = np.linalg.norm(way, axis=1)
    light = albedo[:, 0] * (110.0 / far) ** 2 * np.maximum((normal * way).sum(axis=1) / far, 0) + 0.02
    raster = texels.scatter(light.astype(np.float32))
    raster += 0.002 * np.random.default_rng(number + 1).standard_normal(texels.shape)
    image = bpy.data.images.new("photo", *camera.size)
    full = np.ones((*texels.shape, 4), np.float32)
    full[..., :3] = encode(np.clip(raster, 0, 1))[..., None]
    image.pixels.foreach_set(full.ravel())
    image.filepath_raw, image.file_format = str(folder / f"lamp_{number}.png"), "PNG"
    image.save()
    name = str(image.filepath_raw)
    bpy.data.images.remove(image)
    return name


def _spots(camera: PhotoCamera = CAMERA, rows: tuple[int, ...] = (680, 710, 1222, 1737, 1766, 990, 1455)) -> list[Any]:
    form = _form()
    inside = [
        row for row in rows if ((at := camera.project(form.vertices[[row]])[0][0]) > 0).all() and (at < camera.size).all()
    ]
    assert len(inside) >= 6
    return [
        closeups.SpotRow(on_piece=tuple(form.vertices[row]), pixel=tuple(camera.project(form.vertices[[row]])[0][0]))
        for row in inside
    ]


def _rows(names: list[str]) -> list[Any]:
    return [closeups.PhotoRow(file=name) for name in names]


def test_close_ups_bring_the_grooves_onto_the_piece_and_into_its_material(tmp_path: Path) -> None:
    place = laid(sheet(), None)
    result = done(place, closeups, photos=_rows(_photographed(tmp_path)), spots=_spots())
    assert result.figures["places"] == 1 and result.figures["1_photos"] == 4, words(place)
    _shows(result.decisions[0].choice.picture, tmp_path / "lamp_0.png")
    mesh = place.piece.data
    assert LAYER in mesh.uv_layers and mesh.uv_layers.active.name != LAYER
    slope, weight = _slopes_along_x(place)
    true = GROOVE * np.cos(2 * np.pi * slope[0] / PERIOD)
    assert (weight > 0.5).mean() > 0.3  # the photos show 47 % of the sheet
    together = np.corrcoef(true, slope[1])[0, 1]
    gain = float(np.polyfit(true, slope[1], 1)[0])
    # where the sheet leans by up to 32 degrees, a slope in it is up to 30 % less than over the ground; a tenth goes with noise
    assert together > 0.95 and 0.65 < gain < 1.05
    (where,) = closeup_places(place.stage)
    assert (
        np.linalg.norm(where.middle - (19, 21, 0)) < 3 and where.normal[2] > 0.98 and where.finest < 1.0
    )  # the grooves are 0.8
    done(place, material)
    surface = place.stage.find("surface", "piece")
    assert surface.node_tree.nodes["Close-ups"].inputs["Strength"].default_value == 1.0
    place.piece[roles.PRINT] = noted(place.piece)
    done(place, closeups)  # the photos were taken off the sheet
    assert LAYER not in mesh.uv_layers and not place.stage.has("closeup_normal")
    assert not edited(place.piece)  # else the next scan would leave it in its place, as changed by the user


def _shows(picture: Any, file: Path) -> None:
    """The question's picture: 8 bits, top first, and every other square of it the photo itself."""
    photo = read_photo(file, longest=2400).pixels
    row, column = np.indices(photo.shape[:2]) * 6 // max(photo.shape)
    squares = (row + column) % 2 == 0
    assert picture.dtype == np.uint8 and picture.shape == photo.shape
    off = np.abs(picture[::-1].astype(float) - 255.0 * photo)
    assert off[squares].max() < 2.0  # rounded, and by way of light
    assert off[~squares].mean() > 5.0  # the mesh's own shading


def _slopes_along_x(place: Laid) -> tuple[Any, Any]:
    """((x, slope) of covered pixels, weight of all that faces show): the normal map looked up at each face's middle."""
    normal, weight = (read_pixels(place.stage.find(role, "piece")) for role in ("closeup_normal", "closeup_weight"))
    mesh = place.piece.data
    uv = np.zeros(2 * len(mesh.loops), np.float32)
    mesh.uv_layers[LAYER].uv.foreach_get("vector", uv)
    corners = uv.reshape(-1, 3, 2)
    vertices = np.array([tuple(vertex.co) for vertex in mesh.vertices]) * 1000.0
    faces = np.array([tuple(polygon.vertices) for polygon in mesh.polygons])
    rng = np.random.default_rng(0)
    share = rng.dirichlet((1, 1, 1), len(faces))
    at = np.einsum("nc,nci->ni", share, corners)
    column, row = (
        np.clip((at[:, axis] * normal.shape[1 - axis]).astype(int), 0, normal.shape[1 - axis] - 1) for axis in (0, 1)
    )
    shares = weight[row, column, 0]
    good = shares > 0.9
    mapped = decode(normal[row[good], column[good], :3])
    x = np.einsum("nc,nci->ni", share, vertices[faces])[good, 0]
    return np.stack([x, -mapped[:, 0] / mapped[:, 2]]), shares


def test_photos_of_a_hand_are_aligned_and_bring_the_grooves_too(tmp_path: Path) -> None:
    place = laid(sheet(), None)
    names = _photographed(tmp_path, by_hand=True)
    result = done(place, closeups, photos=_rows(names), spots=_spots(), by_hand="1")
    assert result.figures["1_photos"] == 4, words(place)
    slope, weight = _slopes_along_x(place)
    true = GROOVE * np.cos(2 * np.pi * slope[0] / PERIOD)
    assert (weight > 0.5).mean() > 0.25
    assert np.corrcoef(true, slope[1])[0, 1] > 0.8  # the speckles' own noise, and photos a part of a pixel off
    without = laid(sheet(), None)
    done(without, closeups, photos=_rows([names[0], names[2]]), spots=_spots())
    assert '"lamp_2.png" seems to be taken' in words(without) and "by_hand" in words(without)


def test_a_lamp_place_taken_twice_counts_once(tmp_path: Path) -> None:
    place = laid(sheet(), None)
    names = _photographed(tmp_path, LAMPS[[0, 1, 1]])
    result = done(place, closeups, photos=_rows(names), spots=_spots())
    assert result.figures["1_photos"] == 2
    assert '"lamp_2.png" has the lamp where "lamp_1.png" has it' in words(place)


def test_a_mirrored_photo_is_set_aside_and_said(tmp_path: Path) -> None:
    place = laid(sheet(), None)
    spots = _spots()
    for row in spots:
        row.pixel = (SIZE[0] - row.pixel[0], row.pixel[1])
    result = done(place, closeups, photos=_rows(_photographed(tmp_path)), spots=spots)
    assert result.figures["places"] == 0 and "mirrored" in words(place)
    assert LAYER not in place.piece.data.uv_layers


def test_photos_of_something_else_are_set_aside(tmp_path: Path) -> None:
    place = laid(sheet(), None)
    names = _photographed(tmp_path, other=True)
    result = done(place, closeups, photos=_rows(names), spots=_spots())
    assert result.figures["places"] == 0 and "another piece" in words(place)


def test_spots_and_a_picture_that_agrees_in_part_are_sure_only_together() -> None:
    """A dusted scan beside a photo of the bare piece: a third of the patches lie right, where chance makes a twentieth."""
    rows = _spots()
    spots = Spots(np.array([row.on_piece for row in rows]), np.array([row.pixel for row in rows]))
    pose = pose_of(spots, SIZE)
    assert pose.verdict == "sure"

    def fit(right: int, camera: PhotoCamera = pose.camera) -> Fit:
        return Fit(camera, 1500, 960, right, 0.8, 0.02, 0.1, 1.0, 0.04, 0.09, Light(np.zeros(9), None, 0.5))

    assert _weighed(pose, fit(340), spots, "").verdict == "sure"
    assert judged(fit(340))[0] == "not sure"  # the picture alone
    assert _weighed(pose, fit(60), spots, "").verdict == "not sure"
    elsewhere = moved(pose.camera, np.array([0.0, 0.03, 0, 0, 0, 0, 0, 0]))  # 40 pixels
    assert _weighed(pose, fit(340, elsewhere), spots, "").verdict == "not sure"
    doubtful = replace(pose, verdict="not sure", why="four spots leave nothing over to check them by")
    assert _weighed(doubtful, fit(340), spots, "").verdict == "not sure"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda photos, spots: photos.__setitem__(0, closeups.PhotoRow(file="nowhere.jpg")), "There is no photo"),
        (lambda photos, spots: spots.__delitem__(slice(3, None)), "mark 4 or more"),
        (lambda photos, spots: setattr(spots[0], "pixel", None), "needs pixel"),
        (lambda photos, spots: setattr(spots[0], "pixel", (9999.0, 3.0)), "outside the photo"),
        (lambda photos, spots: setattr(spots[0], "on_piece", (900.0, 0.0, 0.0)), "off the piece"),
        (lambda photos, spots: setattr(spots[0], "set", "other"), 'no photo of a place "other"'),
    ],
)
def test_what_can_not_be_is_reported_in_one_sentence(tmp_path: Path, change: Any, says: str) -> None:
    place = laid(sheet(), None)
    photos, spots = _rows(_photographed(tmp_path, LAMPS[:1])), _spots()
    change(photos, spots)
    with pytest.raises(JobError, match=says):
        done(place, closeups, photos=photos, spots=spots)
    place.stage.discard()
    assert not place.stage.has("closeup_normal")


def test_a_heic_is_named_with_what_to_do(tmp_path: Path) -> None:
    file = tmp_path / "photo.heic"
    file.write_bytes(b"\0\0\0\x18ftypheic" + bytes(64))
    place = laid(sheet(), None)
    with pytest.raises(JobError, match="HEIC"):
        done(place, closeups, photos=[closeups.PhotoRow(file=str(file))], spots=_spots())


def test_a_sheet_names_photos_shortly(tmp_path: Path) -> None:
    from blender_addon.job.step import from_module

    text = 'bozzetto = 1\n[closeups]\nphotos = ["a.jpg", "b.jpg"]\n[[closeups.spots]]\npixel = [1, 2]\non_scan = [1, 2, 3]\n'
    read = sheets.parse(text, [from_module(closeups)], name="x", folder=tmp_path)
    assert [row.file for row in read["closeups"].photos] == ["a.jpg", "b.jpg"] and read["closeups"].photos[0].set == "1"


def test_without_photos_nothing_is_done() -> None:
    place = laid(sheet(), None)
    result = done(place, closeups)
    assert result.figures == {"places": 0} and not place.stage.has("closeup_normal")
