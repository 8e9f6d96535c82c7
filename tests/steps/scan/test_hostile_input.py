"""Does a scan that someone else made reach outside its folder, print on the terminal, run anything or open a connection?"""

from __future__ import annotations

import base64
import json
import os
import socket
from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.core import memory  # noqa: E402
from blender_addon.job import runner, sheet  # noqa: E402
from blender_addon.job.errors import InputError, JobError, OutputError  # noqa: E402
from blender_addon.job.files.whole_files import begin_folder  # noqa: E402
from blender_addon.job.notes import Notes  # noqa: E402
from blender_addon.job.step import from_module, ordered  # noqa: E402
from blender_addon.scene.delivery.kept_pictures import KeptPictures  # noqa: E402
from blender_addon.scene.images import make_image  # noqa: E402
from blender_addon.scene.meshes import make_object  # noqa: E402
from blender_addon.scene.running.captured import captured  # noqa: E402
from blender_addon.scene.running.session import writable, write_figures  # noqa: E402
from blender_addon.scene.scan import importers  # noqa: E402
from blender_addon.scene.stage import Stage  # noqa: E402
from blender_addon.scene.surface.base_picture import picture_of  # noqa: E402
from blender_addon.steps.scan import cleanup, intake, orientation  # noqa: E402
from tests.glb_files import TRIANGLE, glb, packed_into, scene_of, with_picture  # noqa: E402
from tests.scan_shapes import statuette, write_obj  # noqa: E402

pytestmark = pytest.mark.usefixtures("empty_scene")
STEPS = ordered([from_module(module) for module in (intake, cleanup, orientation)])
FIGURE = statuette(rows=12, columns=14)


