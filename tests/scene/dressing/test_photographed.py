"""The user's own surfaces: a table and a backdrop from a photograph, at the size that it shows, and props where they are to
be."""

from __future__ import annotations

import bpy
import numpy as np
import pytest

from blender_addon.core.dressing.tabletops.grid import Extent
from blender_addon.core.dressing.tabletops.photographed import SUNK, photo_top, photo_wall
from blender_addon.job.errors import InputError, SheetError, SubjectError
from blender_addon.scene.dressing.photographed import photo_material, photograph
from blender_addon.scene.dressing.set_parts import AS_TAKEN, TONED
from blender_addon.scene.dressing.set_props import collected_candidates
from blender_addon.scene.images import make_image
from blender_addon.steps.dressing import lighting, tabletop
from scripts.bench._dressed import dressed, take

pytestmark = pytest.mark.usefixtures("empty_scene")


def _picture(folder, size=(60, 40)) -> str:
    image = make_image("surface", np.linspace(0.1, 0.8, size[0] * size[1]).reshape(size[1], size[0]))
    image.filepath_raw, image.file_format = str(folder / "surface.png"), "PNG"
    image.save()
    return str(folder / "surface.png")


def test_a_photographed_table_is_flat_and_a_backdrop_has_its_true_size() -> None:
    top = photo_top(Extent(width=800.0, depth=500.0, reach=60.0, fine=0.6, back=140.0))
    upper = top.mesh.vertices[top.mesh.vertices[:, 2] > -1.0]
    assert np.ptp(upper[:, 2]) == 0.0 and np.ptp(upper[:, :2], axis=0) == pytest.approx([800.0, 500.0])
    assert upper[:, 1].max() == pytest.approx(140.0)
    wall = photo_wall((1500.0, 1000.0), np.array([1.0, 1.0]), 1350.0)
    assert np.linalg.norm(wall.vertices[1] - wall.vertices[0]) == pytest.approx(1500.0)
    assert wall.vertices[:, 2].min() == pytest.approx(-SUNK * 1000.0) and np.ptp(wall.vertices[:, 2]) == pytest.approx(1000.0)
    assert wall.vertices[:, :2].mean(axis=0) == pytest.approx(1350.0 * np.array([1.0, 1.0]) / 2**0.5)


def test_the_photograph_lies_at_its_size_in_millimetres(tmp_path) -> None:
    """300 mm over 60 pixels: in metres the place is multiplied by 1 / 0.3 across and by 1 / 0.2 up."""
    worn = photo_material(
        "surface", photograph(tmp_path.joinpath(_picture(tmp_path)), "The table's photograph"), width_mm=300.0
    )
    group = next(node.node_tree for node in worn.node_tree.nodes if getattr(node, "node_tree", None))
    scaled = next(node for node in group.nodes if node.bl_idname == "ShaderNodeVectorMath")
    assert tuple(scaled.inputs[1].default_value)[:2] == pytest.approx((1.0 / 0.3, 1.0 / 0.2))


def _trees(material) -> list:
    return [material.node_tree, *(node.node_tree for node in material.node_tree.nodes if getattr(node, "node_tree", None))]


def test_a_backdrop_photograph_shows_as_it_was_taken_whatever_the_exposure(tmp_path) -> None:
    """Exposed by the stops that are asked for, its light is that of the picture: 2^stops times the object's colour is 1."""
    stage = dressed("sweep", 0, props=0)
    picture = _picture(tmp_path)
    take(stage, tabletop, kind="photo", photo=picture, backdrop="photo", backdrop_photo=picture, props=0)
    for stops, behind in ((1.5, 0.0), (-0.7, 1.0)):
        take(stage, lighting, exposure=stops, behind=behind)
        level = stage.require("backdrop", "room").color[0]
        assert level * 2.0**stage.scene.view_settings.exposure == pytest.approx(2.0**behind, rel=2e-3)


def test_a_set_of_photographs_is_dressed_and_a_missing_one_is_named(tmp_path) -> None:
    picture = _picture(tmp_path)
    stage = dressed("sweep", 0, props=0)
    take(stage, tabletop, kind="photo", photo=picture, photo_width=250.0, backdrop="photo", backdrop_photo=picture, props=0)
    room = stage.require("backdrop", "room")
    assert room.dimensions.length == pytest.approx(np.hypot(1.5, 1.0), rel=1e-3)
    assert stage.require("table", "").data.materials[0].name.startswith("Table photograph")
    nodes = [node for tree in _trees(room.data.materials[0]) for node in tree.nodes]
    light = next(node for node in nodes if node.bl_idname == "ShaderNodeEmission")
    assert light.inputs["Color"].is_linked and room[TONED] == AS_TAKEN
    with pytest.raises(SheetError, match=r"tabletop\.photo names none"):
        take(stage, tabletop, kind="photo", props=0)
    (tmp_path / "torn.png").write_bytes(b"no picture")
    with pytest.raises(InputError, match="torn"):
        take(stage, tabletop, kind="photo", photo=str(tmp_path / "torn.png"), props=0)


def test_a_prop_of_ones_own_stands_where_its_role_says() -> None:
    home = bpy.data.collections.new("mine")
    bpy.ops.mesh.primitive_cube_add(size=0.03)
    item = bpy.context.object
    home.objects.link(item)
    item["role"] = "Beside"
    assert [candidate.place for candidate in collected_candidates("mine")] == ["beside"]
    item["role"] = "on top"
    with pytest.raises(SubjectError, match='stands "back" or lies "beside"'):
        collected_candidates("mine")
