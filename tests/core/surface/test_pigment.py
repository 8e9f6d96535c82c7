"""Paint distinguished from light by its colour, on a ball whose paint and light are both known."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import unit
from blender_addon.core.surface.light.light import Light, fit_light, half_sphere, sky_design
from blender_addon.core.surface.light.spherical_harmonics import sphere_directions
from blender_addon.core.surface.light.visibility import Visibility
from blender_addon.core.surface.pigment import chromaticity, find_pigments

CREAM, BLUE, RUST = (0.70, 0.66, 0.56), (0.05, 0.09, 0.24), (0.33, 0.10, 0.05)
WHITE_WINDOW = [((0.2, -0.7, 0.5), (9.0, 9.5, 10.0))]
WARM_AND_COLD = [((0.9, 0.1, 0.4), (9.0, 5.0, 2.0)), ((-0.7, 0.5, 0.4), (3.0, 5.0, 7.0))]


def ball() -> tuple[np.ndarray, Visibility]:
    """Normals (n, 3) of a ball, which hides nothing from itself, and what it sees."""
    normals = sphere_directions(1600)
    half = half_sphere(64)
    ways = np.concatenate([half, -half]).astype(np.float32)
    open_sky = (normals @ ways.T > 0).astype(np.float16)
    return normals, Visibility(ways, open_sky, np.full(open_sky.shape, -1, np.int32))


def lit(normals: np.ndarray, seen: Visibility, lamps: list) -> np.ndarray:
    """(n, 3) irradiance over pi of a dim room with lamps (direction, power a channel)."""
    radiance = np.full((len(seen.directions), 3), 0.4)
    for towards, power in lamps:
        radiance += np.exp(10 * (seen.directions @ unit(np.array(towards)) - 1))[:, None] * np.array(power)
    return sky_design(seen, normals) @ radiance


def painted(normals: np.ndarray, sharing: str) -> np.ndarray:
    """(n, 3) albedo: plain; fine stripes; or broad areas of two paints and a bare rest."""
    if sharing == "plain":
        return np.tile(CREAM, (len(normals), 1))
    stripes = np.sin(40 * normals[:, 2] + 9 * normals[:, 0])
    broad = normals @ np.array([1.3, -0.9, 0.8]) + 0.4 * np.sin(5 * normals[:, 1])
    field = stripes if sharing == "stripes" else broad
    return np.select([field[:, None] > 0.35, field[:, None] < -0.5], [BLUE, RUST], CREAM)


def shading_error(fitted: Light, seen: Visibility, normals: np.ndarray, truth: np.ndarray) -> float:
    """Robust deviation of log(fitted / true) of the mean of the channels."""
    off = (np.log(sky_design(seen, normals) @ fitted.radiance) - np.log(truth)).mean(axis=1)
    return float(1.4826 * np.median(np.abs(off - np.median(off))))


def fitted(paint: str, lamps: list) -> tuple[Light, float]:
    normals, seen = ball()
    light = lit(normals, seen, lamps)
    rng = np.random.default_rng(0)
    texture = painted(normals, paint) * light * np.exp(0.02 * rng.standard_normal(light.shape))
    found = fit_light(seen, normals, texture, np.ones(len(normals)), np.zeros_like(texture))
    return found, shading_error(found, seen, normals, light)


@pytest.mark.parametrize("lamps", [WHITE_WINDOW, WARM_AND_COLD])
@pytest.mark.parametrize("paint", ["stripes", "broad"])
def test_light_is_found_under_strong_paint(paint: str, lamps: list) -> None:
    """These paints are up to 2 e-folds apart; broad areas under coloured lamps are the hardest: paint and light look alike."""
    found, error = fitted(paint, lamps)
    assert error < (0.12 if paint == "broad" else 0.05)
    assert found.pigment > 0.4


@pytest.mark.parametrize("lamps", [WHITE_WINDOW, WARM_AND_COLD])
def test_coloured_light_on_a_plain_body_is_not_taken_for_paint(lamps: list) -> None:
    found, error = fitted("plain", lamps)
    assert error < 0.03  # the texture's own noise is 0.02
    assert found.pigment < 0.03
    assert found.explained > 0.95


def test_levels_of_two_paints_are_their_ratio() -> None:
    rng = np.random.default_rng(1)
    mine = rng.random(3000) < 0.3
    remainder = np.log(np.where(mine[:, None], BLUE, CREAM)) + rng.normal(0, 0.02, (3000, 3))
    levels = find_pigments(chromaticity(remainder), remainder, np.ones(3000)).at(chromaticity(remainder))
    apart = levels[mine].mean(axis=0) - levels[~mine].mean(axis=0)
    assert np.allclose(apart, np.log(np.divide(BLUE, CREAM)), atol=0.02)  # noise over the root of the count is 0.001
    assert np.allclose(levels.mean(axis=0), 0, atol=1e-6)
