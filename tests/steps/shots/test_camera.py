"""The camera step in Blender: cameras that stay a true lens by plain drivers, edits kept, running twice the same."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Vector

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.shots import optics
from blender_addon.core.shots.formats import frame_used
from blender_addon.job.errors import SheetError, SubjectError
from blender_addon.job.runner import finish, run_job
from blender_addon.job.settings import build
from blender_addon.job.sheet import blank, override
from blender_addon.job.step import Step, from_module
from blender_addon.scene import roles
from blender_addon.scene.delivery.shot_state import turned, turning
from blender_addon.scene.images import make_image
from blender_addon.scene.meshes import make_object
from blender_addon.scene.shots import cameras
from blender_addon.scene.stage import Stage
from blender_addon.steps.shots import camera

pytestmark = pytest.mark.usefixtures("empty_scene")

HERO: dict[str, Any] = {"views": "own", "turntable": False, "shots": [{"name": "hero"}]}
"""Settings for the hero alone, whose lens and place are the same as among others; no close look is searched for."""


def egg(size_mm: float = 80.0) -> TriangleMesh:
    """A closed bumpy egg, in metres, standing on z = 0."""
    rows, columns = 40, 60
    v, u = np.meshgrid(np.linspace(0.02, np.pi - 0.02, rows), np.linspace(0, 2 * np.pi, columns, endpoint=False), indexing="ij")
    radius = 1 + 0.06 * np.sin(7 * u) * np.sin(5 * v)
    points = np.stack(
        [0.3 * radius * np.sin(v) * np.cos(u), 0.3 * radius * np.sin(v) * np.sin(u), 0.5 + 0.5 * np.cos(v)], axis=-1
    )
    faces = []
    for row in range(rows - 1):
        for column in range(columns):
            a, b = row * columns + column, row * columns + (column + 1) % columns
            faces += [[a, a + columns, b], [b, a + columns, b + columns]]
    return TriangleMesh((points.reshape(-1, 3) * size_mm / 1000).astype(np.float32), np.array(faces, np.int32))


def job(**settings: object) -> tuple[Step, Stage]:
    step = from_module(camera)
    sheet = blank([step])
    sheet.settings["camera"] = build(camera.Settings, settings, "camera")
    stage = Stage(bpy.context.scene, sheet)
    piece = make_object("Piece", egg())
    bpy.context.scene.collection.objects.link(piece)
    roles.mark(piece, job=stage.job, step="separation", role="piece", key="")
    return step, stage


def run(step: Step, stage: Stage, *, afresh: bool = False):
    return finish(run_job([step], [step], stage.sheet, stage, afresh=afresh)).results["camera"]


def settled(item) -> None:
    item.update_tag()
    bpy.context.view_layer.update()


def check_lens(item) -> None:
    """Blender's camera has the field of view and the opening of the lens that the properties describe."""
    settled(item)
    lens = cameras.optics_of(item)
    render = bpy.context.scene.render
    width, height = frame_used(*item["bozzetto_format"], (render.resolution_x, render.resolution_y))
    data = item.data
    assert data.sensor_fit == "HORIZONTAL"
    assert data.sensor_width / data.lens == pytest.approx(width / (lens.magnification * lens.focus_mm), rel=1e-4)
    assert data.sensor_height / data.lens == pytest.approx(height / (lens.magnification * lens.focus_mm), rel=1e-4)
    gain = optics.iris_gain(item["bozzetto_blades"])
    assert data.lens / data.dof.aperture_fstop * gain == pytest.approx(lens.aperture_mm, rel=1e-4)
    assert min(data.sensor_width, data.sensor_height) >= 0.9999
    near, far = optics.limits(lens, item["bozzetto_coc_mm"])
    assert item["bozzetto_near_mm"] == pytest.approx(near, rel=1e-5)
    assert item["bozzetto_far_mm"] == pytest.approx(min(far, 1e9), rel=1e-5)
    assert item["bozzetto_magnification"] == pytest.approx(lens.magnification, rel=1e-5)
    assert item["bozzetto_effective_fnumber"] == pytest.approx(lens.effective_fnumber, rel=1e-5)


