"""Scans that are hardly scans go through to framed shots, or are refused in a sentence that says what to do."""

from __future__ import annotations

from pathlib import Path

import bpy
import pytest

from blender_addon.job.errors import JobError
from blender_addon.job.runner import chosen, finish
from blender_addon.job.sheet import parse
from blender_addon.scene.running.session import run_session
from blender_addon.scene.stage import Stage
from blender_addon.steps import catalogue

TETRA = [(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)]


def corner(x: float, y: float, z: float) -> list[tuple[float, float, float]]:
    return [(0, 0, 0), (x, 0, 0), (0, y, 0), (0, 0, z)]


def run(folder: Path, vertices, faces, *, height: float | None = None, last: str = "camera") -> Stage:
    lines = ["v {:g} {:g} {:g}".format(*vertex) for vertex in vertices]
    lines += ["f " + " ".join(str(i + 1) for i in face) for face in faces]
    (folder / "odd.obj").write_text("\n".join(lines) + "\n")
    words = 'bozzetto = 1\n[intake]\nscan = "odd.obj"\n' + (f"[orientation]\nheight = {height}\n" if height else "")
    sheet = parse(words, catalogue(), name="odd", folder=folder)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    finish(run_session(chosen(catalogue(), last=last), catalogue(), sheet, scene, out=None))
    return Stage(scene, sheet)


@pytest.mark.parametrize("size", [1e-9, 1.0, 1e8])
def test_a_body_of_four_triangles_of_any_size_is_framed(tmp_path, size):
    stage = run(tmp_path, corner(size, size, size), TETRA)
    assert stage.find_all("shot") and max(stage.require("piece").dimensions) == pytest.approx(0.08, rel=0.01)


def test_a_flat_sheet_is_framed(tmp_path):
    count = 12
    vertices = [(x, y, 0) for y in range(count) for x in range(count)]
    faces = [
        (y * count + x, y * count + x + 1, (y + 1) * count + x + 1, (y + 1) * count + x)
        for y in range(count - 1)
        for x in range(count - 1)
    ]
    assert run(tmp_path, vertices, faces).find_all("shot")


@pytest.mark.parametrize(
    ("vertices", "faces", "words"),
    [
        ([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 2)], "only 1 triangles"),
        ([(5, 5, 5)] * 3, [(0, 1, 2)], "no face with an area"),
        (corner(100, 0.001, 0.001), TETRA, "thin as a line"),
        ([("nan", 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], [(0, 1, 2), (1, 2, 3)], "only 1 triangles"),
        ([("nan", "nan", "nan")] * 4, TETRA, "coordinates that are not numbers; export it again"),
    ],
)
def test_what_is_no_thing_is_refused_in_words(tmp_path, vertices, faces, words):
    vertices = [tuple(float(part) for part in vertex) for vertex in vertices]
    with pytest.raises(JobError, match=words):
        run(tmp_path, vertices, faces, height=80.0)
    assert not [item for item in bpy.data.objects if item.name.startswith("Upright")]
