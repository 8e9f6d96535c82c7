"""Do loose pieces, tables, holes and too many faces go, and nothing else?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.core.mesh.triangles import TriangleMesh, edges, face_normals, signed_volume  # noqa: E402
from blender_addon.job.errors import SubjectError  # noqa: E402
from blender_addon.scene.meshes import make_object, read_mesh  # noqa: E402
from blender_addon.steps.scan import cleanup  # noqa: E402
from tests.flat_forms import flat_pieces  # noqa: E402
from tests.scan_shapes import box, moved, noisy, on_table, rotation, statuette  # noqa: E402
from tests.steps.scan.three_steps import TURNED_ON_IMPORT, run, write_scan  # noqa: E402

pytestmark = pytest.mark.usefixtures("empty_scene")


def test_loose_pieces_go_and_what_belongs_stays(tmp_path: Path) -> None:
    from blender_addon.core.mesh.topology import joined

    speck = moved(box((1.5, 1.5, 1.5), steps=2), np.eye(3), shift=(55.0, 0.0, 30.0))
    inlay = moved(box((9.0, 9.0, 4.0), steps=4), np.eye(3), shift=(0.0, -16.0, 38.0))
    far = moved(box((60.0, 60.0, 60.0), steps=4), np.eye(3), shift=(500.0, 0.0, 0.0))
    plain = [replace(mesh, uv=None) for mesh in (statuette(), speck, inlay, far)]
    plain[3] = moved(plain[3], np.eye(3) * 0.5, shift=(250.0, 0.0, 0.0))
    _, report = run(tmp_path, write_scan(tmp_path, joined(plain)), last="cleanup")
    figures = report.results["cleanup"].figures
    assert (figures["loose_pieces"], figures["parts_kept"]) == (2, 2)


def test_a_second_piece_far_off_is_left_out_and_asked_about(tmp_path: Path) -> None:
    """Two statuettes, a few widths apart: what is said is what was done, and either answer gives what it says."""
    from blender_addon.core.mesh.topology import joined

    first = replace(statuette(), uv=None)
    both = joined([first, moved(first, 0.8 * np.eye(3), shift=(150.0, 0.0, 0.0))])
    text = write_scan(tmp_path, both)
    stage, report = run(tmp_path, text, last="cleanup")
    alone = read_mesh(stage.require("clean", "1")).size.max()
    asked = {decision.key: decision for decision in report.results["cleanup"].decisions}
    assert asked["pieces"].asked and "left out" in asked["pieces"].choice.words
    answers = asked["pieces"].alternatives
    assert [list(answer.sets) for answer in answers] == [["cleanup.crop_low", "cleanup.crop_high"], ["cleanup.loose"]]
    sizes = []
    for answer in answers:
        lines = "".join(f"{name.split('.')[1]} = {value}\n" for name, value in answer.sets.items())
        stage, _ = run(tmp_path, text + "[cleanup]\n" + lines, last="cleanup")
        sizes.append(read_mesh(stage.require("clean", "1")).size.max())
    assert sizes[0] == pytest.approx(0.8 * alone, rel=0.02) and sizes[1] > 1.5 * alone


def test_an_open_sheet_is_not_called_inside_out(tmp_path: Path) -> None:
    """A table alone, nearly level: the volume below its rim is that of its noise, on whichever side."""
    from tests.scan_shapes import grid_faces

    x, y = np.meshgrid(np.linspace(-150.0, 150.0, 60), np.linspace(-150.0, 150.0, 60))
    faces, uv = grid_faces(60, 60)
    for seed in (1, 2, 3):
        z = np.random.default_rng(seed).normal(0.0, 0.2, x.shape)
        sheet_alone = TriangleMesh(np.stack([x, y, z], -1).reshape(-1, 3), faces, uv)
        _, report = run(tmp_path, write_scan(tmp_path, sheet_alone), last="cleanup")
        assert not report.results["cleanup"].figures["turned_outward"]


def test_a_bowl_seen_from_above_is_neither_turned_nor_called_mirrored(tmp_path: Path) -> None:
    """Its inside alone: a shell that could be closed on either side, so that its faces stay as the file has them."""
    bowl = moved(flat_pieces(7)["low bowl"], TURNED_ON_IMPORT.T)
    stage, report = run(tmp_path, write_scan(tmp_path, bowl), last="cleanup")
    assert not report.results["cleanup"].figures["turned_outward"]
    assert not any("mirrored" in note.words for note in stage.notes)
    clean = read_mesh(stage.require("clean", "1"))
    assert face_normals(clean.vertices.astype(float), clean.faces)[:, 2].mean() > 0.5  # it still looks up


@pytest.mark.parametrize(("role", "said"), [("whole", 1), ("stand", 0)])
def test_a_slab_alone_is_asked_about_unless_it_is_the_stand(tmp_path: Path, role: str, said: int) -> None:
    """With a height on the sheet, which would be taken as the slab's."""
    write_scan(tmp_path, statuette(), "piece.obj")
    write_scan(tmp_path, moved(box((140.0, 100.0, 14.0), steps=30), rotation(2)), "slab.obj")
    rows = [("slab.obj", role)] if role == "whole" else [("piece.obj", "whole"), ("slab.obj", role)]
    text = "".join(f'[[intake.scans]]\nfile = "{file}"\nrole = "{kind}"\n' for file, kind in rows)
    stage, _ = run(tmp_path, text + "[orientation]\nheight = 60.0", last="cleanup")
    warnings = [note.words for note in stage.notes.warnings() if "is there a piece in it at all?" in note.words]
    assert len(warnings) == said and all('"slab.obj"' in words for words in warnings)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_table_goes_and_the_base_is_closed_where_it_stood(tmp_path: Path, seed: int) -> None:
    mesh = moved(noisy(on_table(statuette()), noise=0.05, seed=seed), rotation(seed))
    stage, report = run(tmp_path, write_scan(tmp_path, mesh) + "[orientation]\nheight = 68.0")
    figures = report.results["cleanup"].figures
    assert figures["table_percent"] > 50.0
    upright = read_mesh(stage.require("upright"), scale=1000.0)
    assert np.ptp(upright.vertices[:, 0]) == pytest.approx(60.0, rel=0.02)
    assert (edges(upright.faces)[1] == 2).all()
    assert upright.face_marks["filled"].any()
    # standing without a gap: the base's rim was let down onto the table's plane, within the noise
    assert abs(upright.vertices[:, 2].min()) < 0.3


