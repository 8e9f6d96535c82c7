"""On a large mesh the light is fitted on clusters of vertices: is it the same light, and does it leave no steps?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.surface.light import lamplight
from blender_addon.core.surface.light.lamplight import clusters, fit_surface_light
from blender_addon.core.surface.light.spherical_harmonics import sphere_directions
from blender_addon.core.surface.textured_surface import read_surface
from tests.core.surface.relief.test_relief import sheet


def test_clusters_are_small_face_one_way_and_are_about_as_many_as_wanted() -> None:
    normals = sphere_directions(20_000)
    places = normals * np.array([40.0, 20.0, 10.0])
    group = clusters(places, normals, 800)
    count = int(group.max()) + 1
    assert 400 < count < 1200 and len(np.unique(group)) == count
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, group, places)
    np.maximum.at(high, group, places)
    axis = np.abs(normals).argmax(axis=1)
    way = 2 * axis + (normals[np.arange(len(normals)), axis] > 0)
    for number in range(count):
        assert len(np.unique(way[group == number])) == 1  # no cluster looks two ways
    assert (high - low).max() < 0.15 * 80.0  # of the whole ellipsoid's length


def test_a_light_fitted_on_clusters_is_the_light_that_is_fitted_on_all_vertices(monkeypatch: pytest.MonkeyPatch) -> None:
    """A waved sheet under a lamp from the left: the shading by a fifth of the vertices is that by all, within 2 %."""
    mesh = sheet(60)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=128, width=128)
    lit = np.maximum(surface.normal @ np.array([0.6, -0.2, 0.77]), 0.05) + 0.2
    colours = np.repeat((0.4 * lit / lit.max())[:, None], 3, axis=1).astype(np.float32)
    monkeypatch.setattr(lamplight, "LAMPLIGHT", replace(lamplight.LAMPLIGHT, samples=20_000))
    whole = fit_surface_light(surface, colours, seed=3)
    monkeypatch.setattr(lamplight, "LAMPLIGHT", replace(lamplight.LAMPLIGHT, large=1000, receivers=700))
    few = fit_surface_light(surface, colours, seed=4)
    shades = [fit.shading.irradiance.mean(axis=1) / np.median(fit.shading.irradiance) for fit in (whole, few)]
    assert np.ptp(shades[0]) > 0.4
    inner = np.all((surface.vertices[:, :2] > 2.0) & (surface.vertices[:, :2] < 28.0), axis=1)
    assert np.sqrt(np.mean((shades[1] - shades[0])[inner] ** 2)) < 0.02
    steps = [np.abs(np.diff(shade.reshape(60, 60), n=2, axis=1)).mean() for shade in shades]
    assert steps[1] < 1.2 * steps[0]  # clusters of a millimetre would show as stairs
