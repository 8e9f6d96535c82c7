"""Do registration and separation leave in the scene what the next steps need, from a scan of the whole and one of the stand?"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.core.mesh.similarity import Similarity, rotation_from_vector  # noqa: E402
from blender_addon.core.mesh.topology import joined  # noqa: E402
from blender_addon.core.mesh.triangles import TriangleMesh, edges  # noqa: E402
from blender_addon.job.errors import SubjectError  # noqa: E402
from blender_addon.job.runner import finish  # noqa: E402
from blender_addon.job.sheet import JobSheet  # noqa: E402
from blender_addon.job.step import from_module  # noqa: E402
from blender_addon.scene import roles  # noqa: E402
from blender_addon.scene.meshes import make_object, read_mesh  # noqa: E402
from blender_addon.scene.prints.fingerprint import noted  # noqa: E402
from blender_addon.scene.stage import Stage  # noqa: E402
from blender_addon.scene.swap import edited  # noqa: E402
from blender_addon.steps.scan import registration, separation  # noqa: E402
from scripts.truth.pieces.stands import meshed, subjects  # noqa: E402
from tests.core.scan.test_doubtful import filled_gap  # noqa: E402

THERE = Similarity(0.013, rotation_from_vector(np.array([0.4, -1.1, 2.0])), np.array([3.0, 1.0, -2.0]))


@cache
def scanned(part: str) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of the slab's subject in mm, its 'whole' or its 'stand'."""
    return meshed(getattr(subjects()["slab"], part), 1.1)


@pytest.fixture
def stage(empty_scene: Any, tmp_path: Any) -> Stage:
    """The slab with its figure upright, and a scan of the stand alone in an unknown unit and pose."""
    built = Stage(bpy.context.scene, JobSheet("test", tmp_path, {}), out=tmp_path)
    for role, step, key, part, pose in (
        ("upright", "orientation", "1", "whole", Similarity(0.001, np.eye(3), np.zeros(3))),
        ("clean", "cleanup", "1", "whole", Similarity.identity()),
        ("clean", "cleanup", "2", "stand", THERE),
    ):
        vertices, faces = scanned(part)
        item = make_object(f"{role} {key}", TriangleMesh(pose.apply(vertices), faces))
        bpy.context.scene.collection.objects.link(item)
        item["bozzetto_scan_role"] = "stand" if key == "2" else "whole"
        roles.mark(item, job=built.job, step=step, role=role, key=key)
    return built


def done(stage: Stage, module: Any, **settings: Any) -> Any:
    step = from_module(module)
    stage.begin(step, afresh=False)
    try:
        result = finish(step.run(stage, step.settings(**settings)))
    except BaseException:
        stage.discard()
        raise
    stage.swap()
    return result


def test_stand_comes_from_its_own_scan(stage: Stage, tmp_path: Any) -> None:
    result = done(stage, registration)
    assert result.figures["verdict_2"] == "sure", result.words
    assert result.figures["mm_per_unit_2"] == pytest.approx(1 / 0.013, rel=1e-3)
    placed = read_mesh(stage.require("aligned", "2"), scale=1000.0)
    there = THERE.inverse().apply(read_mesh(stage.require("clean", "2")).vertices.astype(float))
    assert np.abs(placed.vertices - there).max() < 0.1
    assert (tmp_path / "registration_2.png").stat().st_size > 1000
    result = done(stage, separation)
    assert result.figures["stand_from"] == "2"
    piece, stand = (read_mesh(stage.require(role), scale=1000.0) for role in ("piece", "stand"))
    assert piece.face_marks["filled"].any()
    assert piece.vertices[:, 2].min() == pytest.approx(13.0, abs=1.0)
    assert stand.vertices[:, 2].max() == pytest.approx(13.2, abs=0.5)


def test_picked_pairs_win_over_an_earlier_choice(stage: Stage) -> None:
    """Whoever chose the third of eight poses and then marked matching spots has one pose, which is used."""
    spots = np.array([[39.0, 2.0, 6.0], [1.0, 30.0, 6.0], [-39.0, -20.0, 6.0]])
    pairs = [
        registration.Pair(scan="2", on_further=tuple(there), on_first=tuple(here))
        for here, there in zip(spots, THERE.apply(spots), strict=True)
    ]
    choices = [registration.Choice(scan="2", candidate=3)]
    upright = stage.require("upright")
    upright["bozzetto_matrix"] = np.diag([0.001, 0.001, 0.001, 1.0]).ravel().tolist()
    result = done(stage, registration, pairs=pairs, choices=choices)
    assert result.figures["used_2"] and "3 matching spots" in result.figures["reason_2"]
    assert result.figures["mm_per_unit_2"] == pytest.approx(1 / 0.013, rel=2e-3)


