"""Which finished pictures lie in a job's folder, in which order, and what does a click on each open?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy

from blender_addon.scene import roles
from blender_addon.scene.delivery.copies.finished import finished


def test_shots_in_their_order_then_the_turn_and_the_sheets(empty_scene: Any, tmp_path: Path) -> None:
    empty_scene[roles.JOB] = "job"
    for order, key in ((2, "back"), (1, "left_side"), (0, "hero"), (3, "not_rendered")):
        shot = bpy.data.objects.new(f"Shot {key}", bpy.data.cameras.new(key))
        empty_scene.collection.objects.link(shot)
        roles.mark(shot, job="job", step="camera", role="shot", key=key)
        shot["bozzetto_order"] = order
    assert finished(empty_scene, tmp_path / "gone") == []
    for place in ("pictures/hero.png", "pictures/back.png", "pictures/left_side.png", "pictures/of_another.png",
                  "turntable/0002.png", "turntable/0001.png", "sample_sheet.png"):  # fmt: skip
        (tmp_path / place).parent.mkdir(exist_ok=True)
        (tmp_path / place).write_bytes(b"picture")

    def shown() -> list[tuple[str, str, str]]:
        return [
            (each.title, *(path.relative_to(tmp_path).as_posix() for path in (each.picture, each.opens)))
            for each in finished(empty_scene, tmp_path)
        ]

    pictures = [(title, f"pictures/{key}.png", f"pictures/{key}.png")
                for title, key in (("Hero", "hero"), ("Left side", "left_side"), ("Back", "back"))]  # fmt: skip
    sheet = ("In every material", "sample_sheet.png", "sample_sheet.png")
    assert shown() == [*pictures, ("The turn", "turntable/0001.png", "turntable/0001.png"), sheet]
    (tmp_path / "turntable.mp4").write_bytes(b"film")
    assert shown()[3] == ("The turn", "turntable/0001.png", "turntable.mp4")
