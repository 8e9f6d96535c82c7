"""Does every material come out whole, live by name, and with the scan's own textures left where they were?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.surface import reflectance
from blender_addon.job import sheet as sheets
from blender_addon.job.errors import JobError
from blender_addon.job.runner import finish, run_job
from blender_addon.job.step import Progress, Result, Step, from_module, ordered
from blender_addon.scene import images, meshes
from blender_addon.scene.images import read_pixels
from blender_addon.scene.nodes.materials import albedo_of, exposed_as
from blender_addon.scene.nodes.relief import CAVITY
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface import rendered_form
from blender_addon.scene.surface.own_texture import maps_of, mean_colour
from blender_addon.steps.surface import material as step
from blender_addon.steps.surface.declared import material as declared

pytestmark = pytest.mark.usefixtures("empty_scene")

VARIETIES = [
    *(f"material.clay_body={key}" for key in reflectance.CLAY_BODIES),
    *(f"material.clay_state={key}" for key, *_ in declared.STATES),
    *(f"material.piece=wood;material.wood_species={key}" for key in reflectance.WOODS),
    *(f"material.piece=stone;material.stone_kind={key}" for key in reflectance.STONES),
    *(f"material.piece=glaze;material.glaze_kind={key}" for key in reflectance.GLAZES),
    *(f"material.piece=bronze;material.patina={key}" for key in reflectance.PATINAS),
    *(f"material.piece=wax;material.wax_kind={key}" for key in reflectance.WAXES),
    *(f"material.piece=compound;material.compound={key}" for key in reflectance.COMPOUNDS),
    "material.piece=plaster", "material.piece=metal", "material.piece=own",
]  # fmt: skip


@dataclass(kw_only=True)
class Nothing:
    """No settings."""


def bowl(height: float = 0.06) -> TriangleMesh:
    """A grooved lump: a ball of 60 mm with 24 furrows 0.8 mm deep along its height."""
    rows, columns = 40, 240
    v, u = np.meshgrid(np.linspace(0.02, 0.98, rows), np.arange(columns) / columns, indexing="ij")
    radius = 0.5 * height - 0.0004 * (1 - np.cos(24 * 2 * np.pi * u))
    x = radius * np.sin(np.pi * v) * np.cos(2 * np.pi * u)
    y = radius * np.sin(np.pi * v) * np.sin(2 * np.pi * u)
    points = np.stack([x, y, 0.5 * height - 0.5 * height * np.cos(np.pi * v)], axis=-1).reshape(-1, 3)
    a = np.arange((rows - 1) * columns).reshape(rows - 1, columns)
    b = np.roll(a, -1, axis=1)
    faces = np.concatenate([np.stack([a, b, b + columns], -1), np.stack([a, b + columns, a + columns], -1)]).reshape(-1, 3)
    uv = np.stack([u, v], axis=-1).reshape(-1, 2)[faces]
    return TriangleMesh(points, faces, uv=uv)


def subject(stage: Any, settings: Any) -> Any:
    """A piece with a texture and a painted mask, and a stand without colour."""
    yield Progress(0.0, "")
    own = bpy.data.materials.new("Scan")
    own.use_nodes = True
    picture = own.node_tree.nodes.new("ShaderNodeTexImage")
    level = {"black": 0.0, "white": 1.0}.get(stage.sheet.name, 0.6)
    picture.image = images.make_image("Photo", np.full((8, 8, 3), level))
    own.node_tree.links.new(picture.outputs["Color"], own.node_tree.nodes["Principled BSDF"].inputs["Base Color"])
    lump = bowl()
    mask = np.zeros((len(lump.vertices), 4))
    mask[lump.vertices[:, 2] > 0.05] = 1.0
    lump = TriangleMesh(lump.vertices, lump.faces, lump.uv, colours={"eyes": mask})
    stage.offer("piece", meshes.make_object("Piece", lump, materials=[own]), name="Piece")
    stage.offer("stand", meshes.make_object("Stand", bowl(0.02)), name="Stand")
    if settings is not None and stage.sheet.name == "with relief":
        flat = np.full((16, 16, 3), (0.5, 0.5, 1.0))
        normal = images.make_image("Relief normal", flat, data=True, floating=True)
        normal["strength"] = 0.4
        stage.offer("relief_normal", normal, key="piece", name="Relief normal")
        height = images.make_image("Relief height", np.zeros((16, 16)), data=True, floating=True)
        stage.offer("relief_height", height, key="piece", name="Relief height")
    return Result("", {})


STEPS = ordered(
    [
        Step(
            "separation",
            "scan",
            "",
            "",
            Nothing,
            (),
            (),
            ("piece", "stand", "albedo", "relief_height", "relief_normal"),
            subject,
        ),
        from_module(step),
    ]
)


def run(*assignments: str, name: str = "job", only: str | None = None, afresh: bool = False) -> tuple[Stage, dict[str, Any]]:
    """Run the step with settings such as "material.piece=wood"."""
    sheet = sheets.blank(STEPS, name=name)
    for assignment in assignments:
        sheets.override(sheet, assignment)
    stage = Stage(bpy.context.scene, sheet)
    report = finish(run_job([entry for entry in STEPS if only in (None, entry.name)], STEPS, sheet, stage, afresh=afresh))
    return stage, report.results["material"].figures


def shown(item: Any) -> Any:
    """The one material that an object shows."""
    names = {slot.material.name for slot in item.material_slots}
    assert len(names) == 1
    return bpy.data.materials[names.pop()]


def test_every_variety_gives_a_whole_material() -> None:
    run()
    for assignments in VARIETIES:
        stage, figures = run(*assignments.split(";"), only="material")
        material = shown(stage.require("piece"))
        tree = material.node_tree
        ends = [node for node in tree.nodes if node.bl_idname == "ShaderNodeOutputMaterial"]
        assert len(ends) == 1 and ends[0].inputs["Surface"].is_linked, assignments
        for group in (node for node in tree.nodes if node.bl_idname == "ShaderNodeGroup"):
            assert all(link.is_valid for link in group.node_tree.links), assignments
        assert all(0.0 <= channel <= 1.0 for channel in figures["piece"]["albedo"]), assignments


def test_running_again_leaves_the_same_blocks() -> None:
    run("material.piece=bronze")
    first = {kind: sorted(block.name for block in getattr(bpy.data, kind)) for kind in ("materials", "node_groups", "images")}
    run("material.piece=bronze", only="material")
    run("material.piece=wood", only="material")
    run("material.piece=bronze", only="material")
    again = {kind: sorted(block.name for block in getattr(bpy.data, kind)) for kind in ("materials", "node_groups", "images")}
    assert again == first


def test_the_scan_keeps_its_own_material_and_texture() -> None:
    stage, _ = run("material.piece=clay")
    mesh = stage.require("piece").data
    assert [material.name for material in mesh.materials] == ["Scan"]
    assert shown(stage.require("piece")).name != "Scan"


def test_a_material_of_the_users_own_stays_on_the_piece_until_it_is_reset() -> None:
    stage, _ = run("material.piece=clay")
    stage.require("piece").material_slots[0].material = bpy.data.materials.new("My paint")
    again, _ = run("material.piece=wood", only="material")
    assert shown(again.require("piece")).name == "My paint"
    assert any("My paint" in note.words for note in again.notes if note.level == "kept")
    assert shown(again.require("stand")).name.startswith("Stand")
    reset, _ = run("material.piece=wood", only="material", afresh=True)
    assert shown(reset.require("piece")).name == "Piece wood"


def test_the_piece_wears_the_jobs_material_as_the_user_changed_it() -> None:
    stage, _ = run("material.piece=clay")
    worn = shown(stage.require("piece"))
    next(node for node in worn.node_tree.nodes if node.bl_idname == "ShaderNodeGroup").mute = True
    again, _ = run("material.piece=wood", only="material")
    assert shown(again.require("piece")) == worn, "the change was kept in the file, and not on the piece"
    assert again.find("surface", "piece") == worn
    assert shown(again.require("stand")).name.startswith("Stand")
    whole, _ = run("material.piece=wood")
    assert shown(whole.require("piece")) == worn
    reset, _ = run("material.piece=wood", only="material", afresh=True)
    assert shown(reset.require("piece")).name == "Piece wood"
    assert shown(reset.require("piece")) != worn


def test_own_colour_shows_the_scans_photo() -> None:
    stage, _ = run("material.piece=own")
    pictures = [
        node.image.name for node in shown(stage.require("piece")).node_tree.nodes if node.bl_idname == "ShaderNodeTexImage"
    ]
    assert pictures == ["Photo"]


def test_a_stand_without_colour_gets_clay_and_it_is_said() -> None:
    stage, figures = run()
    assert figures["stand"]["material"] == "clay"
    assert any("no colour of its own" in str(note) for note in stage.notes)


@pytest.mark.parametrize("lost", ["black", "white"])
def test_a_texture_that_no_surface_can_have_is_not_shown(lost: str) -> None:
    stage, figures = run("material.piece=own", name=lost)
    assert figures["piece"]["material"] == "clay"
    assert any(f"The piece's scan is {lost} all over, so it gets plain clay" in str(note) for note in stage.notes)


def test_strength_is_live_and_follows_what_the_relief_advises() -> None:
    stage, _ = run(name="with relief")
    strength = shown(stage.require("piece")).node_tree.nodes["Relief"].inputs["Strength"]
    assert strength.default_value == pytest.approx(0.4)
    stage, _ = run("material.relief_strength=1.5", name="with relief", only="material")
    assert shown(stage.require("piece")).node_tree.nodes["Relief"].inputs["Strength"].default_value == pytest.approx(1.5)


def test_the_relief_moves_the_surface_of_pictures_as_far_as_its_strength_says_and_can_be_taken_back() -> None:
    stage, _ = run(name="with relief")
    item = stage.require("piece")
    assert rendered_form.raised_by(item) == pytest.approx(0.4)
    shown(item).node_tree.nodes["Relief"].inputs["Strength"].default_value = 1.2
    assert rendered_form.raised_by(item) == pytest.approx(1.2)
    stage, _ = run("material.displacement=false", name="with relief", only="material")
    assert rendered_form.raised_by(stage.require("piece")) == 0.0


def test_furrows_are_recesses_and_ridges_are_raised() -> None:
    """Furrows at 24 known places of the lump: recess there, raised on the ridges between."""
    stage, _ = run()
    mesh = stage.require("piece").data
    values = np.zeros(len(mesh.vertices), np.float32)
    mesh.attributes[CAVITY].data.foreach_get("value", values)
    rows = values.reshape(40, 240)[8:32]
    phase = (24 * np.arange(240) / 240) % 1.0
    furrow, ridge = rows[:, np.abs(phase - 0.5) < 0.1], rows[:, (phase < 0.1) | (phase > 0.9)]
    assert furrow.mean() > 0.2 > -0.2 > ridge.mean()
    assert (furrow > 0).mean() > 0.95 and (ridge < 0).mean() > 0.95


def test_recesses_that_are_switched_off_leave_none() -> None:
    """Materials read the attribute wherever it is there."""
    stage, _ = run()
    for asked in ("false", "true", "false"):
        run(f"material.recesses={asked}", only="material")
        for role in ("piece", "stand"):
            assert (CAVITY in stage.require(role).data.attributes) is (asked == "true")


def test_a_painted_region_is_another_material() -> None:
    sheet = sheets.parse(
        'bozzetto = 1\n[[material.regions]]\nmask = "eyes"\nmaterial = "metal"\nvariety = "gold"\n',
        STEPS,
        name="job",
        folder=Path.cwd(),
    )
    stage = Stage(bpy.context.scene, sheet)
    report = finish(run_job(STEPS, STEPS, sheet, stage))
    assert report.results["material"].figures["piece"]["regions"] == 1
    nodes = shown(stage.require("piece")).node_tree.nodes
    assert nodes["Mask eyes"].attribute_name == "eyes"
    gold = nodes["Bronze (eyes)"].inputs["Metal"].default_value
    assert tuple(gold)[:3] == pytest.approx(reflectance.METALS["gold"][1])


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('mask = "beak"', 'no painted mask "beak".*eyes'),
        ('mask = "eyes"\nmaterial = "metal"\nvariety = "golden"', 'did you mean "gold"'),
    ],
)
def test_a_wrong_region_is_refused_by_name_and_nothing_changes(table: str, words: str) -> None:
    run()
    before = sorted(block.name for block in bpy.data.materials)
    sheet = sheets.parse(f"bozzetto = 1\n[[material.regions]]\n{table}\n", STEPS, name="job", folder=Path.cwd())
    stage = Stage(bpy.context.scene, sheet)
    with pytest.raises(JobError, match=words):
        finish(run_job([STEPS[1]], STEPS, sheet, stage))
    assert sorted(block.name for block in bpy.data.materials) == before


def test_invented_marks_are_off_and_when_on_it_is_said() -> None:
    stage, _ = run()
    inputs = shown(stage.require("piece")).node_tree.nodes["Clay"].inputs
    assert inputs["Invented Fingerprints"].default_value == inputs["Invented Tool Chatter"].default_value == 0.0
    stage, _ = run("material.fingerprints=0.5", only="material")
    assert any("invented" in note.words for note in stage.notes.warnings())


HISTORY = (
    "Dust",
    "Crevice Wash",
    "Raised Wear",
    "Rubbed Edges",
    "Bloom",
    "Age",
    "Invented Fingerprints",
    "Invented Tool Chatter",
)


@pytest.mark.parametrize("kind", [key for key, *_ in declared.KINDS])
def test_no_material_has_a_history_that_nobody_asked_for(kind: str) -> None:
    """Wash, dust, wear and age are off in the step's settings and in the groups themselves, and nothing warns."""
    stage, _ = run(f"material.piece={kind}")
    groups = [node for node in shown(stage.require("piece")).node_tree.nodes if node.bl_idname == "ShaderNodeGroup"]
    found = {socket.name: socket.default_value for node in groups for socket in node.inputs if socket.name in HISTORY}
    own = {
        item.name: item.default_value
        for node in groups
        for item in node.node_tree.interface.items_tree
        if item.item_type == "SOCKET" and item.name in HISTORY
    }
    assert set(found.values()) | set(own.values()) <= {0.0}
    assert not any("invented" in note.words for note in stage.notes.warnings())


