"""The dressed table: contact, keep-out, shots that hide what stands in their way, twice the same, clear refusals."""

from __future__ import annotations

import bpy
import numpy as np
import pytest

from blender_addon.job.errors import SheetError, SubjectError
from blender_addon.scene import roles
from blender_addon.scene.dressing.set_parts import HIDDEN_IN, SHOT_HIDE, SHOT_SET, apply_shot_set, restore_set
from blender_addon.scene.shots.cameras import shot_views
from blender_addon.steps.dressing import debris, tabletop
from scripts.bench._dressed import dressed, measured, take

LAID = "jar, brush, pencil, knife, rib, lump"


@pytest.fixture(scope="module")
def stage():
    return dressed("planks", 250, seed=4, powder=400, on_stand=12, things=LAID)


def test_what_was_laid_touches_and_is_in_nobodys_way(stage) -> None:
    found = measured(stage)
    assert found["pieces"] > 500 and found["props"] >= 4
    for name in ("inside_subject", "inside_props", "overlaps", "in_sight_line"):
        assert found[name] == 0, name
    assert found["float_mm"] <= 0.1 and found["sunk_of_thickness"] <= 0.3  # more would show at 1:1
    assert found["rest_gap_mm"] <= 0.05 and found["prop_gap_mm"] <= 0.05


def test_the_subject_was_not_moved(stage) -> None:
    stand = stage.require("stand")
    assert np.allclose(np.array(stand.matrix_basis), np.eye(4))
    assert min(v.co.z for v in stand.data.vertices) == pytest.approx(0.0, abs=1e-7)


def test_what_lies_on_the_stand_turns_with_it(stage) -> None:
    item = stage.find("debris", "stand")
    assert item["bozzetto_turns"] and len(item.data.vertices) > 5
    low = min(v.co.z for v in item.data.vertices)
    assert low > 0.008  # on the stand's upper side, not on the table


def test_no_prop_stands_in_the_outline_of_the_hero(stage) -> None:
    from blender_addon.core.shots.framing import project
    from blender_addon.core.shots.sight import outside_distance
    from blender_addon.scene.meshes import read_mesh

    hero = next(view for view in shot_views(stage) if view.kind == "hero")
    for item in stage.find_all("prop").values():
        slopes, depth = project(read_mesh(item, scale=1000.0).vertices.astype(float), hero.position, hero.rotation)
        assert outside_distance(slopes[depth > 0], hero.outline).min() > 0.0, item.name


def test_a_shot_hides_what_it_asks_and_what_is_in_its_way_and_all_comes_back(stage) -> None:
    shot = stage.require("shot", "hero")
    state = {item.name: item.hide_render for item in stage.scene.objects}
    prop = next(iter(stage.find_all("prop").values()))
    shot[SHOT_HIDE] = f"{prop[roles.KEY]}, backdrop"
    before = apply_shot_set(stage.scene, shot)
    assert prop.hide_render and stage.find("backdrop").hide_render and not stage.find("table").hide_render
    restore_set(stage.scene, before)
    shot[SHOT_HIDE] = ""
    kept = prop.get(HIDDEN_IN, "")
    prop[HIDDEN_IN] = "hero"
    before = apply_shot_set(stage.scene, shot)
    assert prop.hide_render
    restore_set(stage.scene, before)
    prop[HIDDEN_IN] = kept
    assert {item.name: item.hide_render for item in stage.scene.objects} == state


def test_twice_gives_the_same_scene(stage) -> None:
    def state() -> dict:
        out = {}
        for item in stage.scene.objects:
            if item.type == "MESH":
                points = np.zeros(3 * len(item.data.vertices), np.float32)
                item.data.vertices.foreach_get("co", points)
                out[item.name] = (points.tobytes(), np.array(item.matrix_basis).tobytes())
        return out

    first = state()
    counts = {kind: len(getattr(bpy.data, kind)) for kind in roles.KINDS}
    take(stage, tabletop, kind="planks", things=LAID)
    take(stage, debris, count=250, powder=400, on_stand=12)
    assert state() == first
    assert {kind: len(getattr(bpy.data, kind)) for kind in roles.KINDS} == counts


RED = (0.8, 0.05, 0.02)


def _reddened(stage) -> dict[tuple[str, str], tuple[int, str]]:
    """Turn a colour of one material of each part of the set red; where: slot and name of the input."""
    found = {}
    parts = [("table", ""), ("debris", "library"), *(("prop", key) for key in stage.find_all("prop"))]
    for role, key in parts:
        item = stage.require(role, key)
        for slot, material in enumerate(item.data.materials):
            for node in material.node_tree.nodes:
                socket = next(
                    (candidate for candidate in node.inputs if candidate.type == "RGBA" and not candidate.is_linked), None
                )
                if socket is not None and (role, key) not in found:
                    socket.default_value = (*RED, 1.0)
                    found[role, key] = slot, socket.name
    return found


