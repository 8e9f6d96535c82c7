"""Is what lies deep relieved of the hue of its light too?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from blender_addon.core.srgb import luminance
from blender_addon.core.surface.albedo.removal import tinted
from tests.core.surface.test_paint import LIGHT, _lit, _surface


def test_shading_keeps_its_brightness_and_takes_the_hue_of_the_mesh_s_own_hollows() -> None:
    """A red piece: in its hollows red falls off by a tenth less than green, blue by a tenth more."""
    surface = _surface()
    lit = _lit(surface, np.tile(LIGHT, (len(surface), 1)))
    fall = 0.5 * np.cos(surface.vertices[:, :1]) * np.array([0.9, 1.0, 1.1])
    lit = replace(lit, shading=replace(lit.shading, irradiance=np.exp(fall).astype(np.float32)))
    shade = np.linspace(-1.0, 0.3, 200).astype(np.float32)
    shading = np.log(tinted(lit, surface.faces, shade))
    assert np.allclose(luminance(shading), shade, atol=1e-6)
    deepest = shading[0] - shading[0, 1]
    assert abs(deepest[0] - 0.1) < 0.015  # luminance, relative to which the hue is given, is green for the most part
    assert abs(deepest[2] + 0.1) < 0.015
