"""An image's packed file is digested once for both digests of a record, and never remembered beyond it."""

from __future__ import annotations

import bpy
import numpy as np

from blender_addon.scene.images import make_image
from blender_addon.scene.prints.fingerprint import fingerprint, noted, unchanged
from blender_addon.scene.prints.fingerprint_0_1 import fingerprint as first_fingerprint


def test_a_record_holds_the_digests_that_each_would_give_alone() -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    image = make_image("map", np.full((8, 8, 3), 0.25, np.float32), data=True, floating=True)
    record = noted(image)
    assert record.startswith(fingerprint(image)) and record.endswith(first_fingerprint(image))


def test_another_content_is_seen_right_after() -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    image = make_image("map", np.full((8, 8, 3), 0.25, np.float32), data=True, floating=True)
    before = noted(image)
    image.pixels.foreach_set(np.full(8 * 8 * 4, 0.5, np.float32))
    image.update()
    image.pack()
    assert not unchanged(image, before) and noted(image) != before