def _colour(stage, part: tuple[str, str], place: tuple[int, str]) -> tuple[float, ...]:
    material = stage.require(*part).data.materials[place[0]]
    socket = next(node.inputs[place[1]] for node in material.node_tree.nodes if place[1] in node.inputs)
    return tuple(socket.default_value)[:3]


def test_materials_of_the_set_stay_as_the_user_changed_them_until_made_afresh(stage) -> None:
    more = {"count": 80, "powder": 100, "on_stand": 4}
    changed = _reddened(stage)
    assert {role for role, _ in changed} == {"table", "prop", "debris"}
    materials = len(bpy.data.materials)
    for _ in range(2):  # the second time it is the kept one that must be known again
        take(stage, tabletop, kind="planks", things=LAID)
        take(stage, debris, **more)
        for part, place in changed.items():
            assert _colour(stage, part, place) == pytest.approx(RED), part
    assert len(bpy.data.materials) == materials
    take(stage, tabletop, kind="planks", things=LAID, afresh=True)
    take(stage, debris, afresh=True, **more)
    for part, place in changed.items():
        assert _colour(stage, part, place) != pytest.approx(RED), part


def test_a_shots_own_table_is_made_and_shown_for_it_alone(stage) -> None:
    shot = stage.require("shot", "back")
    shot[SHOT_SET] = "cloth"
    take(stage, tabletop, kind="planks", props=1)
    assert set(stage.find_all("table")) == {"", "cloth"}
    before = apply_shot_set(stage.scene, shot)
    assert stage.find("table", "").hide_render and not stage.find("table", "cloth").hide_render
    assert stage.find("debris", "table").hide_render  # it lies on the other table
    restore_set(stage.scene, before)
    assert not stage.find("table", "").hide_render and stage.find("table", "cloth").hide_render
    shot[SHOT_SET] = ""


def test_debris_can_be_left_out(stage) -> None:
    result = take(stage, debris, on=False)
    assert result.figures["pieces"] == 0 and stage.find("debris") is None


def test_wrong_wishes_are_refused_by_name_and_leave_the_scene_alone(stage) -> None:
    names = sorted(item.name for item in bpy.data.objects)
    with pytest.raises(SheetError, match='no "jug"'):
        take(stage, tabletop, things="jug")
    with pytest.raises(SubjectError, match='"My things" holds no mesh'):
        take(stage, tabletop, collection="My things")
    with pytest.raises(SubjectError, match='mask "paint" is not a picture'):
        take(stage, debris, mask="paint")
    assert sorted(item.name for item in bpy.data.objects) == names


def test_props_can_come_from_a_collection(stage) -> None:
    home = bpy.data.collections.new("My things")
    mesh = bpy.data.meshes.new("box")
    mesh.from_pydata(
        [(x, y, z) for x in (0, 0.03) for y in (0, 0.02) for z in (0, 0.01)], [],
        [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)],
    )  # fmt: skip
    home.objects.link(bpy.data.objects.new("my box", mesh))
    take(stage, tabletop, collection="My things")
    props = stage.find_all("prop")
    assert list(props) == ["my box"]
    assert np.ptp([v.co.x for v in props["my box"].data.vertices]) == pytest.approx(0.03, abs=1e-6)
    assert list(home.objects.keys()) == ["my box"]  # the user's own is untouched


def test_a_black_mask_leaves_no_room(stage) -> None:
    image = bpy.data.images.new("no", 8, 8)
    image.pixels.foreach_set(np.zeros(256, np.float32))
    assert take(stage, debris, mask="no", count=50).figures["pieces"] == 0


def test_a_painted_mask_weighs_where_the_pieces_lie(stage) -> None:
    """White on the table's left, a quarter on its right: four times as many lie on the left, drifts and props aside."""
    image = bpy.data.images.new("weights", 64, 4)
    levels = np.repeat([1.0, 0.25], 32)
    pixels = np.ones((4, 64, 4), np.float32)
    pixels[..., :3] = levels[None, :, None]
    image.colorspace_settings.name = "Non-Color"
    image.pixels.foreach_set(pixels.ravel())

    def left_share(mask: str | None) -> float:
        take(stage, debris, mask=mask, count=1500, powder=0, drift=0.0, falloff=150.0)
        points = stage.require("debris", "table").data.vertices
        x = np.zeros(3 * len(points), np.float32)
        points.foreach_get("co", x)
        return float((x[::3] < 0).mean())

    even, weighed = left_share(None), left_share("weights")
    expected = 4 * even / (4 * even + (1 - even))
    assert weighed == pytest.approx(expected, abs=0.06)  # the discs of large pieces and of crumbs near them blur it
