"""Are the lumps of a scan's mesh calmed where its texture speaks against them, and nowhere else?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.triangles import TriangleMesh, edges, unit
from blender_addon.core.surface.relief.fusion import Relief
from blender_addon.core.surface.relief.lumps import calmed, fine_form
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface
from blender_addon.core.surface.vertex_means import Ring

from .test_relief import sheet


@pytest.fixture(scope="module")
def pair() -> tuple[TexturedSurface, TexturedSurface]:
    """A sheet of 30 mm with one wave, and the same with lumps: noise of 0.02 mm on vertices 0.4 mm apart."""
    true = sheet(75, wave_mm=30.0)
    lumpy = true.vertices + np.float32(0.02) * np.random.default_rng(4).standard_normal((len(true.vertices), 1)) * [0, 0, 1]
    every = np.ones(len(true.faces), bool)
    meshes = (true, TriangleMesh(lumpy.astype(np.float32), true.faces, true.uv))
    true_surface, lumpy_surface = (read_surface(mesh, every, height=300, width=300) for mesh in meshes)
    return true_surface, lumpy_surface


def relief_of(slope: Floats, height: Floats | float = 0.0) -> Relief:
    none = np.zeros(len(slope), np.float32)
    return Relief(slope.astype(np.float32), none + np.float32(height), none, np.ones(len(slope), bool))


def missing(true: TexturedSurface, lumpy: TexturedSurface) -> Floats:
    """(n, 3) the slopes that the lumpy mesh lacks."""
    return (lumpy.normal - true.normal).astype(np.float32)


def error(true: TexturedSurface, lumpy: TexturedSurface, slope: Floats) -> float:
    return float(np.median(np.linalg.norm(unit(lumpy.normal - slope) - true.normal, axis=1)))


def test_what_is_read_faintly_and_on_one_side_is_taken_off_everywhere(pair: tuple[TexturedSurface, TexturedSurface]) -> None:
    true, lumpy = pair
    lit = (true.position[:, 0] < 20.0)[:, None]  # the rest faced the light: nothing was read there
    read = 0.7 * missing(true, lumpy) * lit
    found, share = calmed(lumpy, relief_of(read), lit[:, 0].astype(np.float32))
    bare, before, after = (error(true, lumpy, slope) for slope in (0 * read, read, found.slope))
    assert share > 0.5  # (0.7 x 1.25)^2, steadied
    assert after < 0.5 * before < 0.5 * bare
    dark = np.flatnonzero(~lit[:, 0])
    tilt = np.linalg.norm(lumpy.normal[dark] - found.slope[dark] - true.normal[dark], axis=1)
    assert np.median(tilt) < 0.7 * np.median(np.linalg.norm(missing(true, lumpy)[dark], axis=1))


def test_relief_that_has_nothing_to_do_with_the_mesh_stays_as_it_is(pair: tuple[TexturedSurface, TexturedSurface]) -> None:
    _, lumpy = pair
    strokes = 0.2 * np.sin(lumpy.position[:, :1] * 9.0) * np.array([[1.0, 0.0, 0.0]])
    relief = relief_of(strokes)
    found, share = calmed(lumpy, relief, np.ones(len(lumpy)))
    assert share == 0.0
    assert found is relief


def test_edges_that_the_mesh_has_rounded_are_not_smoothed(pair: tuple[TexturedSurface, TexturedSurface]) -> None:
    true, lumpy = pair
    relief = relief_of(-0.5 * missing(true, lumpy))  # the texture shows the mesh's own relief even stronger
    found, share = calmed(lumpy, relief, np.ones(len(lumpy)))
    assert share == 0.0
    assert found is relief


def test_nothing_is_done_where_nothing_was_read_or_covered(pair: tuple[TexturedSurface, TexturedSurface]) -> None:
    true, lumpy = pair
    none = relief_of(np.zeros((len(lumpy), 3)))
    assert calmed(lumpy, none, np.ones(len(lumpy)))[0] is none
    bare = replace(relief_of(missing(true, lumpy)), covered=np.zeros(len(lumpy), bool))
    assert calmed(lumpy, bare, np.ones(len(lumpy)))[0] is bare


def test_the_heights_lose_the_lumps_as_well(pair: tuple[TexturedSurface, TexturedSurface]) -> None:
    true, lumpy = pair
    inside = (np.abs(lumpy.position[:, :2] - 15.0) < 12.0).all(axis=1)
    lumps = (lumpy.position - true.position)[:, 2]
    found, _ = calmed(lumpy, relief_of(missing(true, lumpy), -lumps), np.ones(len(lumpy)))
    left = lumps + found.height_mm
    assert np.std(left[inside]) < 0.4 * np.std(lumps[inside])  # the smoothing beside which lumps are seen keeps a part


def test_a_spread_has_the_variance_of_its_steps() -> None:
    mesh = sheet(81, size_mm=80.0, high_mm=0.0)
    pairs, _ = edges(mesh.faces)
    ring = Ring.of(pairs, len(mesh.vertices))
    start = np.zeros((len(mesh.vertices), 1), np.float32)
    start[40 * 81 + 40] = 1.0
    found = ring.spread(start, 30.0)[:, 0]
    away = mesh.vertices - mesh.vertices[40 * 81 + 40]
    walked = ring.averaged(start[:, 0], 60)  # half a step a round: as many steps, and so as much variance
    assert found.sum() == pytest.approx(1.0, abs=1e-3)
    for axis in (0, 1):
        variance = (walked * away[:, axis] ** 2).sum()
        assert (found * away[:, axis] ** 2).sum() == pytest.approx(variance, rel=0.02)  # of the coefficients left out


def test_the_bends_of_the_form_are_no_fine_relief() -> None:
    surface = read_surface(sheet(121, size_mm=48.0, wave_mm=24.0), np.ones(2 * 120 * 120, bool), height=200, width=200)
    pairs, _ = edges(surface.faces)
    form = fine_form(surface, Ring.of(pairs, len(surface.vertices)), 0.45)
    inside = (np.abs(surface.vertices[:, :2] - 24.0) < 12.0).all(axis=1)
    assert np.abs(form.heights_mm[inside, 0]).max() < 0.01  # of 1 mm: (1 - exp(-(2 pi / 24)^2 / 2))^2 is 0.001
    assert (
        np.linalg.norm(form.tilts[inside].sum(axis=1), axis=1).max() < 0.03
    )  # of 0.26: (1 - exp(-(4 pi / 24)^2 / 2))^2: 0.016