def test_a_relief_on_its_ground_is_no_table(tmp_path: Path) -> None:
    """A medal rises little over its ground: cutting that away would lose the work."""
    line = np.linspace(-50.0, 50.0, 90)
    x, y = np.meshgrid(line, line)
    from tests.scan_shapes import grid_faces

    z = 4.0 * np.exp(-(x**2 + y**2) / 400.0)
    faces, uv = grid_faces(90, 90)
    medal = TriangleMesh(np.stack([x, y, z], -1).reshape(-1, 3), faces, uv)
    stage, report = run(tmp_path, write_scan(tmp_path, medal), last="cleanup")
    assert report.results["cleanup"].figures["table_percent"] == 0.0
    assert report.results["cleanup"].figures["holes_left"] == 1
    assert len(read_mesh(stage.require("clean", "1")).faces) == len(faces)


@pytest.mark.parametrize("suffix", ["obj", "ply", "stl", "glb"])
@pytest.mark.parametrize("inside_out", [True, False])
def test_a_scan_that_is_inside_out_is_turned_and_may_be_mirrored(tmp_path: Path, suffix: str, inside_out: bool) -> None:
    """Written by Blender's exporters; nothing is said of one that looks outwards."""
    mesh = replace(statuette(rows=40, columns=48, open_bottom=False), uv=None)
    mesh = replace(mesh, faces=mesh.faces[:, ::-1]) if inside_out else mesh
    item = make_object("figure", mesh)
    bpy.context.scene.collection.objects.link(item)
    file = str(tmp_path / f"figure.{suffix}")
    if suffix == "glb":
        bpy.ops.export_scene.gltf(filepath=file)
    else:
        getattr(bpy.ops.wm, f"{suffix}_export")(filepath=file)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    stage, report = run(tmp_path, f'[intake]\nscan = "figure.{suffix}"', last="cleanup")
    assert report.results["cleanup"].figures["turned_outward"] == inside_out
    clean = read_mesh(stage.require("clean", "1"))
    assert signed_volume(clean.vertices.astype(float), clean.faces) > 0
    said = [note.words for note in stage.notes.warnings() if "the scan is mirrored" in note.words]
    assert len(said) == inside_out and all(f'"figure.{suffix}"' in words for words in said)


