"""Is what is found of a scan independent of its unit and of how an outline is divided, and are limits where they are said?"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan.quality import verdict
from blender_addon.core.scan.quality.measuring import measured
from blender_addon.core.scan.quality.verdict import Findings, complaints
from blender_addon.core.scan.table import find_table
from blender_addon.core.scan.upright import round_base
from tests.scan_shapes import noisy, on_table, statuette

GOOD = {"lumps_mm": 0.0, "discs": 40, "texels_a_pixel": 9.0, "edge_pixels": 1.0, "soft_texels": 1.0, "open_percent": 0.0}


def test_a_base_is_walked_in_equal_steps() -> None:
    """A square of 2 has no side that counts more because it was cut into more edges: the circle that fits best is the same."""
    corners = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    side = np.stack([np.linspace(-1, 1, 200, endpoint=False), np.full(200, -1.0)], axis=1)
    plain, cut = round_base(corners), round_base(np.concatenate([side, corners[1:]]))
    assert cut == pytest.approx(plain, abs=1e-6)
    # the mean distance of a square's outline from its middle is (sqrt 2 + asinh 1) / 2 = 1.148 of half its side
    assert plain[0] / 2 == pytest.approx(1.148, abs=0.03)


def test_a_table_is_found_in_any_unit() -> None:
    """Metres make areas of 1e-6: nothing but ratios may count."""
    mesh = noisy(on_table(statuette()), noise=0.05, seed=3)
    small = TriangleMesh(mesh.vertices * 1e-3, mesh.faces, mesh.uv)
    found, other = find_table(mesh), find_table(small)
    assert found is not None and other is not None
    np.testing.assert_allclose(other.up, found.up, atol=1e-4)
    assert 1e3 * other.offset == pytest.approx(found.offset, abs=0.02)


def test_without_a_picture_nothing_is_said_of_it() -> None:
    found = measured(statuette(), None, (1.0, False), 3000)
    assert found.discs == 0 and np.isnan([found.lumps_mm, found.texels_a_pixel, found.soft_texels]).all()


@pytest.mark.parametrize(
    ("name", "kind", "limit"), [("edge_pixels", "triangles", verdict.EDGE_PIXELS), ("soft_texels", "soft", verdict.SOFT_TEXELS),
                                ("open_percent", "holes", verdict.OPEN_PERCENT)]
)  # fmt: skip
def test_a_scan_is_complained_of_beyond_a_limit_and_not_at_it(name: str, kind: str, limit: float) -> None:
    assert {field.name for field in fields(Findings)} == {*GOOD, "longest_mm", "assumed"}
    at, beyond = (Findings(**{**GOOD, name: value}, longest_mm=100.0, assumed=False) for value in (limit, limit * 1.001))
    assert [each.kind for each in complaints(at)] == []
    assert [each.kind for each in complaints(beyond)] == [kind]