@pytest.mark.parametrize(
    "asked", ["piece=clay;material.dust=0.4", "piece=wood;material.crevice_wash=0.2", "piece=plaster;material.plaster_age=0.5"]
)
def test_a_history_that_is_asked_for_is_said_to_be_invented(asked: str) -> None:
    stage, _ = run(*f"material.{asked}".split(";"))
    assert any("invented" in note.words for note in stage.notes.warnings())


def test_the_outline_is_rounded_when_rendered_alone() -> None:
    """At no level until a picture asks, so that the window shows the scan's own triangles; instead of what 0.1.0 gave it."""
    stage, _ = run(name="with relief")
    piece = stage.require("piece")
    assert [modifier.name for modifier in piece.modifiers] == [rendered_form.MODIFIER]
    modifier = piece.modifiers[0]
    assert not modifier.show_viewport and not modifier.show_render
    for former in rendered_form.FORMER:
        piece.modifiers.new(former, "SUBSURF")
    run(name="with relief", only="material")
    assert [modifier.name for modifier in piece.modifiers] == [rendered_form.MODIFIER]


def test_a_reference_photo_gives_the_clay_its_colour(tmp_path: Path) -> None:
    """Truth: a picture painted with a grey card of 0.18 and clay of a known albedo under a warm light."""
    from blender_addon.core.srgb import encode

    clay = np.array([0.30, 0.18, 0.11])
    picture = np.full((100, 200, 3), 0.18)
    picture[:, 100:] = clay
    image = images.make_image("photo", encode(picture * np.array([1.3, 0.9, 0.6])))
    image.filepath_raw, image.file_format = str(tmp_path / "clay.png"), "PNG"
    image.save()
    _, figures = run(
        f'material.reference="{tmp_path / "clay.png"}"', "material.reference_corners=[10, 10, 90, 10, 90, 90, 10, 90]",
        "material.reference_sample=[150, 50, 20]",
    )  # fmt: skip
    assert figures["piece"]["albedo"] == pytest.approx(clay, rel=0.02)  # 8-bit codes at these values are 1.5 % apart