def test_the_default_list_and_what_downstream_reads():
    step, stage = job()
    result = run(step, stage)
    shots = stage.find_all("shot")
    assert sorted(shots) == ["back", "detail", "hero", "turntable"]
    for name, item in shots.items():
        check_lens(item)
        assert item["bozzetto_kind"] == name
        assert list(item["bozzetto_resolution"]) == [960, 640]
        assert item.data.clip_start == pytest.approx(item["bozzetto_focus_mm"] / 1e5, rel=1e-3)
    assert bpy.context.scene.camera == shots["hero"]
    assert "hero" in result.words and result.figures["hero_fnumber"] in optics.THIRD_STOPS


def test_right_after_edits_of_focus_format_picture_blades_and_pupil():
    step, stage = job(**HERO)
    run(step, stage)
    hero = stage.find("shot", "hero")
    render = bpy.context.scene.render
    for size in ((3000, 2000), (2000, 3000), (1600, 1200), (1000, 1000)):
        render.resolution_x, render.resolution_y = size
        check_lens(hero)
    hero["bozzetto_focus_mm"] = 6 * hero["bozzetto_focal_mm"] / 5  # 5:1
    check_lens(hero)
    hero["bozzetto_format"] = [5.64, 4.23]  # where the sensor would fall under Blender's limit
    check_lens(hero)
    hero["bozzetto_blades"] = 7
    hero["bozzetto_pupil_ratio"] = 1.6
    check_lens(hero)


def test_right_at_every_frame_of_an_animated_focus():
    step, stage = job(**HERO)
    run(step, stage)
    hero = stage.find("shot", "hero")
    for frame, focus in ((1, 200.0), (11, 700.0)):
        hero["bozzetto_focus_mm"] = focus
        hero.keyframe_insert('["bozzetto_focus_mm"]', frame=frame)
    widths = []
    for frame in (1, 4, 8, 11):
        bpy.context.scene.frame_set(frame)
        check_lens(hero)
        widths.append(hero.data.sensor_width)
    assert np.diff(widths).min() > 0.1


def test_a_focus_object_takes_over():
    step, stage = job(**HERO)
    run(step, stage)
    hero = stage.find("shot", "hero")
    mark = bpy.data.objects.new("focus", None)
    bpy.context.scene.collection.objects.link(mark)
    hero.data.dof.focus_object = mark
    settled(hero)
    matrix = hero.matrix_world
    depth = 1000 * (matrix.translation - mark.matrix_world.translation) @ matrix.col[2].to_3d()
    assert hero["bozzetto_distance_mm"] == pytest.approx(depth, rel=1e-5)
    check_lens(hero)


def test_all_drivers_are_of_the_kind_that_needs_no_python():
    step, stage = job()
    run(step, stage)
    for item in stage.find_all("shot").values():
        curves = [*item.animation_data.drivers, *item.data.animation_data.drivers]
        assert len(curves) >= 14
        assert all(curve.driver.is_simple_expression and curve.driver.is_valid for curve in curves)


