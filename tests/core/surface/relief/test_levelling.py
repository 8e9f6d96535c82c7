"""Do patches that overlap agree on how bright they are?"""

from __future__ import annotations

from functools import cache

import numpy as np

from blender_addon.core.surface import patches
from blender_addon.core.surface.relief.levelling import levels
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface
from tests.core.surface.relief.test_relief import sheet

WAVE_MM = 14.0  # twice a patch


@cache
def _laid() -> tuple[TexturedSurface, patches.Patches, patches.Cloud]:
    mesh = sheet(high_mm=0.0)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=256, width=256)
    return surface, *patches.lay_patches(surface.position, surface.normal, cell_mm=0.07, seed=1)


def _cut(values: np.ndarray) -> np.ndarray:
    """(p, cells, cells) of the texels' values, each patch about its own mean, as a reading without a level is."""
    _, laid, cloud = _laid()
    members = laid.members(cloud, 0, len(laid))
    means, weight = patches.splat(members, values.astype(np.float32))
    grids = patches.filled(means, weight)
    taper = patches.window() / patches.window().sum()
    return grids - (grids * taper).sum(axis=(1, 2), keepdims=True)


def _joined(grids: np.ndarray) -> np.ndarray:
    surface, laid, cloud = _laid()
    rows, read, weight = patches.read_back(members := laid.members(cloud, 0, len(laid)), grids[:, None])
    texel, count = members.texel[rows], len(surface)
    return np.bincount(texel, weight * read[:, 0], count) / np.maximum(np.bincount(texel, weight, count), 1e-9)


def test_a_broad_shade_comes_back_from_patches_smaller_than_it() -> None:
    surface, laid, cloud = _laid()
    true = 0.2 * np.sin(2 * np.pi * surface.position[:, 0] / WAVE_MM)
    cut = _cut(true)
    levelled = cut + levels(laid, cloud, cut)[:, None, None]
    inside = (np.abs(surface.position[:, :2] - 15) < 11).all(axis=1)
    amount = [float(np.polyfit(true[inside], _joined(grids)[inside], 1)[0]) for grids in (cut, levelled)]
    assert amount[0] < 0.6  # what is lost without
    assert 0.8 < amount[1] < 1.02  # drawn back a little, so that errors of many patches do not add up


def test_patches_that_agree_are_left_alone() -> None:
    _, laid, cloud = _laid()
    assert np.abs(levels(laid, cloud, np.full((len(laid), patches.PATCH.cells, patches.PATCH.cells), 0.3))).max() < 1e-6


def test_a_patch_beside_no_other_keeps_its_level() -> None:
    _, laid, cloud = _laid()
    alone = patches.Patches(*[laid.cell_mm, *(part[:1] for part in (laid.centre, laid.normal, laid.along, laid.across))])
    grids = np.random.default_rng(1).normal(size=(1, patches.PATCH.cells, patches.PATCH.cells))
    assert np.abs(levels(alone, cloud, grids)).max() < 1e-6
