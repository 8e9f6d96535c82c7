"""The installed add-on's list "To check": shown while a question is open, answered by one click, gone when answered."""

from __future__ import annotations

import sys
from typing import Any

import bpy
import numpy as np
import pytest

from tests.host.small_scan import run_until

PACKAGE = "bl_ext.user_default.bozzetto"


def module(name: str) -> Any:
    return sys.modules[f"{PACKAGE}.{name}"]


@pytest.fixture(scope="module")
def scene(installed: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The knob, run until Separation."""
    return run_until(tmp_path_factory.mktemp("job"), "separation")


def ask(scene: Any, key: str, *sets: dict[str, Any]) -> None:
    """Have orientation ask something: what it chose, and the other ways, each with a grey picture of its own brightness."""
    job = module("job.decisions")
    ways = [
        job.Alternative(f"way {place}", setting, np.full((20, 30, 3), 40 * place, np.uint8))
        for place, setting in enumerate(sets)
    ]
    decision = job.Decision(key, "Which way is up?", ways[0], 0.4, ("it is flat",), tuple(ways[1:]))
    stage = module("ui.job_state").stage_of(bpy.context)
    result = stage.results()["orientation"]
    stage.keep_result("orientation", result["words"], result["figures"], [decision])


def shown(scene: Any) -> list[str]:
    """The places of the questions that the panel shows; none where it is not drawn."""
    panel = bpy.types.BOZZETTO_PT_to_check
    found = [question.place for question in module("ui.job_state").refreshed(scene).open]
    assert panel.poll(bpy.context) == bool(found)
    return found


def test_a_question_keeps_its_pictures(scene: Any) -> None:
    """Blender gives no icons without a window; their pixels are looked at instead."""
    ask(scene, "up", {"orientation.up": "y"}, {"orientation.up": "-y"})
    assert shown(scene) == ["orientation.up"]
    pixels = module("scene.running.kept_decisions").icon_pixels(scene, "orientation-up-1.png")
    assert pixels.shape == (20, 30, 4) and pixels[..., 3].min() == 1.0
    assert pixels[..., :3] == pytest.approx(40.0 / 255.0, abs=1e-6)
    assert module("ui.to_check").icon_of(scene, "orientation-up-2.png") == 0
    kept = module("scene.running.kept_decisions").picture(scene, "orientation-up-1.png")
    assert kept.shape == (20, 30, 3) and (kept == 40).all()


def test_an_answer_writes_the_setting_and_runs_only_what_depends_on_it(scene: Any) -> None:
    ask(scene, "up", {"orientation.up": "y"}, {"orientation.up": "-y"})
    before = {name: bpy.data.objects[name].session_uid for name in ("Clean 1", "Upright", "Piece")}
    assert bpy.ops.bozzetto.answer(step="orientation", key="up", way=1) == {"FINISHED"}
    assert scene.bozzetto.orientation.up == "-y"
    after = {name: bpy.data.objects[name].session_uid for name in ("Clean 1", "Upright", "Piece")}
    assert after["Clean 1"] == before["Clean 1"]
    assert after["Upright"] != before["Upright"] and after["Piece"] != before["Piece"]
    assert "orientation.up" not in shown(scene)  # a knob on its head may be asked for its front
    assert not module("ui.job_state").refreshed(scene).late
    assert not module("scene.running.kept_decisions").picture_bytes(scene, "orientation-up-1.png")
    scene.bozzetto.orientation.up = "auto"
    assert bpy.ops.bozzetto.run_job(changed=True) == {"FINISHED"}


def test_a_choice_without_a_setting_can_be_said_right(scene: Any) -> None:
    ask(scene, "front", {}, {"orientation.front": 90.0})
    assert shown(scene) == ["orientation.front"]
    uid = bpy.data.objects["Upright"].session_uid
    assert bpy.ops.bozzetto.answer(step="orientation", key="front", way=0) == {"FINISHED"}
    assert not shown(scene) and bpy.data.objects["Upright"].session_uid == uid


def test_to_keep_what_was_chosen_runs_nothing_again(scene: Any) -> None:
    ask(scene, "up", {"orientation.up": "z"}, {"orientation.up": "-y"})
    uid = bpy.data.objects["Upright"].session_uid
    assert bpy.ops.bozzetto.answer(step="orientation", key="up", way=0) == {"FINISHED"}
    assert scene.bozzetto.orientation.up == "z" and not shown(scene)
    assert bpy.data.objects["Upright"].session_uid == uid
    assert not module("ui.job_state").refreshed(scene).late
    scene.bozzetto.orientation.up = "auto"
    assert "orientation" in module("ui.job_state").refreshed(scene).late
    assert bpy.ops.bozzetto.run_job(changed=True) == {"FINISHED"}


def test_an_answered_question_is_refused_in_words(scene: Any) -> None:
    assert bpy.ops.bozzetto.answer(step="orientation", key="nothing", way=0) == {"CANCELLED"}


def test_a_changed_setting_says_why_a_step_is_out_of_date(scene: Any) -> None:
    scene.bozzetto.orientation.height = 0.05
    state = module("ui.job_state").refreshed(scene)
    assert state.late["orientation"] == "Height changed"
    assert state.late["separation"] == "Orientation changed"
    assert "cleanup" not in state.late
    scene.bozzetto.orientation.height = 0.042
    assert not module("ui.job_state").refreshed(scene).late