@pytest.fixture(autouse=True)
def no_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever a scan names, nothing is asked of another computer."""

    def refuse(*_: Any) -> None:
        raise AssertionError("a connection was opened")

    for name in ("connect", "connect_ex", "sendto"):
        monkeypatch.setattr(socket.socket, name, refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)


def run(folder: Path, text: str, *, last: str = "intake", log: Path | None = None) -> tuple[Stage, runner.Report]:
    job = sheet.parse("bozzetto = 1\n" + text, STEPS, name="test", folder=folder)
    stage = Stage(bpy.context.scene, job, notes=Notes(log=log))
    return stage, runner.finish(runner.run_job(runner.chosen(STEPS, last=last), STEPS, job, stage))


def picture(path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    image = make_image("picture", np.random.default_rng(1).uniform(0.2, 0.8, (16, 16, 3)))
    image.file_format = "PNG"
    image.save(filepath=str(path))
    bpy.data.images.remove(image)
    return path


def warned(stage: Stage) -> str:
    return " | ".join(note.words for note in stage.notes.warnings())


def with_mtl(folder: Path, text: str | bytes, *, name: str = "owl.obj") -> str:
    write_obj(folder / name, FIGURE, library="owl.mtl")
    (folder / "owl.mtl").write_bytes(text if isinstance(text, bytes) else text.encode())
    return f'[intake]\nscan = "{name}"\n'


# --- no reach outside ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("written", ["../secret.png", "ABSOLUTE", "link.png", "away/secret.png", "..\\secret.png"])
def test_an_mtl_reads_nothing_outside(tmp_path: Path, written: str) -> None:
    folder = tmp_path / "scan"
    folder.mkdir()
    secret = picture(tmp_path / "secret.png")
    (folder / "link.png").symlink_to(secret)
    (folder / "away").symlink_to(tmp_path)
    before = set(bpy.data.images)
    stage, report = run(folder, with_mtl(folder, f"newmtl clay\nmap_Kd {written.replace('ABSOLUTE', str(secret))}\n"))
    assert report.results["intake"].figures["textures"] == []
    assert "outside the scan's own folder" in warned(stage)
    assert set(bpy.data.images) == before


def test_a_material_library_elsewhere_is_not_read(tmp_path: Path) -> None:
    folder = tmp_path / "scan"
    picture(folder / "colour.png")
    (tmp_path / "other.mtl").write_text("newmtl clay\nmap_Kd colour.png\n")
    write_obj(folder / "owl.obj", FIGURE, library="../other.mtl")
    stage, report = run(folder, '[intake]\nscan = "owl.obj"\nfind_textures = false')
    assert report.results["intake"].figures["textures"] == []
    assert '"other.mtl" is left out' in warned(stage)


def test_a_picture_that_the_sheet_names_may_lie_elsewhere(tmp_path: Path) -> None:
    """A second scan stands for any file that the sheet names: what it names itself, the first may use."""
    folder = tmp_path / "scan"
    folder.mkdir()
    secret = picture(tmp_path / "colour.png")
    text = with_mtl(folder, "newmtl clay\nmap_Kd ../colour.png\n")
    stage = Stage(bpy.context.scene, sheet.parse("bozzetto = 1\n" + text, STEPS, name="t", folder=folder))
    assert secret not in stage.sheet.named_files() and folder / "owl.obj" in stage.sheet.named_files()
    from blender_addon.scene.scan.textures import textures_of

    missing: list[str] = []
    found = textures_of(None, folder / "owl.obj", missing=missing, allowed={secret.resolve()})
    assert list(found.images) == ["base"] and not missing


@pytest.mark.parametrize("suffix", ["gltf", "fbx", "usda", "usdc"])
@pytest.mark.parametrize("how", ["outside", "link", "pipe"])
def test_other_formats_read_nothing_outside(tmp_path: Path, suffix: str, how: str) -> None:
    """Written by Blender's exporters with a picture beside; then that picture is made another thing, or its name leads out."""
    if suffix.startswith("usd") and not hasattr(bpy.ops.wm, "usd_import"):
        pytest.skip("this Blender has no USD")
    folder = tmp_path / "scan"
    folder.mkdir()
    file = exported(folder, suffix, picture(folder / "colour.png"))
    secret = picture(tmp_path / "secret.png")
    for beside in folder.rglob("colour.png"):
        beside.unlink()
        if how == "link":
            beside.symlink_to(secret)
        elif how == "pipe":
            os.mkfifo(beside)
    if how == "outside" and suffix != "usdc":  # of the binary form the names are packed
        data = file.read_bytes()
        start = next(at for at in (data.find(b"./textures/colour.png"), data.find(b"colour.png")) if at >= 0)
        old = b"./textures/colour.png" if data[start:].startswith(b"./") else b"colour.png"
        (folder / "x").symlink_to(tmp_path)
        (tmp_path / old.decode().split("/")[-1]).write_bytes(secret.read_bytes())
        new = b"x/" + b"/" * (len(old) - 12) + old[-10:] if len(old) > 12 else old
        file.write_bytes(data.replace(old, new))
    stage, report = run(folder, f'[intake]\nscan = "{file.name}"\nfind_textures = false')
    assert report.results["intake"].figures["textures"] == []
    assert "colour.png" in warned(stage)


def exported(folder: Path, suffix: str, colour: Path, *, packed: bool = False) -> Path:
    material = bpy.data.materials.new("clay")
    material.use_nodes = True
    node = material.node_tree.nodes.new("ShaderNodeTexImage")
    node.image = bpy.data.images.load(str(colour))
    shader = material.node_tree.nodes["Principled BSDF"]
    material.node_tree.links.new(node.outputs["Color"], shader.inputs["Base Color"])
    item = make_object("figure", FIGURE, materials=[material])
    bpy.context.scene.collection.objects.link(item)
    item.select_set(True)
    file = folder / f"figure.{suffix}"
    with captured():
        if suffix == "gltf":
            bpy.ops.export_scene.gltf(filepath=str(file), export_format="GLTF_SEPARATE")
        elif suffix == "glb":
            bpy.ops.export_scene.gltf(filepath=str(file), export_format="GLB")
        elif suffix == "obj":
            bpy.ops.wm.obj_export(filepath=str(file), path_mode="RELATIVE")
        elif suffix == "fbx":
            bpy.ops.export_scene.fbx(filepath=str(file), path_mode="COPY" if packed else "RELATIVE", embed_textures=packed)
        else:
            bpy.ops.wm.usd_export(filepath=str(file))
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return file


