"""Do places photographed by one lens, found without spots, tell each other its focal length, and the others nothing?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from blender_addon.core.closeups.placing.one_lens import joined
from blender_addon.job.runner import finish
from blender_addon.job.step import Progress
from blender_addon.steps.surface._closeup_cameras import Alone, Placed, by_their_lens
from tests.core.closeups.placing.test_one_lens import KNOWN, _camera, _fit


def _alone(fit: Any, optics: str = "a camera/6000x4000", *, spots: bool = False, other: Any = None) -> Alone:
    found = None if spots else (fit, other)
    return Alone(Placed(fit.camera, "sure", "", ("found",), 1.0 if spots else None, found), optics, KNOWN)


def test_only_photos_of_one_lens_that_were_found_by_themselves_are_joined() -> None:
    rng = np.random.default_rng(21)
    fits = [_fit(rng, _camera(rng), 3.0) for _ in range(8)]
    photos = [
        *(_alone(fit) for fit in fits[:3]),
        _alone(fits[3], "another/6000x4000"),
        _alone(fits[4], ""),  # its file says nothing, as that of the next one
        _alone(fits[5], ""),
        _alone(fits[6], spots=True),
        _alone(fits[7], other=replace(fits[7], right=fits[7].right - 1)),  # it looks alike from another side
    ]
    placed = finish(by_their_lens(photos, Progress(0.5, "Comparing")))
    for row, (photo, wanted) in enumerate(zip(photos, [*joined(fits[:3], KNOWN), *fits[3:]], strict=True)):
        if row > 2:
            assert placed[row] is photo.placed
            continue
        assert np.array_equal(placed[row].camera.place, wanted.camera.place) and wanted is not fits[row]
        assert any("3 photos" in words for words in placed[row].evidence)
        assert placed[row].verdict == "sure" or placed[row].why
    again = finish(by_their_lens(photos, Progress(0.5, "Comparing")))
    assert all(np.array_equal(first.camera.place, second.camera.place) for first, second in zip(placed, again, strict=True))