@pytest.mark.parametrize(
    ("assignments", "words"),
    [
        (('material.reference="gone.png"',), "needs reference_corners"),
        (
            (
                'material.reference="gone.png"',
                "material.reference_corners=[0,0,9,0,9,9,0,9]",
                "material.reference_sample=[5,5,2]",
            ),
            "no reference photo",
        ),
    ],
)
def test_a_missing_reference_is_reported(assignments: tuple[str, ...], words: str) -> None:
    with pytest.raises(JobError, match=words):
        run(*assignments)


@pytest.mark.parametrize(
    ("kind", "expected"),
    [("wood", reflectance.WOODS["walnut"].early), ("glaze", reflectance.GLAZES["celadon"][1]), ("own", None)],
)
def test_a_material_says_its_albedo_and_says_it_again_when_changed(kind: str, expected: tuple | None) -> None:
    stage = run(f"material.piece={kind}")[0]
    material = stage.find("surface", "piece")
    found = albedo_of(material)
    assert found == (None if expected is None else pytest.approx(expected, abs=1e-6))
    if expected is not None:
        socket = next(n.inputs[i] for n in material.node_tree.nodes for i in ("Early Wood", "Glaze Colour") if i in n.inputs)
        socket.default_value = (0.1, 0.2, 0.3, 1.0)
        assert albedo_of(material) == pytest.approx((0.1, 0.2, 0.3), abs=1e-6)


def test_a_pale_texture_is_known_to_be_pale() -> None:
    """A white scan shown in its own colour is exposed as white plaster is: the mean of what its corners show."""
    stage, _ = run("material.piece=own")
    material, piece = stage.require("surface", "piece"), stage.require("piece")
    found = mean_colour(piece, maps_of(stage, piece, "piece", None))
    assert found is not None and exposed_as(material)["albedo"] == pytest.approx(found, abs=1e-6)
    picture = maps_of(stage, piece, "piece", None).colour
    pixels = read_pixels(picture)
    pixels[..., :3] = 230 / 255  # display-encoded: 0.791 linear
    picture.pixels.foreach_set(pixels.ravel())
    assert mean_colour(piece, maps_of(stage, piece, "piece", None)) == pytest.approx((0.7914,) * 3, abs=0.001)
