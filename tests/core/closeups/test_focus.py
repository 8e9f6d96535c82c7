"""Is that part of a close-up called sharp that is, although what is far out of focus shows nothing but noise?"""

from __future__ import annotations

import numpy as np

from blender_addon.core.closeups.focus import in_focus
from blender_addon.core.surface.bandpass import gaussian_blur
from blender_addon.core.surface.texels import rasterize


def test_what_shows_nothing_but_noise_is_not_called_sharp() -> None:
    """A plane that recedes from 100 to 124 mm, sharp at 106 mm; from there on the grain is blurred until none of it is left."""
    high, wide = 200, 480
    corners = np.array([[[0.0, 0], [1, 0], [1, 1]], [[0, 0], [1, 1], [0, 1]]])
    pixels = rasterize(corners, height=high, width=wide)
    rng = np.random.default_rng(4)
    grain = rng.standard_normal((high, wide)).astype(np.float32)
    depth = np.broadcast_to(100.0 + 24.0 * np.arange(wide) / wide, (high, wide))
    blur = 0.9 + 1.1 * np.abs(depth - 106.0)
    sigmas = np.geomspace(0.9, 22.0, 12)
    layers = np.stack([gaussian_blur(grain, float(sigma)) for sigma in sigmas])
    nearest = np.abs(np.log(blur[None] / sigmas[:, None, None])).argmin(axis=0)
    photo = 0.5 + 0.15 * np.take_along_axis(layers, nearest[None], axis=0)[0]
    photo = photo + gaussian_blur(0.004 * rng.standard_normal((high, wide)).astype(np.float32), 0.6)  # as a JPEG leaves it
    seen, far = (np.asarray(plane).reshape(-1)[pixels.index] for plane in (photo, depth))
    focus = in_focus(pixels, seen[:, None], far)
    assert focus.nearest < 106.0 < focus.furthest < 112.0
    assert focus.weight[np.abs(far - 106.0) < 1.0].min() > 0.5
    assert focus.weight[far > 118.0].max() < 0.1
