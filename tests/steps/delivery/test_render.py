"""Rendering goes on where it stopped: what is on disk, whole and right is not rendered again, also in a new session."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Vector
from PIL import Image

from blender_addon.cli.itself import own_command, own_environment
from blender_addon.job.errors import OutputError, SheetError, SubjectError
from blender_addon.job.farm import Delivered, Workshop, carried_out
from blender_addon.job.runner import chosen, finish
from blender_addon.job.sheet import override, parse
from blender_addon.scene.images import read_pixels
from blender_addon.scene.running.session import Means, run_session
from blender_addon.steps import catalogue
from blender_addon.steps.delivery import _estimate, films, render

SHEET = """
bozzetto = 1
[intake]
scan = "peg.obj"
[orientation]
height = 60.0
[tabletop]
props = 0
[debris]
on = false
[lighting]
finish = false
[render]
size = 64
samples = 1
frames = 3
turntable_size = 64
"""


def _peg(folder: Path) -> None:
    corners = [(x, y, z) for z in (0, 60) for y in (-9, 9) for x in (-12, 12)]
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    lines = [f"v {x} {y} {z}" for x, y, z in corners]
    lines += ["f " + " ".join(str(i + 1) for i in face) for face in faces]
    (folder / "peg.obj").write_text("\n".join(lines) + "\n")


def _sheet(folder: Path, *changes: str) -> Any:
    sheet = parse(SHEET, catalogue(), name="peg", folder=folder)
    for change in changes:
        override(sheet, change)
    return sheet


def _run(folder: Path, *changes: str, first: str | None = None) -> dict[str, Any]:
    part = chosen(catalogue(), first=first, last="render")
    run = run_session(part, catalogue(), _sheet(folder, *changes), bpy.context.scene, out=folder / "out")
    report, _ = finish(run)
    return report.figures()["render"]


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("job")
    _peg(folder)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    figures = _run(folder)
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "peg.blend"))
    return folder, figures


@pytest.fixture
def again(job):
    folder, _ = job
    bpy.ops.wm.open_mainfile(filepath=str(folder / "peg.blend"))
    return folder


def test_the_first_run_renders_all(job):
    folder, figures = job
    assert (figures["stills"], figures["frames"], figures["rendered"]) == (3, 3, 6)
    names = sorted(path.name for path in (folder / "out" / "pictures").glob("*.png"))
    assert names == ["back.png", "detail.png", "hero.png"]
    assert (folder / "out" / "turntable.mp4").stat().st_size > 0 and (folder / "out" / "contact_sheet.png").is_file()


def test_a_second_session_renders_nothing_again(again):
    assert _run(again, first="render")["reused"] == 6


def test_lost_and_empty_files_alone_are_rendered_again(again):
    (again / "out" / "pictures" / "hero.png").unlink()
    (again / "out" / "turntable" / "0002.png").write_bytes(b"")
    figures = _run(again, first="render")
    assert (figures["rendered"], figures["reused"]) == (2, 4)


def test_cut_pictures_and_lost_originals_are_rendered_again(again):
    pictures = again / "out" / "pictures"
    whole = (pictures / "hero.png").read_bytes()
    (pictures / "hero.png").write_bytes(whole[: len(whole) // 2])
    (pictures / ".originals" / "back.exr").unlink()
    frame = again / "out" / "turntable" / "0003.png"
    frame.write_bytes(frame.read_bytes()[:-5])
    figures = _run(again, first="render")
    assert (figures["rendered"], figures["reused"]) == (3, 3)
    assert (pictures / "hero.png").read_bytes() == whole, "the same picture again, to the last byte"
    assert not list(pictures.glob("*yours*")), "a cut file is nobody's work"


def test_a_retouched_still_is_put_aside_when_it_must_be_made_again(again):
    from blender_addon.scene.delivery.contact_sheet import save_png

    hero = again / "out" / "pictures" / "hero.png"
    before = hero.read_bytes()
    save_png(np.full((43, 64, 3), 0.5), hero)
    mine = hero.read_bytes()
    assert _run(again, first="render")["reused"] == 6, "a retouched picture stays while nothing else has changed"
    assert hero.read_bytes() == mine
    bpy.data.objects["Piece"].location.x += 0.001
    assert _run(again, first="render")["rendered"] == 6
    assert (hero.parent / "hero.yours1.png").read_bytes() == mine
    assert hero.read_bytes() not in (mine, before)
    (hero.parent / "hero.yours1.png").unlink()


def test_a_picture_of_somebody_else_stops_the_step_before_anything_is_rendered(again):
    foreign = again / "out" / "cutouts" / "hero.png"
    foreign.parent.mkdir()
    foreign.write_bytes(b"theirs")
    with pytest.raises(OutputError, match=r"cutouts.hero\.png. is there already and was not made by this job"):
        _run(again, "render.cutouts=true", first="render")
    assert foreign.read_bytes() == b"theirs"
    foreign.unlink()


def test_a_cutout_is_the_subject_on_nothing_with_its_shadow(again):
    objects = len(bpy.data.objects)
    figures = _run(again, "render.cutouts=true", "render.only=hero", first="render")
    assert figures["cutouts"] == 1
    image = bpy.data.images.load(str(again / "out" / "cutouts" / "hero.png"))
    alpha = read_pixels(image)[..., 3]
    bpy.data.images.remove(image)
    assert np.median(alpha[:, :4]) < 0.02 and np.median(alpha[-3:]) < 0.02, "nothing behind it"
    assert alpha[15:30, 30:34].min() == 1.0, "the piece itself is whole"
    assert 0.02 < ((alpha > 0.03) & (alpha < 0.97)).mean() < 0.7, "a shadow that fades"
    assert len(bpy.data.objects) == objects, "the ground that caught it is gone"


def test_a_moved_piece_is_rendered_again_but_not_an_approved_shot(again):
    before = (again / "out" / "pictures" / "hero.png").read_bytes()
    bpy.data.objects["Piece"].location.x += 0.002
    figures = _run(again, "render.approved=hero", first="render")
    assert figures["rendered"] == 5
    assert (again / "out" / "pictures" / "hero.png").read_bytes() == before


def test_an_unknown_shot_is_refused_by_name(again):
    with pytest.raises(SubjectError, match=r'render\.only: there is no shot "heroo" .did you mean "hero".*; the shots are'):
        _run(again, "render.only=heroo", first="render")


def test_a_shot_whose_name_in_the_blend_climbs_is_refused(again):
    camera = next(item for item in bpy.data.objects if item.get("bozzetto_key") == "back")
    camera["bozzetto_key"] = "../../../owned"
    for first in ("render", "export"):
        with pytest.raises(SheetError, match=r"shot's name .*owned"):
            finish(
                run_session(chosen(catalogue(), first=first), catalogue(), _sheet(again), bpy.context.scene, out=again / "out")
            )
    assert not list(again.parent.rglob("owned*"))


def test_the_turn_is_left_as_ordinary_animation(again):
    piece = bpy.data.objects["Piece"]
    assert piece.parent is not None and piece.parent.animation_data.action is not None
    scene = bpy.context.scene
    turns = []
    for frame in (1, 2, 3):
        scene.frame_set(frame)
        turns.append(round(piece.parent.rotation_euler.z, 4))
    assert turns == [0.0, 2.0944, 4.1888], "a third of a turn each, and no double frame where the loop closes"


@pytest.mark.parametrize(("quality", "still", "frame"), [("proof", 960, 480), ("final", 3000, 960), ("print", 3840, 1620)])
def test_a_word_says_how_large_the_pictures_are(quality, still, frame):
    """Longer sides in the shape 3 to 2: a turn of 1080 lines is 1620 wide. What is written goes before the word."""
    shot = {"bozzetto_resolution": (960, 640)}
    settings = render.Settings(quality=quality)
    assert render._size(shot, render._quality(settings)[1]) == (still, still * 2 // 3)
    assert render._turn_size(shot, settings) == (frame, frame * 2 // 3)
    assert render._quality(render.Settings(quality=quality, size=1234))[1] == 1234
    assert max(render._turn_size(shot, render.Settings(quality=quality, turntable_size=300))) == 300


def test_how_long_pictures_take_is_said_first(again, monkeypatch):
    """From tries at an eighth and a quarter of its size, which leave no file; what is little, or on disk, is not tried."""
    monkeypatch.setattr(_estimate, "WORTH_IT", 100_000)
    wish = ("render.size=500", "render.turntable=false", 'render.only="hero"')
    figures = _run(again, *wish, first="render")
    assert figures["expected_seconds"] > 0.0 and figures["rendered"] == 1
    assert 0 < figures["expected_disk_mb"] < 5 and figures["expected_memory_mb"] > 10
    on_disk = sum(path.stat().st_size for path in (again / "out" / "pictures").rglob("hero.*"))
    assert on_disk < 1e6 * figures["expected_disk_mb"], "what is said of the disk is an upper bound"
    assert sorted(path.name for path in (again / "out" / "pictures").glob("*.png")) == ["back.png", "detail.png", "hero.png"]
    figures = _run(again, *wish, first="render")
    assert figures["expected_seconds"] is None and figures["reused"] == 1


def test_what_cannot_succeed_is_refused_before_the_first_step(tmp_path, monkeypatch):
    """A device that is not there, pictures that would not fit: said at once, and not after the scan was worked on."""
    _peg(tmp_path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with pytest.raises(OutputError, match=r"choose another render\.device"):
        _run(tmp_path, "render.device=metal")
    with pytest.raises(SubjectError, match=r'render\.approved: there is no shot "bakc" .did you mean "back"'):
        _run(tmp_path, "render.approved=hero, bakc")
    room = type("Usage", (), {"free": 10_000_000})
    monkeypatch.setattr(_estimate.shutil, "disk_usage", lambda folder: room)
    with pytest.raises(OutputError, match=r"The pictures take up to .* and 10 MB are free"):
        _run(tmp_path, "render.size=3000")
    monkeypatch.undo()
    monkeypatch.setattr(_estimate, "free_mb", lambda: 1000.0)
    with pytest.raises(OutputError, match=r"takes about .* GB of memory, and 1\.0 GB are free"):
        _run(tmp_path, "render.size=3000")
    assert not (tmp_path / "out" / "figures.json").exists() and not bpy.data.meshes


class OneWorker:
    """A farm of one process, which carries orders out as a worker of a cluster does."""

    hands, speed = 1, 1.0

    def __init__(self, folder: Path):
        self._folder, self._painters = folder, {}

    def begin(self, save: Any, scene: str) -> None:
        save(self._folder / "scene.blend")
        place, blend = str(self._folder), str(self._folder / "scene.blend")
        self._workshop = Workshop(place, blend, scene, (*own_command(), "paint"), own_environment(), 1)

    def render(self, orders: Any) -> Any:
        for order in orders:
            answer = carried_out(self._workshop, order.plain(), self._painters)
            yield Delivered(order, [Path(answer["folder"]) / name for name in answer["files"]], answer["seconds"])
        for painter in self._painters.values():
            painter.close()


def test_a_bracket_made_on_a_farm_leaves_its_slices_in_the_jobs_folder(again, tmp_path):
    """The process that renders works in a folder of its own, from which all files must come back."""
    shot = next(item for item in bpy.data.objects if item.get("bozzetto_key") == "hero")
    shot["bozzetto_depth"], shot["bozzetto_bracket_mm"] = "frames", [300.0, 310.0, 320.0]
    slices = again / "out" / "brackets" / "hero"
    slices.mkdir(parents=True)
    (slices / "004.png").write_bytes(b"of an earlier, longer one")
    sheet = _sheet(again, "render.turntable=false", "render.only=hero")
    part = chosen(catalogue(), first="render", last="render")
    farm = OneWorker(tmp_path)
    finish(run_session(part, catalogue(), sheet, bpy.context.scene, out=again / "out", means=Means(None, farm)))
    assert sorted(path.name for path in slices.iterdir()) == ["001.png", "002.png", "003.png"]
    whole = (slices / "002.png").read_bytes()
    (slices / "002.png").unlink()
    report, _ = finish(run_session(part, catalogue(), sheet, bpy.context.scene, out=again / "out"))
    assert report.figures()["render"]["rendered"] == 1, "a lost slice has the picture made again"
    assert (slices / "002.png").read_bytes() == whole, "here as there, to the last byte"


def _colour(path: Path) -> Any:
    """The mean of a picture, as its file's numbers are."""
    return np.asarray(Image.open(path).convert("RGB"), float).mean(axis=(0, 1))


