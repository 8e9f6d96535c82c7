"""Moving pictures in the scene: nothing in the way of the lens, keys that play in a window, films of the planned frames."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon.core.shots.moves.planning import collisions, out_of_focus
from blender_addon.core.shots.optics import depth_of_field
from blender_addon.job.errors import SubjectError
from blender_addon.job.sheet import JobSheet
from blender_addon.scene import roles
from blender_addon.scene.dressing.set_parts import HIDDEN_IN, to_metres
from blender_addon.scene.meshes import make_object
from blender_addon.scene.shots import lens_drivers as key
from blender_addon.scene.shots.cameras import optics_of
from blender_addon.scene.shots.moves import FIRST_FRAME, path_of, surface_queries
from blender_addon.scene.stage import Stage
from blender_addon.steps.delivery import films
from blender_addon.steps.dressing import tabletop
from blender_addon.steps.shots import camera, moves
from scripts.bench._dressed import subject_on_stand, take

ALL = {"push_in": True, "slide": True, "arc": True, "rack_focus": True, "seconds": 5.0, "fps": "24"}


@pytest.fixture(scope="module")
def stage():
    bpy.ops.wm.read_factory_settings(use_empty=True)
    built = Stage(bpy.context.scene, JobSheet("moves", Path(), {}))
    for role, mesh in zip(("piece", "stand"), subject_on_stand(), strict=True):
        item = make_object(role, to_metres(mesh))
        built.scene.collection.objects.link(item)
        roles.mark(item, job=built.job, step="separation", role=role, key="")
    take(built, camera, turntable=False)
    built.result = take(built, moves, **ALL)
    take(built, tabletop, kind="sweep", props=5)
    return built


def test_all_four_are_planned_with_the_lens_of_the_shot(stage) -> None:
    """A rack focus opens the lens, the others leave it as it is; all keep it all along, for there is one lens a camera."""
    assert stage.result.figures["moves"] == ["push_in", "slide", "arc", "rack_focus"]
    shot = stage.require("shot", "hero")
    for kind, item in stage.find_all("move").items():
        found = path_of(item)
        assert len(found.focus_mm) == 120 and found.optics.focal_mm == shot[key.FOCAL]
        assert (
            (found.optics.fnumber < shot[key.FNUMBER]) if kind == "rack_focus" else (found.optics.fnumber == shot[key.FNUMBER])
        )
        assert stage.result.figures[f"{kind}_out_of_focus"] == 0
        assert not out_of_focus(found, shot[key.COC]).any()


def test_nothing_passes_through_the_lens_or_between_it_and_what_is_in_focus(stage) -> None:
    """`move_collisions` 0, asked of the scene's own meshes by rays at each frame: what a move hides is not counted."""
    for kind, item in stage.find_all("move").items():
        shown = [
            item
            for role in ("table", "prop", "backdrop", "piece", "stand")
            for item in stage.find_all(role).values()
            if kind not in str(item.get(HIDDEN_IN, "")).split(",")
        ]
        found, everything = path_of(item), surface_queries(shown)
        assert not collisions(found, lambda places, tree=everything: tree.nearest(places)[2]).any(), kind
        others = surface_queries([item for item in shown if item.get(roles.ROLE) != "piece"])
        way = found.targets - found.positions
        far = np.linalg.norm(way, axis=1)
        _, first = others.cast(found.positions, way / far[:, None])
        sharp = depth_of_field(found.optics, item[key.COC])
        assert (first > far - sharp).all(), kind


def test_the_keys_play_the_same_camera(stage) -> None:
    """At a frame in the middle the evaluated camera stands where the path says (rounding of float32) and focuses there."""
    item = stage.require("move", "arc")
    found, frame = path_of(item), 40
    stage.scene.frame_set(FIRST_FRAME + frame)
    shown = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    assert np.array(shown.matrix_world)[:3, 3] * 1000.0 == pytest.approx(found.positions[frame], abs=1e-2)
    assert np.array(shown.matrix_world)[:3, :3] == pytest.approx(found.rotations[frame], abs=1e-5)
    assert 1000.0 * shown.data.dof.focus_distance == pytest.approx(found.focus_mm[frame], rel=1e-4)
    assert optics_of(shown).focal_mm == found.optics.focal_mm
    stage.scene.frame_set(1)


def test_a_move_of_no_shot_is_refused(stage) -> None:
    with pytest.raises(SubjectError, match="which does not exist"):
        take(stage, moves, push_in=True, of="portrait")


def test_films_are_made_of_the_frames_that_are_missing(stage, tmp_path: Path) -> None:
    stage.out = tmp_path
    small = {"lines": 90, "samples": 1, "every": 60}
    first = take(stage, films, **small)
    assert first.figures == {"films": ["arc.mp4", "push_in.mp4", "rack_focus.mp4", "slide.mp4"], "rendered": 8}
    assert all((tmp_path / name).stat().st_size > 500 for name in first.figures["films"])
    sizes = {bpy.data.images.load(str(path)).size[:] for path in (tmp_path / "moves" / "arc").glob("*.png")}
    assert sizes == {(160, 90)}
    (tmp_path / "moves" / "slide" / "0061.png").unlink()
    assert take(stage, films, **small).figures["rendered"] == 1
    assert not [item for item in bpy.data.objects if item.name.startswith("Frame of a move")]
