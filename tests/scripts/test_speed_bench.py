"""Are the scans that the bench of speed makes sound ones, its slopes slopes, and its table a table?"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest

from blender_addon.core.files.meshes.mesh_files import check_file
from blender_addon.core.mesh.topology import welded
from blender_addon.core.mesh.triangles import TriangleMesh, edges, signed_volume
from blender_addon.core.surface.picture_content import quick_fit_of
from scripts.bench import Record, Row, speed
from scripts.bench.speed.big_scan import bumpy, lit_photo, photo, write_glb, write_obj
from scripts.bench.speed.kernels import PARTS, slope


@pytest.mark.parametrize("triangles", [2000, 30_000])
def test_the_scan_is_closed_and_about_as_large_as_asked(triangles: int) -> None:
    figure = bumpy(triangles)
    assert len(figure.faces) == pytest.approx(triangles, rel=0.05)
    whole = welded(TriangleMesh(figure.points, figure.faces))
    assert (edges(whole.faces)[1] == 2).all() and signed_volume(whole.vertices, whole.faces) > 0
    corners = figure.uv[figure.faces]
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    covered = 0.5 * np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])
    assert covered.sum() == pytest.approx(0.98**2, rel=0.05)  # as much of the picture as it spans: no spot is shown twice
    assert 0.0 <= figure.uv.min() and figure.uv.max() <= 1.0


def test_its_files_pass_our_own_checks(tmp_path: Path) -> None:
    pytest.importorskip("PIL")
    assert check_file(write_glb(tmp_path / "a.glb", 2000, 64)).triangles == len(bumpy(2000).faces)
    assert check_file(write_obj(tmp_path / "a.obj", 2000)).triangles == len(bumpy(2000).faces)


def test_the_lit_texture_shows_the_light_on_the_form_and_the_other_does_not() -> None:
    """Part of the brightness that a smooth light on the mesh's normals explains; strokes take the rest."""
    image = pytest.importorskip("PIL.Image")
    figure = bumpy(30_000)
    mesh = TriangleMesh(figure.points, figure.faces, figure.uv[figure.faces])
    found = {}
    for made in (lit_photo, photo):
        picture = np.asarray(image.open(io.BytesIO(made(1024))), float)[::-1] / 255.0
        found[made] = quick_fit_of(picture, mesh, np.ones(len(mesh.faces), bool)).light
    assert found[lit_photo] > 0.6 and found[photo] < 0.3


def test_slopes_are_those_of_powers() -> None:
    sizes = [1000, 10_000, 100_000]
    assert slope(sizes, [0.1, 1.0, 10.0]) == pytest.approx(1.0)
    assert slope(sizes, [0.1, 10.0, 1000.0]) == pytest.approx(2.0)
    assert np.isnan(slope(sizes, [0.1, float("nan"), 1.0]))


def test_a_part_measures_something() -> None:
    pytest.importorskip("scipy")
    found = PARTS["parts"](4000)
    assert found["same"] and found["parts"][0] > 0
    assert set(PARTS["growth_triangles"](8000)["slopes"]) == {"welding", "degenerate", "loose", "rims", "all"}


def test_the_table_has_date_versions_and_what_failed() -> None:
    record = Record("speed", kept=[Row("enable_ms", 990.0), Row("growth_texels", 1.02, "band pass")])
    record.add("enable_ms", 120.0, unit="ms", goal="<= 150")
    record.fail("blurs: no module named cv2")
    words = speed._table(record, "2026-01-02")
    assert "2026-01-02" in words and "| `enable_ms` |  | 120 | ms |  | <= 150 |" in words and "- blurs: no module" in words
    assert "990" not in words and "| `growth_texels` | band pass | 1.02 |" in words  # of an earlier run
