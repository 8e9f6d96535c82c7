"""Do lamps and normals come back from photos whose light is known in closed form?

Lambert's sphere: the light is albedo times the cosine between normal and lamp. Three lights: R. J. Woodham, Photometric method
for determining surface orientation from multiple images, Optical Engineering 19(1), 1980, equations 8 to 11: b = S^-1 I.
"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.closeups.near_lamps import Samples, fit_lamps
from blender_addon.core.closeups.stereo import Shaded, facing
from blender_addon.core.mesh.triangles import unit

LAMPS = np.array([[90.0, 30.0, 110.0], [-70.0, 60.0, 120.0], [10.0, -100.0, 90.0], [-30.0, -20.0, 170.0]])
STRENGTH = np.array([9000.0, 11000.0, 8000.0, 20000.0])


def _dome(count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Points and normals on the upper part of a sphere of 12 mm, to 60 degrees off its top."""
    turn = 2.39996 * np.arange(count)
    up = 1.0 - 0.5 * (np.arange(count) + 0.5) / count
    flat = np.sqrt(1 - up**2)
    normals = np.stack([flat * np.cos(turn), flat * np.sin(turn), up], axis=1)
    return 12.0 * normals, normals


def _light(points: np.ndarray, normals: np.ndarray, albedo: np.ndarray, room: float) -> np.ndarray:
    way = LAMPS - points[:, None]
    far = np.linalg.norm(way, axis=2)
    cosine = np.einsum("nkc,nc->nk", way, normals) / far
    return albedo[:, None] * (STRENGTH / far**2 * np.maximum(cosine, 0) + room)


def test_three_lights_and_no_expectation_give_normals_and_albedo_exactly() -> None:
    ways = unit(np.array([[1.0, 0.2, 1.5], [-0.8, 0.5, 1.0], [0.1, -1.0, 1.2]]))
    _, normals = _dome(50)
    normals = normals[(normals @ ways.T > 0).all(axis=1)]
    albedo = np.linspace(0.2, 0.8, len(normals))
    seen = albedo[:, None] * (normals @ ways.T)
    each = np.broadcast_to(ways, (len(normals), 3, 3))
    upwards = np.tile([0.0, 0.0, 1.0], (len(normals), 1))
    found = facing(
        Shaded(upwards, each, np.ones(seen.shape), 0.0, seen, np.ones(seen.shape, bool)), albedo, paint=1e3, tilt=1e3
    )
    assert np.allclose(found.normals, normals, atol=1e-4) and np.allclose(found.albedo, albedo, rtol=1e-4)
    b = np.linalg.solve(ways, seen.T).T  # Woodham, Photometric method for determining surface orientation (1980): i = N b
    assert np.allclose(found.normals, unit(b), atol=1e-4)


def test_lamps_and_room_are_found_on_a_sphere_of_uneven_albedo() -> None:
    points, normals = _dome()
    albedo = 0.5 * np.exp(0.1 * np.random.default_rng(2).standard_normal(len(points)))
    light = _light(points, normals, albedo, 0.08)
    level = light / light.max()
    lamps = fit_lamps(
        Samples(points, normals, level, level > 0.03, np.ones(len(points))), np.array([0.0, 0.0, 1.0]), curve=False
    )
    middle = points.mean(axis=0)
    turns = np.degrees(np.arccos(np.sum(unit(lamps.places - middle) * unit(LAMPS - middle), axis=1)))
    assert turns.max() < 3  # a degree or two, since only light from 60 degrees of a sphere 12 mm wide speaks
    assert np.allclose(np.linalg.norm(lamps.places - middle, axis=1), np.linalg.norm(LAMPS - middle, axis=1), rtol=0.25)
    assert (lamps.explained > 0.85).all()
    shade = lamps.light(points, normals)
    ratio = (shade[:, 1:] / shade[:, :1]) / (light[:, 1:] / light[:, :1])
    lit = (light > 0.3 * light.max(axis=0)).all(axis=1)
    assert np.abs(np.log(ratio[lit])).max() < 0.1


def _shaded(tilt: float, *, room: float = 0.05) -> tuple[Shaded, np.ndarray, np.ndarray]:
    """A dome whose true normals lean by up to `tilt` from what the form says, its albedo, and the true normals."""
    points, normals = _dome(900)
    rng = np.random.default_rng(4)
    true = unit(normals + tilt * rng.uniform(-1, 1, normals.shape))
    albedo = np.full(len(points), 0.6)
    way = LAMPS - points[:, None]
    far = np.linalg.norm(way, axis=2)
    light = _light(points, true, albedo, room)
    return Shaded(normals, way / far[..., None], STRENGTH / far**2, room, light, np.ones(light.shape, bool)), albedo, true


def _off(found: np.ndarray, true: np.ndarray) -> np.ndarray:
    return np.degrees(np.arccos(np.clip(np.sum(found * true, axis=1), -1, 1)))


def test_four_lamps_bring_leaning_normals_back() -> None:
    shaded, albedo, true = _shaded(0.25)
    found = facing(shaded, albedo, paint=0.3)
    before, after = _off(shaded.normals, true), _off(found.normals, true)
    assert np.median(after) < 0.12 * np.median(before)  # what is left: the expectation's bias, and the room's light on the form
    assert np.median(np.abs(found.albedo - 0.6)) < 0.02


def test_a_highlight_in_one_photo_is_set_aside() -> None:
    shaded, albedo, true = _shaded(0.25)
    spoilt = shaded.values.copy()
    spoilt[::3, 1] += 0.5
    found = facing(Shaded(shaded.normals, shaded.ways, shaded.strength, shaded.room, spoilt, shaded.usable), albedo, paint=0.3)
    assert np.median(_off(found.normals, true)[::3]) < 0.3 * np.median(_off(shaded.normals, true))


def test_without_any_light_the_form_stays() -> None:
    shaded, albedo, _ = _shaded(0.25)
    none = np.zeros(shaded.usable.shape, bool)
    found = facing(Shaded(shaded.normals, shaded.ways, shaded.strength, 0.05, shaded.values, none), albedo, paint=0.3)
    assert np.allclose(found.normals, shaded.normals) and (found.lamps == 0).all()
    assert found.doubt[:, 0] == pytest.approx(np.full(len(albedo), 0.45), rel=1e-6)