def test_twice_is_the_same(stage: Stage) -> None:
    done(stage, separation)
    first = {role: read_mesh(stage.require(role)).vertices for role in ("piece", "stand")}
    done(stage, separation)  # the mask that the first run shows must not count as painted
    for role, vertices in first.items():
        assert np.array_equal(read_mesh(stage.require(role)).vertices, vertices)


def test_paint_is_obeyed(stage: Stage) -> None:
    upright = stage.require("upright")
    height = read_mesh(upright, scale=1000.0).vertices[:, 2]
    layer = upright.data.color_attributes.new(name=separation.MASK, type="FLOAT_COLOR", domain="POINT")
    layer.data.foreach_set("color", np.repeat((height < 30.0).astype(np.float32), 4))
    done(stage, separation)
    assert read_mesh(stage.require("stand"), scale=1000.0).vertices[:, 2].max() == pytest.approx(30.0, abs=1.5)


def test_a_stand_that_is_not_wanted_is_no_longer_shown_but_paint_stays(stage: Stage) -> None:
    upright = stage.require("upright")
    upright[roles.PRINT] = noted(upright)
    layers = upright.data.color_attributes
    for asked, shown in (("auto", True), ("no", False), ("yes", True)):
        done(stage, separation, stand=asked)
        assert (separation.MASK in layers) is shown and roles.has(upright, separation.MASK_PRINT) is shown
        assert not edited(upright)
    layers[separation.MASK].data[0].color = (0.5, 0.5, 0.5, 1.0)
    done(stage, separation, stand="no")
    assert separation.MASK in layers


def test_none_means_none(stage: Stage) -> None:
    result = done(stage, separation, stand="no")
    assert stage.find("stand") is None and result.figures["stand"] is False
    assert len(edges(read_mesh(stage.require("piece")).faces)[0])


def test_wrong_requests_are_named(stage: Stage) -> None:
    with pytest.raises(SubjectError, match='"5"'):
        done(stage, registration, pairs=[registration.Pair(scan="5")])
    with pytest.raises(SubjectError, match="three matching spots"):
        done(stage, registration, pairs=[registration.Pair(scan="2")])
    with pytest.raises(SubjectError, match='"7"'):
        done(stage, separation, stand_from="7")
    assert stage.find("aligned") is None and stage.find("piece") is None


def test_a_web_is_pointed_out_and_marked(stage: Stage) -> None:
    """A film in the crook of an arm: a warning that says where, and the piece's faces marked."""
    vertices, faces = meshed(filled_gap, 1.0)
    upright = stage.require("upright")
    upright.data = make_object("webbed", TriangleMesh(vertices * 0.001, faces)).data
    result = done(stage, separation)
    assert result.figures["webs"] == 1
    assert any("thin wall" in str(warning) and " mm up, right" in str(warning) for warning in stage.notes.warnings())
    piece = read_mesh(stage.require("piece"), scale=1000.0)
    marked = piece.vertices[piece.faces[piece.face_marks["doubtful"]]].mean(axis=1)
    assert len(marked) > 20 and np.all(marked[:, 0] > 8.0)


def test_several_webs_are_one_warning_that_names_the_largest(stage: Stage) -> None:
    """Two webbed men side by side: one line with the number and the places, and every place among the figures."""
    vertices, faces = meshed(filled_gap, 1.0)
    twin = joined([TriangleMesh(vertices, faces), TriangleMesh(vertices + [70.0, 0.0, 0.0], faces)])
    stage.require("upright").data = make_object("webbed", TriangleMesh(twin.vertices * 0.001, twin.faces)).data
    result = done(stage, separation)
    assert result.figures["webs"] == len(result.figures["web_places"]) == 2
    (said,) = [str(warning) for warning in stage.notes.warnings() if "thin wall" in str(warning)]
    assert "2 thin walls" in said and all(place in said for place in result.figures["web_places"])


def test_of_many_webs_the_smaller_are_counted() -> None:
    places = [f"{size} mm² 10 mm up" for size in (50, 40, 30, 20, 10)]
    said = separation._webs_said(places)
    assert "5 thin walls" in said and places[2] in said and places[3] not in said and "2 smaller" in said