def test_right_in_a_plain_blender_without_the_add_on(tmp_path: Path):
    step, stage = job(**HERO)
    run(step, stage)
    path = tmp_path / "plain.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path), check_existing=False)
    script = (
        "import bpy, sys\n"
        f"bpy.ops.wm.open_mainfile(filepath={str(path)!r}, use_scripts=False)\n"
        "item = bpy.data.objects['Shot hero']\n"
        "item['bozzetto_focus_mm'] = 180.0\n"
        "item.update_tag(); bpy.context.view_layer.update()\n"
        "assert not any('blender_addon' in name or 'bozzetto' in name for name in sys.modules)\n"
        "print('WIDTH', item.data.sensor_width, item['bozzetto_focal_mm'])\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=120)
    words = next(line for line in done.stdout.splitlines() if line.startswith("WIDTH")).split()
    width, focal = float(words[1]), float(words[2])
    m = focal / (180.0 - focal)
    render = bpy.context.scene.render
    assert width == pytest.approx(frame_used(36.0, 24.0, (render.resolution_x, render.resolution_y))[0] / (1 + m), rel=1e-4)
    assert "ependency cycle" not in done.stdout + done.stderr


def test_running_twice_changes_nothing_and_a_new_picture_size_is_no_edit():
    step, stage = job()
    run(step, stage)
    before = {name: (item.matrix_world.copy(), item["bozzetto_fnumber"]) for name, item in stage.find_all("shot").items()}
    counts = len(bpy.data.objects), len(bpy.data.cameras)
    bpy.context.scene.render.resolution_x = 777
    settled(stage.find("shot", "hero"))
    run(step, stage)
    assert (len(bpy.data.objects), len(bpy.data.cameras)) == counts
    assert not [note for note in stage.notes if "triangles are coarse" not in str(note)]
    for name, item in stage.find_all("shot").items():
        assert np.allclose(before[name][0], item.matrix_world) and before[name][1] == item["bozzetto_fnumber"]


@pytest.mark.parametrize("change", ["focus", "place"])
def test_edits_survive_until_made_ours_again(change):
    step, stage = job(**HERO)
    run(step, stage)
    hero = stage.find("shot", "hero")
    if change == "focus":
        hero["bozzetto_focus_mm"] = 333.0
    else:
        hero.location.x += 0.05
    settled(hero)
    kept = hero.location.x, hero["bozzetto_focus_mm"]
    run(step, stage)
    hero = stage.find("shot", "hero")
    assert (hero.location.x, hero["bozzetto_focus_mm"]) == kept
    assert any("Kept" in str(note) for note in stage.notes)
    run(step, stage, afresh=True)
    hero = stage.find("shot", "hero")
    assert (hero.location.x, hero["bozzetto_focus_mm"]) != kept


def test_own_shots_change_and_join_the_list():
    step, stage = job(
        views="full", turntable=False,
        shots=[
            {"name": "hero", "f_number": 4.0, "light": "overcast", "width": 600, "height": 900},
            {"name": "base mark", "kind": "detail", "focus": [0.0, -20.0, 10.0], "magnification": 1.0},
            {"name": "top", "off": True},
        ],
    )  # fmt: skip
    run(step, stage)
    shots = stage.find_all("shot")
    assert set(shots) == {"hero", "left", "right", "back", "detail", "detail 2", "detail 3", "base mark"}
    assert shots["hero"]["bozzetto_fnumber"] == 4.0 and shots["hero"]["bozzetto_light"] == "overcast"
    assert list(shots["hero"]["bozzetto_resolution"]) == [640, 960]  # a shape alone
    assert shots["base mark"]["bozzetto_magnification"] == pytest.approx(1.0)
    assert [shots[name]["bozzetto_order"] for name in ("hero", "left")] == [0, 1]


@pytest.mark.parametrize(("across", "fill"), [(0.33, 70.0), (-0.6, 95.0), (0.9, 98.0), (-1.0, 98.0)])
@pytest.mark.parametrize("size", [(960, 640), (640, 960)])
def test_a_piece_beside_the_middle_is_not_clipped(across, fill, size):
    row = {"name": "hero", "across": across, "fill": fill, "width": size[0], "height": size[1], "tilt": 25.0}
    step, stage = job(views="own", turntable=False, shots=[row])
    run(step, stage)
    hero, scene = stage.find("shot", "hero"), bpy.context.scene
    scene.render.resolution_x, scene.render.resolution_y = size
    settled(hero)
    window = hero.calc_matrix_camera(bpy.context.evaluated_depsgraph_get(), x=size[0], y=size[1])
    seen = np.c_[cameras.subject_points(stage) / 1000, np.ones(len(cameras.subject_points(stage)))]
    seen = seen @ np.array(window @ hero.matrix_world.inverted()).T
    x, y = seen[:, 0] / seen[:, 3], seen[:, 1] / seen[:, 3]
    assert max(np.abs(x).max(), np.abs(y).max()) <= 1.0
    assert 0.5 * (x.max() + x.min()) == pytest.approx(np.clip(across, -0.9, 0.9), abs=1e-3)


def test_views_for_the_set_hold_the_subject():
    step, stage = job()
    run(step, stage)
    points = cameras.subject_points(stage)
    views = cameras.shot_views(stage)
    assert {view.name for view in views} == {"hero", "detail", "back", "turntable"}
    from blender_addon.core.shots.sight import in_any_sight, in_sight

    hero = next(view for view in views if view.name == "hero")
    between = hero.position + 0.7 * (points.mean(axis=0) - hero.position)
    assert in_sight(between, hero).all()
    assert not in_any_sight(np.array([[400.0, 400.0, 0.0]]), [hero]).any()


@pytest.mark.parametrize("tile", [0.0, -3.0])
def test_the_detail_goes_where_the_recovered_relief_is(tile: float):
    """Also with UVs that lie beyond 0 to 1, where a picture repeats."""
    step, stage = job(turntable=False)
    mesh = stage.find("piece").data
    layer = mesh.uv_layers.new(name="UVMap")
    vertex = np.zeros(len(mesh.loops), np.int32)
    mesh.loops.foreach_get("vertex_index", vertex)
    place = np.array([corner.co for corner in mesh.vertices])[vertex]
    turn = np.arctan2(place[:, 1], place[:, 0]) / (2 * np.pi) + 0.5
    layer.uv.foreach_set("vector", np.stack([turn + tile, place[:, 2] / 0.08], axis=1).astype(np.float32).ravel())
    heights = np.zeros((64, 64), np.float32)
    heights[28:40, 20:30] = np.random.default_rng(1).random((12, 10))  # a little right of the back's seam, middle height
    image = make_image("relief", heights, data=True, floating=True)
    roles.mark(image, job=stage.job, step="relief", role="relief_height", key="piece")
    run(step, stage)
    detail = stage.find("shot", "detail")
    spot = detail.matrix_basis @ Vector((0.0, 0.0, -detail["bozzetto_focus_mm"] / 1000))
    where = np.degrees(np.arctan2(spot.y, spot.x))
    assert -180 + 360 * 18 / 64 < where < -180 + 360 * 32 / 64  # two columns of slack: the spot is a mean
    assert 0.028 < spot.z < 0.056


def test_the_camera_orbits_instead_of_the_subject():
    step, stage = job(turning="camera")
    run(step, stage)
    shot = stage.find("shot", "turntable")
    assert turning(stage) == [shot]
    before = shot.location.copy()
    with turned(stage, 90.0):
        assert shot.location.x == pytest.approx(-before.y, abs=1e-6)
        assert stage.find("piece").matrix_basis.is_identity
    assert shot.location == before


def test_wrong_wishes_and_nothing_to_photograph_are_said():
    step, stage = job(shots=[{"name": "hero"}, {"name": "hero"}])
    with pytest.raises(SheetError, match="two shots named"):
        run(step, stage)
    with pytest.raises(SheetError, match="no shots"):
        run(*job(views="own", turntable=False))
    step, stage = job()
    stage.find("piece").data.clear_geometry()
    with pytest.raises(SubjectError, match="no surface"):
        run(step, stage)
    assert not stage.has("shot") and not bpy.data.cameras


@pytest.mark.parametrize(("aspect", "shape"), [(1.5, [960, 640]), (0.8, [768, 960]), (16 / 9, [960, 540])])
def test_the_aspect_gives_the_pictures_their_shape(aspect, shape):
    step, stage = job(aspect=aspect, **HERO)
    run(step, stage)
    assert list(stage.find("shot", "hero")["bozzetto_resolution"]) == shape


@pytest.mark.parametrize(
    ("written", "aspect"),
    [
        ({"picture_width": 1200, "picture_height": 800}, 1.5),
        ({"picture_width": 640}, 1.0),  # the height that was not written was 640
        ({"picture_height": 1200}, 0.8),
    ],
)
def test_a_sheet_that_gives_the_shape_in_pixels_is_read(written, aspect):
    """Once width and height in pixels gave the shape alone, as well of all pictures as of one."""
    assert build(camera.Settings, written, "camera").aspect == pytest.approx(aspect)
    sheet = blank([from_module(camera)])
    for name, value in written.items():
        override(sheet, f"camera.{name}={value}")
    assert sheet["camera"].aspect == pytest.approx(aspect) or len(written) > 1
    row = {name.removeprefix("picture_"): value for name, value in written.items()}
    found = build(camera.Settings, {"shots": [{"name": "hero", **row}]}, "camera").shots[0]
    assert found.aspect == pytest.approx(aspect)


def test_a_shape_in_pixels_that_is_none_is_refused_in_words():
    with pytest.raises(SheetError, match="write aspect, width over height"):
        build(camera.Settings, {"picture_width": "wide"}, "camera")


def test_a_close_look_at_coarse_triangles_is_warned_of() -> None:
    """The egg's edges take some 4 mm of 25: most of a hundred pixels of 3000."""
    step, stage = job(views="few")
    found = run(step, stage)
    notes = [str(note) for note in stage.notes if "triangles are coarse" in str(note)]
    assert len(notes) == 1 and "detail:" in notes[0] and "render.size" in notes[0]
    assert found.figures["detail_edge_pixels"] > 2.0 * 25.0  # at 25 no facets were seen