def test_a_usd_that_brings_in_another_folder_is_refused_by_name(tmp_path: Path) -> None:
    if not hasattr(bpy.ops.wm, "usd_import"):
        pytest.skip("this Blender has no USD")
    folder = tmp_path / "scan"
    folder.mkdir()
    (tmp_path / "other.usda").write_text("#usda 1.0\n")
    (folder / "a.usda").write_text('#usda 1.0\ndef "A" (references = @../other.usda@) {}\n')
    with pytest.raises(InputError, match=r'brings in "other\.usda".*outside the scan\'s own folder'):
        run(folder, '[intake]\nscan = "a.usda"')


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
@pytest.mark.parametrize("name", ["owl.obj", "colour.png", "owl_albedo.png", "owl.mtl", "textures"])
def test_a_named_pipe_is_never_opened(tmp_path: Path, name: str) -> None:
    """Opening one would wait for ever: the test's own time limit is what would fail."""
    text = with_mtl(tmp_path, "newmtl clay\nmap_Kd colour.png\n")
    (tmp_path / name).unlink(missing_ok=True)
    os.mkfifo(tmp_path / name)
    try:
        stage, report = run(tmp_path, text)
    except InputError as error:
        assert name == "owl.obj" and "named pipe" in str(error)
    else:
        assert report.results["intake"].figures["textures"] == [] and (name != "colour.png" or "named pipe" in warned(stage))


# --- nothing runs, nothing is printed ------------------------------------------------------------------------------------


def test_what_an_importer_prints_or_raises_goes_to_the_log(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A material that the importer's own parser gives up on, with a traceback on the terminal."""
    content, views = scene_of(FIGURE)
    content["materials"] = [{"pbrMetallicRoughness": {"baseColorFactor": "red"}}]
    (tmp_path / "a.glb").write_bytes(packed_into(content, views))
    with pytest.raises(InputError, match="Blender's importer says") as caught:
        run(tmp_path, '[intake]\nscan = "a.glb"', log=tmp_path / "log.txt")
    assert capfd.readouterr() == ("", "")
    assert "Traceback" not in str(caught.value) and "Traceback" in (tmp_path / "log.txt").read_text()


def test_an_importers_error_beside_a_mesh_that_arrived_is_said(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    if not hasattr(bpy.ops.wm, "usd_import"):
        pytest.skip("this Blender has no USD")
    mesh = (
        'def Mesh "M"\n{\n    int[] faceVertexCounts = [3, 3, 3, 3]\n'
        "    int[] faceVertexIndices = [0,2,1, 0,1,3, 1,2,3, 0,3,2]\n"
        "    point3f[] points = [(0,0,0), (1,0,0), (0,1,0), (0,0,1)]\n}\n"
    )
    (tmp_path / "a.usda").write_text(f'#usda 1.0\n{mesh}def "Gone" (\n    references = @none.usda@\n)\n{{\n}}\n')
    stage, report = run(tmp_path, '[intake]\nscan = "a.usda"')
    assert report.results["intake"].figures["triangles"] == 4
    assert "Blender's importer says" in warned(stage) and "none.usda" in warned(stage)
    assert capfd.readouterr() == ("", "")


def test_prints_of_python_and_of_compiled_code_are_caught(capfd: pytest.CaptureFixture[str]) -> None:
    with captured() as lines:
        print("from Python")
        os.write(2, b"from below\n")
    assert sorted(lines) == ["from Python", "from below"]
    print("after")
    assert capfd.readouterr().out == "after\n"


def test_nothing_that_comes_with_a_scan_is_kept_or_run(tmp_path: Path) -> None:
    """What could run (texts, drivers, handlers' scripts) is not part of what the importers make, and of their data only
    numbers and pictures are kept."""
    content, views = scene_of(FIGURE)
    content["extras"] = content["nodes"][0]["extras"] = {
        "_RNA_UI": {},
        "script": "import os; os.abort()",
        "driver": "os.abort()",
    }
    content["animations"] = []
    (tmp_path / "a.glb").write_bytes(packed_into(content, views))
    stage, _ = run(tmp_path, '[intake]\nscan = "a.glb"')
    scan = stage.require("scan", "1")
    assert not bpy.data.texts and not bpy.data.actions
    owners = [*bpy.data.objects, *bpy.data.meshes, *bpy.data.materials, bpy.context.scene]
    assert not any(owner.animation_data for owner in owners)
    assert "script" not in scan and "script" not in scan.data and "script" not in bpy.context.scene


# --- pictures and words ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
def test_a_library_in_any_usual_encoding_finds_its_picture(tmp_path: Path, encoding: str) -> None:
    picture(tmp_path / "Käuzchen.png")
    text = with_mtl(tmp_path, "newmtl täü\nmap_Kd Käuzchen.png\n".encode(encoding))
    words = (tmp_path / "owl.obj").read_text().replace("usemtl clay", "usemtl täü")
    (tmp_path / "owl.obj").write_bytes(words.encode("utf-8" if encoding == "utf-16" else encoding))
    stage, report = run(tmp_path, text + "find_textures = false")
    assert report.results["intake"].figures["textures"] == ["base 16 x 16"] and not warned(stage)
    assert picture_of(stage.require("scan", "1").material_slots[0].material) is not None


def test_a_picture_with_a_name_that_is_no_text_is_said_and_logged(tmp_path: Path) -> None:
    name = os.fsdecode(b"k\xe4uz.png")
    (tmp_path / name).write_bytes(b"no picture")
    stage, _ = run(tmp_path, with_mtl(tmp_path, b"newmtl clay\nmap_Kd k\xe4uz.png\n"), log=tmp_path / "log.txt")
    assert "not a picture that can be read" in warned(stage)
    assert "not a picture" in (tmp_path / "log.txt").read_text(encoding="utf-8")
    warned(stage).encode("utf-8")  # can be printed


def test_a_scan_behind_a_link_to_a_name_without_suffix_opens(tmp_path: Path) -> None:
    write_obj(tmp_path / "store", FIGURE)
    (tmp_path / "owl.obj").symlink_to("store")
    for name in ("owl.obj", "store"):
        _, report = run(tmp_path, f'[intake]\nscan = "{name}"')
        assert report.results["intake"].figures["triangles"] == len(FIGURE.faces)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("a\\u0000b.obj", "is not a valid path"), ("~nobody-of-that-name/a.obj", "is not a valid path"),
        ("a" * 5000 + ".obj", "5.* letters"),
        ("Owl.objj", r'did you mean "owl\.obj"'), ("gone/owl.obj", r'there is no folder ".*gone"'),
        ("owl.obj/x.obj", "is a file, not a folder"), ("/dev/null", "device"), (".", "it is a folder"),
    ],
)  # fmt: skip
def test_odd_paths_are_distinguished(tmp_path: Path, written: str, words: str) -> None:
    write_obj(tmp_path / "owl.obj", FIGURE)
    with pytest.raises(JobError, match=words) as caught:
        run(tmp_path, f'[intake]\nscan = "{written}"')
    assert len(str(caught.value)) < 500


