"""Is a lit surface distinguished from one whose picture holds no light? On a lumpy ball, by the formula of each."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import unit
from blender_addon.core.surface.light.evidence import LightEvidence, light_evidence, predicted_share
from blender_addon.core.surface.light.spherical_harmonics import basis, sphere_directions
from scripts.bench._harmonic_light import irradiance_basis

NORMAL = sphere_directions(6000)
PLACE = 40.0 * NORMAL * (1 + 0.1 * np.sin(5 * NORMAL[:, :1]))
LAMP = unit(np.array([0.5, -0.4, 0.7]))
GREY = np.ones(3) * 0.5


def _noise(size: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    ways = unit(rng.standard_normal((20, 3))) * (2 * np.pi / size)
    return np.cos(PLACE @ ways.T + rng.uniform(0, 6.3, 20)).sum(axis=1) / np.sqrt(10)


LIGHT = (0.3 + np.maximum(NORMAL @ LAMP, 0)) / 0.6
PAINT = 0.4 * np.exp(0.4 * _noise(15.0, 1))


def evidence(texture: np.ndarray, light: np.ndarray) -> LightEvidence:
    """Of a grey texture (n,) under the light (n,) that was fitted to it."""
    shown, fitted = (np.repeat(np.maximum(values, 1e-3)[:, None], 3, axis=1) for values in (texture, light))
    return light_evidence(PLACE, NORMAL, shown, np.ones(len(PLACE)), fitted)


@pytest.mark.parametrize("paint", [np.full(len(PLACE), 0.5), PAINT])
def test_a_lit_matt_ball_is_believed(paint: np.ndarray) -> None:
    assert evidence(paint * LIGHT, LIGHT).trust > 0.9


def test_paint_and_speckle_without_light_are_not() -> None:
    speckle = 0.5 * np.exp(0.014 * np.random.default_rng(2).standard_normal(len(PLACE)))
    for texture in (speckle, PAINT, 0.5 * np.exp(0.3 * np.sign(_noise(20.0, 3)))):
        assert evidence(texture, np.full(len(PLACE), 0.5)).trust == 0.0
        # not even when the fit invents an uneven light
        assert evidence(texture, np.exp(0.4 * _noise(30.0, 4))).trust == 0.0


def test_mirror_images_are_no_shading() -> None:
    """A room of small bright lamps in a mirror goes with the normals, and no smooth light explains it."""
    lamps = sphere_directions(24)
    mirrored = 0.05 + np.exp(60 * (NORMAL @ lamps.T - 1)).sum(axis=1)
    design = irradiance_basis(NORMAL)
    fitted = np.maximum(design @ np.linalg.lstsq(design, mirrored, rcond=None)[0], 0.05)
    assert evidence(mirrored, fitted).trust == 0.0


@pytest.mark.parametrize("kappa", [8.0, 16.0, 60.0])
def test_blurred_mirror_images_are_no_shading(kappa: float) -> None:
    """Lamps of a room in satin metal, whose lobe is some 20 degrees wide (kappa 8 of a von Mises-Fisher lobe) or less."""
    lamps, strengths = sphere_directions(40), np.random.default_rng(7).exponential(size=40) ** 2
    mirrored = 0.1 + np.exp(kappa * (NORMAL @ lamps.T - 1)) @ strengths
    design = irradiance_basis(NORMAL)
    fitted = np.maximum(design @ np.linalg.lstsq(design, mirrored, rcond=None)[0], 0.05)
    found = evidence(mirrored, fitted)
    assert found.left_over > 0.02 and found.trust == 0.0


def test_what_is_predicted_is_found_on_parts_that_were_not_fitted() -> None:
    rng = np.random.default_rng(5)
    fold = rng.integers(0, 5, len(NORMAL))
    ones = np.ones(len(NORMAL))
    assert predicted_share(basis(NORMAL, 2), NORMAL @ LAMP, ones, fold) > 0.99
    assert abs(predicted_share(basis(NORMAL, 2), rng.standard_normal(len(NORMAL)), ones, fold)) < 0.02
    assert predicted_share(basis(NORMAL, 2), ones, ones, fold) == 0.0


def test_doubt_is_reported_in_words() -> None:
    found = LightEvidence(uneven=0.5, follows=0.8, left_over=0.017)
    assert 0 < found.trust < 0.3 and "gloss" in " ".join(found.words())
    assert LightEvidence(0.5, 0.8, 0.0).trust == 1.0 and LightEvidence(0.05, 0.8, 0.0).trust == 0.0


def test_doubt_runs_from_none_to_certain() -> None:
    """However bad a sign is, doubt is a chance and not above 1; where each sign is even or speaks for a light there is none."""
    assert LightEvidence(uneven=0.5, follows=-3.0, left_over=0.0).doubt == 1.0
    assert LightEvidence(uneven=0.5, follows=0.8, left_over=9.0).doubt == 1.0
    assert LightEvidence(uneven=0.0, follows=0.8, left_over=0.0).doubt == 1.0
    assert LightEvidence(uneven=0.5, follows=0.8, left_over=0.0).doubt == 0.0
    assert 0.0 < LightEvidence(uneven=0.02, follows=0.8, left_over=0.0).doubt < 1.0
