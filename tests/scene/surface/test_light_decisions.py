"""Marks that may be paint are asked about; those that follow the light are not."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from blender_addon.core.surface.relief.following import ALL_RELIEF, Marks
from blender_addon.scene.surface.light_decisions import paint_decision


def _recovery(marks: Marks) -> Any:
    return SimpleNamespace(strength=1.0, trust=0.84, marks=marks)


def _marks(kept: float) -> Marks:
    return Marks((0.4, 0.5, 0.8), (0.05,) * 3, (True,) * 3, (kept, kept, 1.0))


def test_relief_that_follows_the_light_is_not_asked_about() -> None:
    assert not paint_decision(_recovery(ALL_RELIEF), None, "auto").asked


def test_doubtful_marks_are_asked_about_with_full_relief_as_another_way() -> None:
    decision = paint_decision(_recovery(_marks(0.4)), None, "auto")
    assert decision.asked
    assert "up to 1.2 mm at 40 %" in decision.choice.words
    assert any("0.45 to 0.7 mm 40 %" in words for words in decision.evidence)
    assert {"relief.strength": 1.0, "relief.marks": "relief"} in [dict(other.sets) for other in decision.alternatives]


def test_what_was_said_by_hand_is_not_asked_again() -> None:
    assert not paint_decision(_recovery(_marks(0.4)), None, "paint").asked
    assert not paint_decision(_recovery(_marks(0.4)), 1.0, "auto").asked