def test_no_table_is_cut_from_a_scan_that_is_inside_out(tmp_path: Path) -> None:
    """A lobed figure, open below and mirrored: what faces down looks up then, with all of it above."""
    part = np.linspace(0.0, 1.0, 70)[:, None]
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)[None]
    radius = np.interp(part, [0, 0.1, 0.45, 0.7, 0.78, 0.9, 0.97, 1.0], [17, 20, 18, 8, 10, 12, 8, 0.4])
    ring = radius * (1 + 0.08 * np.sin(3 * angle) + 0.05 * np.sin(7 * angle + 18 * part))
    corners = np.stack([-ring * np.cos(angle), 0.8 * ring * np.sin(angle), np.repeat(70 * part, 72, 1)], -1).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(69), np.arange(72), indexing="ij")
    a, b = (i * 72 + j).ravel(), (i * 72 + (j + 1) % 72).ravel()
    faces = np.concatenate([np.stack([a, b, b + 72], 1), np.stack([a, b + 72, a + 72], 1)]).astype(np.int32)
    uv = np.zeros((len(faces), 3, 2), np.float32)
    mesh = TriangleMesh(corners.astype(np.float32), faces, uv)
    _, report = run(tmp_path, write_scan(tmp_path, mesh), last="cleanup")
    figures = report.results["cleanup"].figures
    assert figures["turned_outward"] and figures["table_percent"] == 0.0


def test_thinning_keeps_uvs_marks_and_shape(tmp_path: Path) -> None:
    mesh = statuette()
    stage, _ = run(tmp_path, write_scan(tmp_path, mesh) + "[cleanup]\nbudget = 9000", last="cleanup")
    thin = read_mesh(stage.require("clean", "1"))
    assert 7000 < len(thin.faces) <= 9200
    # UVs still follow the surface: v is the profile's row, which rises with the height on the body
    middle = thin.vertices[thin.faces].mean(axis=1)
    height = (middle @ TURNED_ON_IMPORT)[:, 2]
    body = ~thin.face_marks["filled"] & (height > 12.0)
    assert np.corrcoef(thin.uv[body].mean(axis=1)[:, 1], height[body])[0, 1] > 0.98
    assert thin.face_marks["filled"].any()
    assert len(bpy.data.objects) == 2  # scan and clean: the throw-away object is gone


def test_more_triangles_are_kept_where_no_map_can_hold_what_they_show(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Of a scan without UVs the larger number stays, of one with UVs the smaller; the setting overrides both."""
    monkeypatch.setattr(cleanup, "MOST_WITH_MAP", 6000)
    monkeypatch.setattr(cleanup, "MOST_WITHOUT_MAP", 9000)
    kept, mapped = [], statuette()
    bare = replace(mapped, uv=None)
    for mesh, line in ((mapped, ""), (bare, ""), (bare, "budget = 5000")):
        stage, _ = run(tmp_path, write_scan(tmp_path, mesh) + f"[cleanup]\n{line}", last="cleanup")
        kept.append(len(read_mesh(stage.require("clean", "1")).faces))
    assert kept == pytest.approx([6000, 9000, 5000], rel=0.05)  # the collapse of edges ends near its ratio


def test_crop_box_and_a_wrong_one(tmp_path: Path) -> None:
    text = write_scan(tmp_path, moved(statuette(), np.eye(3)))
    stage, _ = run(tmp_path, text + "[cleanup]\ncrop_low = [-1000.0, -40.0, -1000.0]\nclose = false", last="cleanup")
    kept = read_mesh(stage.require("clean", "1")).vertices
    assert kept[:, 1].min() == pytest.approx(-40.0, abs=1e-4)  # up is -y after import
    with pytest.raises(SubjectError, match="inside out"):
        run(tmp_path, text + "[cleanup]\ncrop_low = [1.0, 1.0, 1.0]\ncrop_high = [0.0, 0.0, 0.0]")
    with pytest.raises(SubjectError, match="Nothing of the scan"):
        run(tmp_path, text + "[cleanup]\ncrop_low = [900.0, 900.0, 900.0]")
