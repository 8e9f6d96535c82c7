"""Do relief and albedo come out whole on good input, and say in words what is wrong with bad input?"""

from __future__ import annotations

import tracemalloc
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.srgb import encode
from blender_addon.core.surface.normal_maps import from_tangent_space, tangent_frames
from blender_addon.core.surface.relief.own_map import slopes_of_normals
from blender_addon.core.surface.speckle import masked_blur
from blender_addon.core.surface.textured_surface import read_surface
from blender_addon.job import sheet as sheets
from blender_addon.job.runner import finish
from blender_addon.job.step import Progress, from_module
from blender_addon.scene import images, meshes, roles
from blender_addon.scene.delivery.relief_files import write_relief
from blender_addon.scene.prints.fingerprint import noted
from blender_addon.scene.scan.textures import Textures, scan_material
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface.base_picture import picture_of
from blender_addon.scene.surface.own_texture import maps_of, mean_colour
from blender_addon.scene.surface.photographed import reading
from blender_addon.scene.surface.surface_texture import read_linear
from blender_addon.scene.swap import edited
from blender_addon.scene.thumbnails import paint_of, surface_colours
from blender_addon.steps.surface import albedo, material, relief
from tests.core.surface.relief.test_finer import finely_worked

pytestmark = pytest.mark.usefixtures("empty_scene")
LAMP = np.array([0.55, 0.25, 0.8])


def sheet(count: int = 48) -> TriangleMesh:
    """A waved sheet of 40 mm in metres, one UV island."""
    axis = np.linspace(0, 1, count)
    u, v = np.meshgrid(axis, axis)
    x, y = 0.04 * u, 0.04 * v
    z = 0.002 * (np.sin(2 * np.pi * x / 0.02) + np.sin(2 * np.pi * y / 0.02))
    place = np.arange(count * count).reshape(count, count)
    a, b, c, d = place[:-1, :-1].ravel(), place[:-1, 1:].ravel(), place[1:, 1:].ravel(), place[1:, :-1].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    uv = np.stack([u.ravel(), v.ravel()], 1)[faces] * 0.96 + 0.02
    return TriangleMesh(np.stack([x.ravel(), y.ravel(), z.ravel()], 1).astype(np.float32), faces, uv.astype(np.float32))