def test_only_the_shot_that_was_changed_is_rendered_again_and_it_is_warmer(again):
    _run(again, first="render")  # whatever other tests left
    before = _colour(again / "out" / "pictures" / "back.png")
    row = "camera.shots=[{name='back', warmth=40.0}]"
    figures = _run(again, row, first="camera")
    assert (figures["rendered"], figures["reused"]) == (1, 5)
    red, _, blue = _colour(again / "out" / "pictures" / "back.png") / before
    assert red / blue > 1.1, "40 mired warmer shows at once"
    assert not bpy.context.scene.view_settings.use_white_balance, "the scene's own balance is back"


def test_a_picture_of_scale_shows_a_rule_before_the_piece_and_no_other_picture_does(again):
    from bpy_extras.object_utils import world_to_camera_view

    part = chosen(catalogue(), first="camera", last="tabletop")
    finish(run_session(part, catalogue(), _sheet(again, "camera.shots=[{name='scale'}]"), bpy.context.scene, out=again / "out"))
    items = {item.get("bozzetto_key"): item for item in bpy.data.objects}
    rule, shot = items["rule for scale"], items["scale"]
    assert set(rule["bozzetto_hidden_in"].split(",")) == {"hero", "detail", "back", "turntable"}
    corners = np.array([rule.matrix_basis @ vertex.co for vertex in rule.data.vertices])
    assert corners[:, 1].max() < -0.009, "before the peg, which is 18 mm deep"
    assert np.ptp(corners[:, 0]) == pytest.approx(0.156, rel=1e-3) and abs(corners[:, 2].min()) < 0.001
    bpy.context.view_layer.update()
    seen = world_to_camera_view(bpy.context.scene, shot, Vector(0.5 * (corners.min(axis=0) + corners.max(axis=0))))
    assert abs(seen.x - 0.5) < 0.03 and 0.03 < seen.y < 0.35 and seen.z > 0.0


@pytest.mark.parametrize(("step", "given"), [(render, ()), (films, ("moves.arc=true",))])
def test_a_film_that_cannot_be_written_is_refused_before_anything_runs(
    step: Any, given: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = parse("bozzetto = 1\n", catalogue(), name="films", folder=tmp_path)
    for assignment in given:
        override(sheet, assignment)
    step.able(sheet, tmp_path)
    monkeypatch.setattr(step, "has_writer", lambda: False)
    with pytest.raises(OutputError, match="without a writer for films"):
        step.able(sheet, tmp_path)
