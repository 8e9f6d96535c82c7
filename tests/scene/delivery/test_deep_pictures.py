"""A merged bracket is sharp over a depth where one exposure is not; a departure is sharp on the subject, soft behind."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.job.runner import finish, run_job
from blender_addon.job.settings import build
from blender_addon.job.sheet import blank
from blender_addon.job.step import from_module
from blender_addon.scene import roles
from blender_addon.scene.compat import node_tree_of
from blender_addon.scene.delivery.deep_pictures import exposures, frames_folder, frames_of, is_deep, render_deep
from blender_addon.scene.delivery.output import Quality, cycles, render_picture
from blender_addon.scene.meshes import make_object
from blender_addon.scene.stage import Stage
from blender_addon.steps.shots import camera

pytestmark = pytest.mark.usefixtures("empty_scene")
SIZE = (180, 120)


def boards(name: str, cells: float, *places: tuple[float, float, float, float]):
    """Upright chequered boards facing the camera, as one object: middle x, y, width and height of each, in metres."""
    corners, faces = [], []
    for number, (x, y, width, height) in enumerate(places):
        half = width / 2
        corners += [[x - half, y, 0], [x + half, y, 0], [x + half, y, height], [x - half, y, height]]
        faces += [[4 * number, 4 * number + 1, 4 * number + 2], [4 * number, 4 * number + 2, 4 * number + 3]]
    item = make_object(name, TriangleMesh(np.array(corners, np.float32), np.array(faces, np.int32)))
    material = bpy.data.materials.new(name)
    tree = node_tree_of(material)
    tree.nodes.clear()
    place, checks, glow, out = (
        tree.nodes.new(kind)
        for kind in ("ShaderNodeNewGeometry", "ShaderNodeTexChecker", "ShaderNodeEmission", "ShaderNodeOutputMaterial")
    )
    checks.inputs["Scale"].default_value = cells
    checks.inputs["Color1"].default_value, checks.inputs["Color2"].default_value = (1, 1, 1, 1), (0, 0, 0, 1)
    tree.links.new(place.outputs["Position"], checks.inputs["Vector"])
    tree.links.new(checks.outputs["Color"], glow.inputs["Color"])
    tree.links.new(glow.outputs[0], out.inputs["Surface"])
    item.data.materials.append(material)
    bpy.context.scene.collection.objects.link(item)
    return item


def scene_of(depth: str):
    """Two boards as the piece, 40 mm apart in depth and side by side, with a far board behind; one hero at f/2.8."""
    step = from_module(camera)
    sheet = blank([step])
    row = {"name": "hero", "depth": depth, "f_number": 2.8, "azimuth": 0.0, "tilt": 0.0, "focus": [0.0, 0.0, 30.0]}
    sheet.settings["camera"] = build(camera.Settings, {"views": "own", "turntable": False, "shots": [row]}, "camera")
    stage = Stage(bpy.context.scene, sheet)
    piece = boards("piece", 211.0, (-0.021, 0.0, 0.04, 0.06), (0.021, 0.04, 0.04, 0.06))
    roles.mark(piece, job=stage.job, step="separation", role="piece", key="")
    boards("far", 61.0, (0.0, 0.6, 1.5, 0.5))
    finish(run_job([step], [step], sheet, stage))
    return stage


def pictures(stage: Stage, folder: Path):
    shot = stage.find("shot", "hero")
    scene = stage.scene
    scene.view_settings.view_transform = "Standard"
    with cycles(scene, Quality(64, 0.0, False), device="cpu", seed=1):
        render_picture(scene, folder / "plain.png", camera=shot, size=SIZE)
        render_deep(stage, folder / "deep.png", camera=shot, size=SIZE)
    return shot, *(values_of(folder / f"{name}.png") for name in ("plain", "deep"))


def values_of(path: Path):
    image = bpy.data.images.load(str(path))
    values = np.zeros(SIZE[0] * SIZE[1] * 4, np.float32)
    image.pixels.foreach_get(values)
    return values.reshape(SIZE[1], SIZE[0], 4)[..., 0]


def contrast(picture, columns, rows=slice(45, 75)):
    return float(picture[rows, columns].std())


LEFT, RIGHT = slice(40, 78), slice(102, 138)


def test_a_bracket_is_sharp_all_through(tmp_path: Path):
    stage = scene_of("bracket")
    shot, plain, deep = pictures(stage, tmp_path)
    assert is_deep(shot) and len(shot["bozzetto_bracket_mm"]) > 3
    assert "focus bracket of" in shot["bozzetto_caption"]
    assert contrast(plain, RIGHT) < 0.7 * contrast(plain, LEFT)  # one exposure: the far board is soft
    assert contrast(deep, RIGHT) > 0.85 * contrast(deep, LEFT)
    assert contrast(deep, LEFT) > 0.9 * contrast(plain, LEFT)


def test_a_departure_is_sharp_on_the_subject_and_says_so(tmp_path: Path):
    stage = scene_of("departure")
    counts = len(bpy.data.objects), len(bpy.data.cameras), len(bpy.data.materials)
    shot, plain, deep = pictures(stage, tmp_path)
    assert "sharper than a lens can" in shot["bozzetto_caption"]
    assert contrast(deep, RIGHT) > 0.85 * contrast(deep, LEFT)
    corner = (slice(0, 20), slice(100, 118))
    assert abs(float(deep[corner[1], corner[0]].std()) - float(plain[corner[1], corner[0]].std())) < 0.05  # the set stays soft
    assert (len(bpy.data.objects), len(bpy.data.cameras), len(bpy.data.materials)) == counts  # nothing left behind
    assert not any(item.is_holdout or not item.visible_camera for item in bpy.data.objects)
    assert stage.scene.render.image_settings.file_format == "PNG"


def test_a_bracket_left_as_frames_keeps_its_slices_and_no_more(tmp_path: Path):
    stage = scene_of("frames")
    path = tmp_path / "pictures" / "hero.png"
    folder = frames_folder(path)
    folder.mkdir(parents=True)
    (folder / "099.png").write_bytes(b"of an earlier, longer bracket")
    shot = stage.find("shot", "hero")
    assert frames_of(shot, path) == [folder / f"{number:03d}.png" for number in range(1, 1 + exposures(shot))]
    with cycles(stage.scene, Quality(16, 0.0, False), device="cpu", seed=1):
        render_deep(stage, path, camera=shot, size=SIZE)
    assert path.is_file() and stage.scene.render.image_settings.color_depth == "8"
    frames = sorted(folder.iterdir())
    assert [frame.name for frame in frames] == [
        f"{number:03d}.png" for number in range(1, len(shot["bozzetto_bracket_mm"]) + 1)
    ]
    assert all(frame.read_bytes()[24] == 16 for frame in frames)  # the bit depth in a PNG's IHDR
    first, last = (values_of(frames[place]) for place in (0, -1))
    assert contrast(first, LEFT) > 1.2 * contrast(last, LEFT)  # nearest focus first: the near board is on the left
    assert contrast(last, RIGHT) > 1.2 * contrast(first, RIGHT)
