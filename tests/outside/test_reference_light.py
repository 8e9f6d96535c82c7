"""Is the light of a photo that of the closed form on a sphere, and is it found again from what the sphere shows?

Ramamoorthi and Hanrahan, An Efficient Representation for Irradiance Environment Maps, SIGGRAPH 2001, equation 8: the irradiance
of a matt surface with normal n is the sum of A_l L_lm Y_lm(n), with A_0 = pi, A_1 = 2 pi / 3, A_2 = pi / 4.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from blender_addon.core.closeups.placing.look import Skin
from blender_addon.core.closeups.seen import Form
from blender_addon.core.mesh.solids import ball
from blender_addon.core.mesh.triangles import unit
from blender_addon.core.reference.light import PhotoLight, Sight, fitted_light, matching_gains, room_design
from blender_addon.core.srgb import luminance
from blender_addon.core.surface.light.light import half_sphere
from blender_addon.core.surface.light.spherical_harmonics import basis
from blender_addon.core.surface.light.visibility import Visibility

CONVOLVED = np.array([np.pi, *[2 * np.pi / 3] * 3, *[np.pi / 4] * 5])
ROOM = np.array([1.6, 0.3, 0.5, -0.2, 0.1, -0.15, 0.2, 0.1, 0.05])[:, None] * (0.9, 1.0, 1.2)
ALBEDO = np.array([0.5, 0.4, 0.3])


def _normals(count: int = 4000) -> Any:
    return unit(np.random.default_rng(4).normal(size=(count, 3)))


def test_each_harmonic_of_the_room_reaches_a_sphere_as_the_closed_form_says() -> None:
    normals = _normals(500)
    half = half_sphere(1000)
    ways = np.concatenate([half, -half])
    open_ = (normals @ ways.T > 0).astype(np.float16)
    found = room_design(Visibility(ways, open_, np.full(open_.shape, -1)), normals)
    # 2000 directions: the lattice's own error at the horizon, where the cosine bends
    np.testing.assert_allclose(found, CONVOLVED * basis(normals) / np.pi, atol=2e-3)


def _ball() -> Skin:
    mesh = ball(4)
    return Skin(Form(20.0 * unit(mesh.vertices.astype(float)), mesh.faces, unit(mesh.vertices.astype(float))), texel_mm=1.0)


def _shown(lamp: Any, flux: Any, *, noise: float = 0.0) -> tuple[Sight, float]:
    """The front half of the ball, in the room and under a lamp at a place in mm that gives `flux` at its middle; and the lamp's
    part of the light."""
    normals = _normals()
    normals = normals[normals[:, 1] < 0.2]
    place = 20.0 * normals
    light = basis(normals) * CONVOLVED @ ROOM / np.pi
    middle = place.mean(axis=0)
    way = lamp - place
    far = np.linalg.norm(way, axis=1)
    cosine = np.maximum(np.einsum("ij,ij->i", way / far[:, None], normals), 0)
    lit = (cosine * (np.linalg.norm(lamp - middle) / far) ** 2)[:, None] * flux / np.pi
    light = light + lit
    share = float(lit.mean() / light.mean())
    light = ALBEDO * light * (1 + noise * np.random.default_rng(1).standard_normal(light.shape))
    return Sight(place, normals, np.broadcast_to(ALBEDO, light.shape), light.astype(np.float32)), share


@pytest.mark.parametrize("far", [60.0, 2000.0])
def test_room_and_lamp_are_found_again_on_the_ball(far: float) -> None:
    way = unit(np.array([0.5, -0.7, 0.6]))
    flux = np.array([1.5, 1.3, 1.0])
    skin = _ball()
    sight, share = _shown(far * way, flux, noise=0.01)
    light = fitted_light(sight, skin)
    assert light.way is not None
    # the last ring of directions is 3 degrees wide; only a few distances are tried, and a near lamp's direction trades with it
    towards = unit(far * way - light.middle)
    assert np.degrees(np.arccos(np.clip(light.way @ towards, -1, 1))) < (10.0 if far < 100 else 5.0)
    assert light.distance < 180.0 if far < 100 else light.distance > 400.0  # near or far: on a ball it hardly shows
    # room and lamp lend each other light on a ball, but what reaches the piece is right: to 5 % where the lamp is near
    assert light.residual < 0.05 and light.sure and light.explained > 0.99
    assert abs(light.lamp_share - share) < 0.15
    seen = luminance((sight.light / ALBEDO).mean(axis=0))
    np.testing.assert_allclose(light.cast, (sight.light / ALBEDO).mean(axis=0) / seen, atol=0.03)
    np.testing.assert_allclose(light.neutral().cast, 1.0)


def test_a_lamp_is_not_invented_in_a_plain_room_and_no_direction_is_darker_than_black() -> None:
    skin = _ball()
    sight, _ = _shown(np.array([0.0, -5000.0, 0.0]), np.zeros(3))
    light = fitted_light(sight, skin)
    assert light.lamp_share < 0.1 and light.residual < 0.03
    everywhere = basis(half_sphere(200)) @ light.room
    assert everywhere.min() > -0.02 * everywhere.max()


def test_what_is_no_light_on_the_form_is_not_sure() -> None:
    sight, _ = _shown(np.array([0.0, -60.0, 0.0]), np.ones(3))
    blotches = np.exp(0.6 * np.random.default_rng(3).standard_normal((len(sight.light), 1)))
    other = Sight(sight.position, sight.normal, sight.albedo, (sight.light * blotches).astype(np.float32))
    assert not fitted_light(other, _ball()).sure
    dark = Sight(sight.position, sight.normal, sight.albedo, 0 * sight.light)
    with pytest.raises(ValueError, match="neither black nor overexposed"):
        fitted_light(dark, _ball())


def test_the_level_is_the_photos_and_the_colour_only_where_asked() -> None:
    rng = np.random.default_rng(2)
    render = rng.uniform(0.1, 0.5, (300, 3))
    photo = render * (1.2, 1.0, 0.8)
    photo[:30] = 1.0  # overexposed: does not count
    np.testing.assert_allclose(matching_gains(photo, render, by_channel=True), (1.2, 1.0, 0.8), rtol=0.05)
    plain = matching_gains(photo, render, by_channel=False)
    assert plain[0] == plain[1] == plain[2] and abs(plain[0] - 1.0) < 0.1
    with pytest.raises(ValueError, match="in common"):
        matching_gains(np.ones((300, 3)), render, by_channel=True)


def test_gains_scale_the_whole_light() -> None:
    light = PhotoLight(ROOM, np.zeros(3), np.array([0, 0, 1.0]), np.ones(3), 100.0, 0.1, 0.1, 0.9, np.array([2.0, 1, 0.5]), 0.3)
    np.testing.assert_allclose(light.neutral().room * light.cast, ROOM)
    np.testing.assert_allclose(light.scaled(np.full(3, 2.0)).flux, 2.0)