def test_loose_triangles_and_lost_scales_are_named(tmp_path: Path) -> None:
    random = np.random.default_rng(1)
    middle = random.normal(size=(3000, 1, 3)) * 20.0
    lines = [f"v {x:.5f} {y:.5f} {z:.5f}" for x, y, z in (middle + random.normal(size=(3000, 3, 3)) * 0.1).reshape(-1, 3)]
    lines += [f"f {n} {n + 1} {n + 2}" for n in range(1, 9000, 3)]
    (tmp_path / "loose.obj").write_text("\n".join(lines))
    with pytest.raises(JobError, match="3,000 loose pieces that are not connected"):
        run(tmp_path, '[intake]\nscan = "loose.obj"\n[orientation]\nheight = 80.0', last="orientation")
    for scale in (1e-12, 1e12):
        rows = [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in FIGURE.vertices * scale]
        (tmp_path / "far.obj").write_text("\n".join([*rows, *(f"f {a} {b} {c}" for a, b, c in FIGURE.faces + 1)]))
        with pytest.raises(JobError, match="in no unit is that the size of a piece"):
            run(tmp_path, '[intake]\nscan = "far.obj"')


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_flat_sheet_has_no_height_to_be_measured_across(tmp_path: Path, axis: int) -> None:
    line = np.linspace(0.0, 10.0, 12)
    points = np.zeros((144, 3))
    points[:, (axis + 1) % 3], points[:, (axis + 2) % 3] = (part.ravel() for part in np.meshgrid(line, line))
    rows = [f"v {x:.4f} {y:.4f} {z:.4f}" for x, y, z in points]
    rows += [f"f {r * 12 + c + 1} {r * 12 + c + 2} {r * 12 + c + 14} {r * 12 + c + 13}" for r in range(11) for c in range(11)]
    (tmp_path / "flat.obj").write_text("\n".join(rows))
    with pytest.raises(JobError, match="no extent in that direction"):
        run(tmp_path, '[intake]\nscan = "flat.obj"\n[orientation]\nheight = 80.0', last="orientation")


