"""Laws that the surface's small functions follow, whatever is built on them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.surface.light.spherical_harmonics import basis, sphere_directions
from blender_addon.core.surface.relief import finer, finest
from blender_addon.core.surface.textured_surface import read_surface
from tests.core.surface.light.test_light_evidence import LIGHT, NORMAL, evidence


def test_harmonics_are_orthonormal_to_the_third_order() -> None:
    """The integral of two of them over the sphere is 1 for the same and else 0; 20,000 directions give it to 0.002."""
    columns = basis(sphere_directions(20_000), 3)
    np.testing.assert_allclose(columns.T @ columns * 4 * np.pi / 20_000, np.eye(16), atol=0.002)


def test_what_a_fit_leaves_over_does_not_depend_on_the_contrast() -> None:
    """A share of the picture's variance: gloss of twice the strength on a picture of twice the contrast is the same share."""
    gloss = basis(NORMAL, 3)[:, 12]
    shares = [evidence(0.5 * LIGHT**power * np.exp(0.2 * power * gloss), LIGHT**power).left_over for power in (0.4, 0.8)]
    assert 0.001 < shares[0] < 1.0
    assert shares[1] == pytest.approx(shares[0], rel=0.1)  # values below 0.001 are raised to it


def test_the_finest_wave_is_half_a_ring_beyond_the_last_that_rises() -> None:
    """Of a spectrum that is flat but for waves of up to 10 a block."""
    wave = np.fft.fftfreq(finest.FINEST.block)
    ring = np.round(np.hypot(wave[:, None], wave[None]) * finest.FINEST.block)
    power = np.where(ring <= 10, 100.0 * finest.FINEST.above, 1.0)
    assert finest._rising(power, 0.02) == pytest.approx(0.02 * finest.FINEST.block / 10.5)


def test_two_large_triangles_are_two_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(finer, "FINER", replace(finer.FINER, most_texels=600))
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    mesh = TriangleMesh(corners, faces, corners[faces][..., :2].astype(np.float32))
    surface = read_surface(mesh, np.ones(2, bool), height=32, width=32)
    parts = list(finer._parts(surface, (32, 32)))
    assert sorted(part.tolist() for part in parts) == [[0], [1]]