def texture(size: tuple[int, int] = (320, 320), *, grooves: float = 0.25, waves: float = 0.0) -> np.ndarray:
    """The sheet's picture (h, w, 3), grooves of 1 mm in it, linear light encoded by a plain power.

    waves: steepness of waves of 2 mm along v.
    """
    width, height = size
    u, v = np.meshgrid(((np.arange(width) + 0.5) / width - 0.02) / 0.96, ((np.arange(height) + 0.5) / height - 0.02) / 0.96)
    x, y = 40 * u, 40 * v
    slope = np.stack([2 * 0.314 * np.cos(2 * np.pi * x / 20), 2 * 0.314 * np.cos(2 * np.pi * y / 20)], -1)
    slope[..., 0] += grooves * np.cos(2 * np.pi * (x + 0.5 * y) / 1.3)
    slope[..., 1] += waves * np.cos(2 * np.pi * y / 2.0)
    normal = np.concatenate([-slope, np.ones_like(slope[..., :1])], -1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    rng = np.random.default_rng(0)
    shade = 0.6 * np.maximum(normal @ LAMP, 0.02) * np.exp(rng.normal(0, 0.01, u.shape))
    return np.repeat(shade[..., None] ** (1 / 2.2), 3, axis=2)


@dataclass
class Laid:
    stage: Stage
    piece: Any


def laid(triangles: TriangleMesh, picture: np.ndarray | None) -> Laid:
    """A stage with a piece."""
    material = bpy.data.materials.new("Scan")
    if bpy.app.version < (5, 0, 0):
        material.use_nodes = True
    if picture is not None:
        node = material.node_tree.nodes.new("ShaderNodeTexImage")
        node.image = images.make_image("Scan texture", picture)
        material.node_tree.links.new(node.outputs["Color"], material.node_tree.nodes["Principled BSDF"].inputs["Base Color"])
    item = meshes.make_object("Piece", triangles, materials=[material])
    bpy.context.scene.collection.objects.link(item)
    stage = Stage(bpy.context.scene, sheets.JobSheet("test", Path.cwd()))
    roles.mark(item, job=stage.job, step="separation", role="piece", key="")
    return Laid(stage, item)


def done(place: Laid, module: Any, **settings: Any) -> Any:
    """Run one step to its end."""
    place.stage.begin(from_module(module), afresh=False)
    result = finish(module.run(place.stage, module.Settings(**settings)))
    place.stage.swap()
    return result


def words(place: Laid) -> str:
    return " ".join(str(note) for note in place.stage.notes)


def test_relief_of_a_grooved_sheet_has_maps_in_mm_with_their_facts() -> None:
    place = laid(sheet(), texture())
    before = set(bpy.data.objects.keys())
    result = done(place, relief)
    height, normal = place.stage.find("relief_height", "piece"), place.stage.find("relief_normal", "piece")
    assert result.figures["found"] and height["found"] and 0 < height["strength"] <= 1
    assert 0.1 < height["trusted_mm"] < 1.4  # the grooves are 1.2 mm apart
    assert height.is_float and height.colorspace_settings.name == "Non-Color" == normal.colorspace_settings.name
    values = images.read_pixels(height)[..., 0]
    assert 0.003 < values.std() < 0.1  # the truth: 0.25 / (2 pi / 1.3) / sqrt 2 = 0.037 mm
    assert np.abs(images.read_pixels(normal)[160, 160, :3] - (0.5, 0.5, 1)).max() < 0.4
    assert set(bpy.data.objects.keys()) == before


def test_running_twice_gives_the_same_maps_and_no_more_of_them() -> None:
    place = laid(sheet(), texture())
    done(place, relief)
    first, count = images.read_pixels(place.stage.find("relief_height", "piece")), len(bpy.data.images)
    done(place, relief)
    assert np.array_equal(first, images.read_pixels(place.stage.find("relief_height", "piece")))
    assert len(bpy.data.images) == count


def test_texels_that_several_places_share_keep_the_scans_colours() -> None:
    """The last tenth of the columns shows the same strip of the texture as the first: no light fits both."""
    mesh = sheet()
    assert mesh.uv is not None
    folded = mesh.uv.copy()
    last = folded[..., 0].min(axis=1) > 0.88
    folded[last, :, 0] -= folded[last, :, 0].min() - mesh.uv[..., 0].min()
    place = laid(replace(mesh, uv=folded), texture())
    done(place, albedo)
    surface = read_surface(replace(mesh, uv=folded), np.ones(len(mesh.faces), bool), height=320, width=320)
    shared = surface.texels.index[surface.texels.shared]
    assert 0.02 < len(shared) / len(surface) < 0.5
    kept = images.read_pixels(place.stage.find("albedo", "piece"))[..., :3].reshape(-1, 3)[shared]
    assert np.abs(kept - np.asarray(texture()).reshape(-1, 3)[shared]).mean() < 0.01  # a byte's rounding
    gaps = images.read_pixels(place.stage.find("albedo", "piece"))[..., :3].reshape(-1, 3)
    assert gaps.min() > 0.05  # no black between the islands, which a viewer's smaller copies would bleed into the colours


def test_light_and_relief_can_be_taken_again_when_the_piece_wears_its_material() -> None:
    place = laid(sheet(), texture())
    first = [done(place, module) for module in (relief, albedo)]
    done(place, material)
    again = [done(place, module) for module in (relief, albedo)]
    assert [result.figures for result in first] == [result.figures for result in again]
    assert again[0].figures["found"] and "piece_log_spread_after" in again[1].figures


def test_maps_are_handed_over_in_16_bits_with_their_range(tmp_path: Path) -> None:
    """Read back by Blender's own reader, which knows PNG."""
    place = laid(sheet(), texture())
    done(place, relief)
    height, normal = (place.stage.find(role, "piece") for role in ("relief_height", "relief_normal"))
    written = write_relief(tmp_path, "sheet", height, normal)
    assert [name for name, _ in written] == ["sheet_height.png", "sheet_normal.png"]
    values = images.read_pixels(height)[..., 0]
    reach = float(np.abs(values).max())
    assert f"{reach:.4f} mm" in written[0][1]
    for name, true in (
        ("sheet_height.png", 0.5 + 0.5 * values / reach),
        ("sheet_normal.png", images.read_pixels(normal)[..., :3]),
    ):
        back = bpy.data.images.load(str(tmp_path / name))
        back.colorspace_settings.name = "Non-Color"
        assert back.is_float or back.depth >= 16
        found = images.read_pixels(back)
        assert np.abs((found[..., 0] if true.ndim == 2 else found[..., :3]) - np.clip(true, 0, 1)).max() < 1.5 / 65535


def test_band_pass_is_labelled_an_effect() -> None:
    place = laid(sheet(), texture())
    result = done(place, relief, method="band")
    assert "not a measurement" in result.words
    assert place.stage.find("relief_height", "piece") is not None


def test_the_albedo_flattens_the_light_and_stays_in_gamut() -> None:
    place = laid(sheet(), texture())
    result = done(place, albedo)
    assert result.figures["piece_log_spread_after"] < 0.5 * result.figures["piece_log_spread_before"]
    pixels = images.read_pixels(place.stage.find("albedo", "piece"))[..., :3]
    assert pixels.min() > 0 and pixels.max() <= 1  # never black, in gamut


@pytest.mark.parametrize(
    ("case", "says"),
    [
        ("no uv", "no UVs"),
        ("no texture", "no texture"),
        ("stacked", "lie on top of each other"),
        ("no area", "next to nothing"),
        ("black", "black all over"),
        ("white", "white all over"),
        ("even", "one even colour"),
        ("tiny", "no more than 12 x 12 pixels"),
    ],
)
def test_bad_input_is_reported_and_leaves_no_maps(case: str, says: str) -> None:
    mesh, picture = sheet(), texture((128, 128))
    if case == "no uv":
        mesh = TriangleMesh(mesh.vertices, mesh.faces)
    if case == "no area":
        mesh = TriangleMesh(mesh.vertices, mesh.faces, np.full_like(mesh.uv, 0.5))
    if case == "stacked":
        mesh = TriangleMesh(
            np.concatenate([mesh.vertices, mesh.vertices + (0, 0, 0.02)]).astype(np.float32),
            np.concatenate([mesh.faces, mesh.faces + len(mesh.vertices)]),
            np.concatenate([mesh.uv, mesh.uv * (-1, 1) + (1, 0)]),
        )  # fmt: skip
    if case == "tiny":
        picture = texture((12, 12))
    level = {"black": 0.0, "white": 1.0, "even": 0.5}.get(case)
    if level is not None:
        picture = np.full_like(picture, level)
    place = laid(mesh, None if case == "no texture" else picture)
    for module in (relief, albedo):
        done(place, module)
    assert says in words(place) and ("unwrap it again" in words(place) or "export the scan again" in words(place))
    assert not place.stage.has("relief_height") and not place.stage.has("relief_normal") and not place.stage.has("albedo")


def test_uvs_outside_the_square_and_another_aspect_work() -> None:
    mesh = sheet()
    place = laid(TriangleMesh(mesh.vertices, mesh.faces, mesh.uv + np.float32([2, -3])), texture((320, 200)))
    assert done(place, relief).figures["found"]
    assert tuple(place.stage.find("relief_height", "piece").size) == (320, 200)


@pytest.mark.parametrize("hole", ["clear", "all clear"])
def test_where_the_texture_is_transparent_no_photo_showed_the_surface(hole: str) -> None:
    """A third of the picture black and clear: as dark paint it would end all relief. Alpha of 0 throughout is a mistake."""
    plain = done(laid(sheet(), texture()), relief).figures
    bpy.ops.wm.read_factory_settings(use_empty=True)
    picture = np.concatenate([texture(), np.ones((320, 320, 1))], axis=2)
    if hole == "clear":
        picture[100:200] = 0.0
    else:
        picture[..., 3] = 0.0
    place = laid(sheet(), picture)
    found = done(place, relief).figures
    assert found["found"] and found["strength"] > 0.8 * plain["strength"]
    done(place, albedo)
    assert images.read_pixels(place.stage.find("albedo", "piece"))[150, 160, :3].min() > 0.2  # as the rest, not black


def test_sheared_islands_work() -> None:
    mesh = sheet()
    uv = mesh.uv.copy()
    uv[..., 0] = 0.1 + 0.5 * uv[..., 0] + 0.35 * uv[..., 1]
    assert done(laid(TriangleMesh(mesh.vertices, mesh.faces, uv), texture((256, 256))), relief) is not None


def test_a_vast_texture_is_worked_on_smaller_and_left_as_it_is() -> None:
    image = bpy.data.images.new("vast", 6000, 64)
    reduced = read_linear(image, limit=4096)
    assert reduced.shape[1] <= 4096
    assert tuple(image.size) == (6000, 64)
    assert len(bpy.data.images) == 1


@pytest.mark.parametrize("reader", ["colours", "mean", "normals"])
def test_no_step_holds_a_vast_picture_as_floats(reader: str, tmp_path: Path) -> None:
    """A 16 K square would take 4 GB so. This strip of it takes 134 MB as floats, 8 when it is reduced first."""
    triangles = sheet(12)
    place = laid(triangles, None)
    image = bpy.data.images.new("vast", 16384, 512)
    image.generated_color = (0.25, 0.5, 0.75, 1.0)
    image.pack()
    scan = scan_material("Scan", Textures({"normal" if reader == "normals" else "base": image}), colours=False)
    place.piece.data.materials[0] = scan
    tracemalloc.start()  # which counts numpy's arrays
    try:
        if reader == "colours":
            found = surface_colours(paint_of(place.piece), triangles, np.array([3]), np.full((1, 3), 1 / 3))[0]
        elif reader == "mean":
            found = np.array(encode(np.array(mean_colour(place.piece, maps_of(place.stage, place.piece, "piece", None)))))
        else:
            flipped = picture_of(scan_material("Scan", Textures({"normal": image}, flipped=True), colours=False), "normal")
            found = np.array(flipped.pixels[:3]) * (1, -1, 1) + (0, 1, 0)
            assert flipped.name == "vast"
        assert tracemalloc.get_traced_memory()[1] < 60e6
    finally:
        tracemalloc.stop()
    assert np.abs(found - (0.25, 0.5, 0.75)).max() < 0.01 and tuple(image.size) == (16384, 512)


def test_a_vast_map_that_was_made_gives_its_memory_back_and_reads_the_same() -> None:
    values = np.random.default_rng(1).random((16, 4200, 3)).astype(np.float16)
    image = images.make_image("map", values, data=True, floating=True)
    assert not image.has_data
    assert np.array_equal(images.read_pixels(image)[..., :3], values.astype(np.float32))


def test_reading_a_vast_picture_gives_its_memory_back_and_sees_what_was_painted() -> None:
    image = images.make_image("vast", np.full((63, 6001, 3), 0.5))
    read_linear(image, limit=4096)
    assert not image.has_data and len(bpy.data.images) == 1
    place = laid(sheet(), np.repeat(np.repeat(texture((640, 40)), 10, axis=1), 2, axis=0))
    finish(reading(place.piece, Progress(0.0, "")))
    assert not bpy.data.images["Scan texture"].has_data
    image.pixels[:3] = (1.0, 1.0, 1.0)
    reduced = read_linear(image, limit=4096)
    assert reduced.shape == (32, 3001, 3) and np.allclose(reduced[0, 0], 1, atol=0.01)
    assert image.is_dirty and image.pixels[0] == pytest.approx(1.0, abs=0.01)


def _coloured() -> Laid:
    """A stage with a grooved sheet whose colour is on its vertices."""
    mesh = sheet(150)
    picture = texture((512, 512)) ** 2.2
    row, column = (np.clip((mesh.vertices[:, k] / 0.04 * 0.96 + 0.02) * 512, 0, 511).astype(int) for k in (1, 0))
    colours = np.concatenate([picture[row, column], np.ones((len(row), 1))], 1).astype(np.float32)
    return laid(TriangleMesh(mesh.vertices, mesh.faces, colours={"Col": colours}), None)


def test_vertex_colours_become_a_live_shape_key() -> None:
    place = _coloured()
    mesh = place.piece.data
    assert finish(reading(place.piece, Progress(0.0, ""))).surface.on_vertices
    assert done(place, relief, shading="photo").figures["found"]
    moved, still = np.zeros(3 * len(mesh.vertices), np.float32), np.zeros(3 * len(mesh.vertices), np.float32)
    mesh.shape_keys.key_blocks["Relief"].data.foreach_get("co", moved)
    mesh.vertices.foreach_get("co", still)
    assert 1e-7 < np.abs(moved - still).max() < 5e-4  # metres
    assert not place.stage.has("relief_height")


def test_the_shape_key_follows_the_settings_and_keeps_the_value_that_the_user_gave_it() -> None:
    place = _coloured()
    place.piece[roles.PRINT] = noted(place.piece)
    keys = lambda: place.piece.data.shape_keys and list(place.piece.data.shape_keys.key_blocks.keys())  # noqa: E731
    made = ["Basis", "Relief"]
    for shading, expected in (("photo", made), ("none", None), ("photo", made)):
        result = done(place, relief, shading=shading, strength=0.5)
        place.stage.keep_result("relief", result.words, result.figures)
        assert keys() == expected
        assert not edited(place.piece)  # else later runs would keep the piece as changed by the user
    key = place.piece.data.shape_keys.key_blocks["Relief"]
    assert key.value == 0.5
    key.value = 0.8
    done(place, relief, shading="photo", strength=0.3)
    assert place.piece.data.shape_keys.key_blocks["Relief"].value == pytest.approx(0.8)
    assert "as you set it" in words(place)


def test_a_texture_finer_than_the_first_pass_is_read_to_its_own_texels() -> None:
    """Grooves of 0.16 to 0.3 mm, of which cells of 0.07 mm hold little: the normal map comes in the texture's own size."""
    fine, picture, true = finely_worked(0.02)
    place = laid(replace(fine, vertices=fine.vertices / 1000), np.repeat(encode(picture)[..., None], 3, axis=2))
    result = done(place, relief, strength=1.0)
    normal, height = place.stage.find("relief_normal", "piece"), place.stage.find("relief_height", "piece")
    assert tuple(normal.size) == picture.shape[::-1] and 2 * height.size[0] == normal.size[0]
    assert result.figures["finer_kept"] == 1.0 and result.figures["trusted_mm"] < 0.16
    surface = read_surface(fine, np.ones(len(fine.faces), bool), height=len(picture), width=len(picture))
    frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
    mapped = 2 * images.read_pixels(normal)[..., :3].reshape(-1, 3)[surface.texels.index] - 1
    found = slopes_of_normals(surface.normal, from_tangent_space(surface.texels, frames, surface.normal, mapped))
    inside = (np.abs(surface.position[:, :2] - 4.8) < 4.0).all(axis=1)  # a patch at the sheet's own rim knows half as much
    raster, mask = surface.texels.scatter(found), surface.texels.mask()
    coarse = np.stack([masked_blur(raster[..., axis], mask, 0.12 / surface.texel_mm) for axis in range(3)], axis=-1)
    ours, theirs = ((values.reshape(-1, 3)[surface.texels.index])[inside] for values in (raster - coarse, true))
    assert (ours * theirs).sum() > 0.65 * np.sqrt(np.square(ours).sum() * np.square(theirs).sum())  # one light sees one way
