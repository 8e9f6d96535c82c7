"""Are the pictures of decisions in the scene those that the steps gave, each under its own name?"""

from __future__ import annotations

from typing import Any

import numpy as np

from blender_addon.job.decisions import Alternative, Decision
from blender_addon.scene.running.kept_decisions import icon_pixels, keep_pictures, picture


def _picture(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (6, 8, 3), dtype=np.uint8)


def test_pictures_are_kept_by_step_and_replaced_by_its_next_run(empty_scene: Any) -> None:
    up = Decision("up", "Which way is up?", Alternative("this", {}, _picture(1)), 0.5, (), (Alternative("that", {}),))
    unit = Decision("unit", "Which unit?", Alternative("mm", {}, _picture(2)), 0.5)
    keep_pictures(empty_scene, "orientation", [up])
    keep_pictures(empty_scene, "intake", [unit])
    assert (picture(empty_scene, "orientation-up-0.png") == _picture(1)).all()
    assert picture(empty_scene, "orientation-up-1.png") is None, "this one has no picture"
    pixels = icon_pixels(empty_scene, "intake-unit-0.png")
    assert pixels is not None and np.allclose(pixels[::-1, :, :3] * 255.0, _picture(2)) and (pixels[..., 3] == 1.0).all()
    keep_pictures(empty_scene, "orientation", [])
    assert picture(empty_scene, "orientation-up-0.png") is None
    assert picture(empty_scene, "intake-unit-0.png") is not None
