"""Files appear whole or not at all; renders leave the scene's own settings alone; equal pictures are equal files."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.srgb import encode
from blender_addon.job.errors import OutputError
from blender_addon.scene import roles
from blender_addon.scene.delivery.contact_sheet import save_png, write_contact_sheet
from blender_addon.scene.delivery.copies.client_pictures import Wanted, write_copy
from blender_addon.scene.delivery.copies.finished import finished
from blender_addon.scene.delivery.kept_pictures import KeptPictures, put_aside
from blender_addon.scene.delivery.output import Quality, cycles, render_picture
from blender_addon.scene.delivery.video import write_video
from blender_addon.scene.images import read_pixels
from blender_addon.scene.running.session import whole_file, writable, write_text


@pytest.fixture
def scene():
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
    camera.location, camera.rotation_euler = (0, -5, 0), (math.pi / 2, 0, 0)
    scene.collection.objects.link(camera)
    bpy.ops.mesh.primitive_cube_add()
    lamp = bpy.data.objects.new("lamp", bpy.data.lights.new("lamp", "SUN"))
    lamp.rotation_euler = (1, 0.3, 0)
    scene.collection.objects.link(lamp)
    return scene


def _settings(scene):
    return [scene.render.engine, scene.render.resolution_x, scene.render.filepath, scene.cycles.samples, scene.camera]


def test_a_render_writes_whole_equal_files_and_gives_the_settings_back(scene, tmp_path):
    before = _settings(scene)
    with cycles(scene, Quality(4, 0.0), device="cpu", seed=3):
        for name in ("a.png", "b.png"):
            render_picture(scene, tmp_path / name, camera=scene.objects["camera"], size=(60, 40))
    assert _settings(scene) == before
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    assert sorted(os.listdir(tmp_path)) == ["a.png", "b.png"]


def test_a_file_that_fails_half_way_leaves_the_old_one(tmp_path):
    target = tmp_path / "log.txt"
    write_text(target, "old")
    with pytest.raises(RuntimeError), whole_file(target) as draft:
        draft.write_text("half")
        raise RuntimeError
    assert target.read_text() == "old" and os.listdir(tmp_path) == ["log.txt"]


def test_a_folder_that_can_not_be_one_is_refused_in_words(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="Nothing can be written"):
        writable(tmp_path / "file" / "out")
    with pytest.raises(OutputError, match="can't be written"):
        write_text(tmp_path / "file" / "page.html", "x")


def test_pictures_are_known_by_digest_and_only_while_they_are_whole(tmp_path):
    path = tmp_path / "hero.png"
    _stripes(path)
    whole = path.read_bytes()
    KeptPictures(tmp_path).add(path, "one")
    assert KeptPictures(tmp_path).current(path, "one") and not KeptPictures(tmp_path).current(path, "two")
    for damaged in (b"", whole[:-1], whole[: len(whole) // 2], whole[:60] + bytes([whole[60] ^ 1]) + whole[61:]):
        path.write_bytes(damaged)
        assert not KeptPictures(tmp_path).current(path, "one"), "cut or changed on disk: made again"
    path.write_bytes(whole)
    assert KeptPictures(tmp_path).current(path, "one")
    path.unlink()
    assert not KeptPictures(tmp_path).current(path, "one")


@pytest.mark.parametrize(
    "words", ["{cut", "[1, 2]", "3", "null", '{"bozzetto": 1, "files": [1]}', '{"hero.png": "one"}', "\xff", "[" * 9999]
)
def test_a_damaged_list_of_what_was_made_breaks_nothing(tmp_path, words):
    path = tmp_path / "hero.png"
    _stripes(path)
    (tmp_path / ".made.json").write_text(words, encoding="latin-1")
    assert not KeptPictures(tmp_path).current(path, "one")
    KeptPictures(tmp_path).add(path, "one")
    assert KeptPictures(tmp_path).current(path, "one")


def test_versions_count_up(tmp_path):
    for text in ("a", "b"):
        (tmp_path / "hero.png").write_text(text)
        put_aside(tmp_path / "hero.png")
    assert (tmp_path / "hero.v1.png").read_text() == "a" and (tmp_path / "hero.v2.png").read_text() == "b"
    assert put_aside(tmp_path / "hero.png") is None


def _stripes(path, width=90, height=60):
    picture = np.zeros((height, width, 3), np.float32)
    picture[:, ::2] = (0.2, 0.5, 0.9)
    save_png(picture, path)
    return picture


def _read(path):
    image = bpy.data.images.load(str(path))
    pixels = read_pixels(image)[::-1, :, :3]
    if image.is_float:  # 16-bit files are handed out as linear light
        pixels = encode(pixels)
    bpy.data.images.remove(image)
    return pixels


@pytest.mark.parametrize("kind", ["png8", "png16", "tiff16", "jpeg"])
def test_copies_keep_their_colours(tmp_path, kind):
    _stripes(tmp_path / "s.png")
    path = write_copy(tmp_path / "s.png", tmp_path / "copy", Wanted(kind), field_width_mm=90).path
    off = np.abs(_read(path) - _read(tmp_path / "s.png"))
    if kind == "jpeg":  # fine stripes of strong colours lose half their colour, but not their light, to the format
        assert abs(_read(path)[..., 1].mean() - _read(tmp_path / "s.png")[..., 1].mean()) <= 2.0 / 255
    else:
        assert off.max() <= 1.5 / 255  # one step of 8 bits and rounding


def test_copies_are_cropped_sized_and_barred(tmp_path):
    picture = np.full((60, 90, 3), 0.8, np.float32)
    save_png(picture, tmp_path / "s.png")
    wanted = Wanted("png8", width=300, aspect=1.0, scale_bar=True)
    pixels = _read(write_copy(tmp_path / "s.png", tmp_path / "copy", wanted, field_width_mm=90).path)
    assert pixels.shape[:2] == (300, 300)
    # 60 mm across 300 px: the bar is the roundest length under a quarter of the width, 10 mm, so 50 px
    assert (pixels[..., 0] < 0.4).any(axis=0).sum() == 50


def test_the_contact_sheet_and_the_video_are_written(tmp_path):
    frames = []
    for number in range(1, 4):
        path = tmp_path / f"{number:04d}.png"
        _stripes(path)
        frames.append(path)
    write_contact_sheet([(path, path.stem) for path in frames], tmp_path / "sheet.png", width=600)
    assert _read(tmp_path / "sheet.png").shape[1] == 600
    scenes = len(bpy.data.scenes)
    write_video(frames, tmp_path / "turn.mp4", size=(90, 60), fps=12, turns=2)
    clip = bpy.data.movieclips.load(str(tmp_path / "turn.mp4"))
    assert clip.frame_duration == 6 and tuple(clip.size) == (90, 60)
    write_video(frames, tmp_path / "turn.webm", size=(90, 60), fps=12)
    clip = bpy.data.movieclips.load(str(tmp_path / "turn.webm"))
    assert clip.frame_duration == 3 and tuple(clip.size) == (90, 60)
    for film in tmp_path.glob("turn.*"):
        assert str(tmp_path).encode() not in film.read_bytes(), "a client's film says nothing of the maker's folders"
    assert len(bpy.data.scenes) == scenes


def test_finished_pictures_are_the_shots_in_their_order_then_the_turn_and_the_sheets(empty_scene: Any, tmp_path: Path) -> None:
    empty_scene[roles.JOB] = "job"
    for order, key in ((2, "back"), (1, "left_side"), (0, "hero"), (3, "not_rendered")):
        shot = bpy.data.objects.new(f"Shot {key}", bpy.data.cameras.new(key))
        empty_scene.collection.objects.link(shot)
        roles.mark(shot, job="job", step="camera", role="shot", key=key)
        shot["bozzetto_order"] = order
    assert finished(empty_scene, tmp_path / "gone") == []
    for place in ("pictures/hero.png", "pictures/back.png", "pictures/left_side.png", "pictures/of_another.png",
                  "turntable/0002.png", "turntable/0001.png", "sample_sheet.png"):  # fmt: skip
        (tmp_path / place).parent.mkdir(exist_ok=True)
        (tmp_path / place).write_bytes(b"picture")

    def shown() -> list[tuple[str, str, str]]:
        return [
            (each.title, *(path.relative_to(tmp_path).as_posix() for path in (each.picture, each.opens)))
            for each in finished(empty_scene, tmp_path)
        ]

    pictures = [(title, f"pictures/{key}.png", f"pictures/{key}.png")
                for title, key in (("Hero", "hero"), ("Left side", "left_side"), ("Back", "back"))]  # fmt: skip
    sheet = ("In every material", "sample_sheet.png", "sample_sheet.png")
    assert shown() == [*pictures, ("Turntable", "turntable/0001.png", "turntable/0001.png"), sheet]
    (tmp_path / "turntable.mp4").write_bytes(b"film")
    assert shown()[3] == ("Turntable", "turntable/0001.png", "turntable.mp4")
