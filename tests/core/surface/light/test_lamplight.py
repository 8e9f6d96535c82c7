"""The light of a surface is fitted once, however many ask for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.surface.light import lamplight
from blender_addon.core.surface.textured_surface import read_surface
from tests.core.surface.relief.test_relief import sheet


def test_the_same_question_is_answered_from_memory_and_another_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    few = replace(lamplight.LAMPLIGHT, samples=4000, directions=8)  # what counts is whether a fit is kept, not how good it is
    monkeypatch.setattr(lamplight, "LAMPLIGHT", few)
    mesh = sheet(12)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=48, width=48)
    colours = np.random.default_rng(1).uniform(0.3, 0.5, (len(surface), 3)).astype(np.float32)
    lamplight._fit_of.cache_clear()
    first = lamplight.fit_surface_light(surface, colours)
    assert lamplight.fit_surface_light(surface, colours.copy()) is first
    darker = lamplight.fit_surface_light(surface, 0.5 * colours)
    assert darker is not first
    assert np.allclose(darker.shading.irradiance, 0.5 * first.shading.irradiance, rtol=1e-3)
    beside = (np.array([[0, 0, 9], [9, 0, 9], [0, 9, 9]], np.float32), np.array([[0, 1, 2]]))
    assert lamplight.fit_surface_light(surface, colours, occluders=beside) is not first
    for seed in range(lamplight.LAMPLIGHT.kept):
        lamplight.fit_surface_light(surface, colours, seed=10 + seed)
    assert lamplight.fit_surface_light(surface, colours) is not first  # memory is bounded