def test_a_picture_in_an_address_is_used(tmp_path: Path) -> None:
    content, views = scene_of(FIGURE)
    data = base64.b64encode(picture(tmp_path / "p.png").read_bytes()).decode()
    (tmp_path / "p.png").unlink()
    (tmp_path / "a.glb").write_bytes(packed_into(with_picture(content, {"uri": f"data:image/png;base64,{data}"}), views))
    _, report = run(tmp_path, '[intake]\nscan = "a.glb"')
    assert report.results["intake"].figures["textures"] == ["base 16 x 16"]


def test_an_unknown_extension_is_named(tmp_path: Path) -> None:
    more = {"extensionsRequired": ["XX_folded"], "extensionsUsed": ["XX_folded"]}
    (tmp_path / "a.glb").write_bytes(glb({**TRIANGLE, **more}, bytes(36)))
    with pytest.raises(InputError, match="needs the glTF extension XX_folded"):
        run(tmp_path, '[intake]\nscan = "a.glb"')
    (tmp_path / "b.gltf").write_text("\ufeff" + json.dumps({**TRIANGLE, "buffers": [{"byteLength": 36}]}), encoding="utf-8")
    with pytest.raises(InputError, match="cut short"):
        run(tmp_path, '[intake]\nscan = "b.gltf"')


def test_pictures_that_nobody_used_are_named(tmp_path: Path) -> None:
    for name in ("owl_albedo.png", "owl_metallic.png", "holiday.png", "textures/owl_height.png"):
        picture(tmp_path / name)
    stage, report = run(tmp_path, with_mtl(tmp_path, "newmtl clay\nmap_Kd owl_albedo.png\n"))
    assert report.results["intake"].figures["textures"] == ["base 16 x 16"]
    (words,) = [note.words for note in stage.notes if "pictures that nothing uses" in note.words]
    assert all(f'"{name}.png"' in words for name in ("holiday", "owl_height", "owl_metallic")) and "albedo" not in words
    write_obj(tmp_path / "fox.obj", FIGURE)  # another mesh beside
    stage, _ = run(tmp_path, '[intake]\nscan = "owl.obj"')
    (words,) = [note.words for note in stage.notes if "pictures that nothing uses" in note.words]
    assert "owl_metallic.png" in words


def test_a_file_where_a_folder_belongs_is_reported_as_such(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")
    for place in (tmp_path / "out", tmp_path / "out" / "pictures"):
        with pytest.raises(OutputError, match=r"out\" is a file, not a folder; choose another one"):
            writable(place)


@pytest.mark.parametrize("words", ["[1, 2]", "7", '"x"', "{", "[" * 5000, ""])
def test_kept_figures_that_are_no_table_are_begun_again(tmp_path: Path, words: str) -> None:
    for name in ("figures.json", ".made.json"):
        (tmp_path / name).write_text(words)
    write_figures(tmp_path / "figures.json", runner.Report())
    assert json.loads((tmp_path / "figures.json").read_text()) == {}
    (tmp_path / "log.txt").write_text("--- a job's log tells that the folder is a job's\n")
    begin_folder(tmp_path)
    kept = KeptPictures(tmp_path)
    picture(tmp_path / "hero.png")
    kept.add(tmp_path / "hero.png", "digest")
    assert KeptPictures(tmp_path).current(tmp_path / "hero.png", "digest")


def test_a_scan_that_does_not_fit_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_obj(tmp_path / "owl.obj", FIGURE)
    monkeypatch.setattr(memory, "free_mb", lambda: 100.0)
    monkeypatch.setattr(importers, "_read", lambda *_: pytest.fail("it was read"))
    with pytest.raises(InputError, match=r"triangles take about 0\.3 GB of memory, and 0\.1 GB are free here; thin it out"):
        run(tmp_path, '[intake]\nscan = "owl.obj"')
    monkeypatch.undo()
    monkeypatch.setattr(memory, "free_mb", lambda: None)  # where nobody knows, the work goes on
    assert run(tmp_path, '[intake]\nscan = "owl.obj"')[1].results
