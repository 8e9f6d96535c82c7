"""How much lighter than the grey card says is a picture exposed, by material and light?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.colour import blackbody
from blender_addon.core.dressing import exposure, light_setups
from blender_addon.core.srgb import luminance

FRONT = np.array([0.0, -1.0, 0.2]) / np.linalg.norm([0.0, -1.0, 0.2])
LEFT = np.array([-1.0, 0.0, 0.0])


def test_light_from_the_side_takes_the_whole_offset_and_a_cloudy_sky_or_light_from_behind_none() -> None:
    whole = exposure.OFFSETS["clay"]
    side = exposure.shade_share(np.array([3.0, -4.0, 0.0]), 5.0, FRONT)
    assert side == pytest.approx(1.0) and exposure.usual_offset("clay", side) == pytest.approx(whole)
    assert exposure.shade_share(np.array([0.0, 0.0, 7.0]), 14.0, FRONT) == 0.0  # an even sky: pi over 2 pi
    assert exposure.shade_share(np.array([0.0, 0.0, 7.0]), 7.5, FRONT) == 1.0  # a sun overhead: the front lies in shade
    assert exposure.shade_share(np.array([0.0, 5.0, 1.0]), 5.1, FRONT) == 0.0
    assert exposure.usual_offset("clay", 0.0) == 0.0 and exposure.usual_offset("clay") == whole


@pytest.mark.parametrize("shade", [0.0, 0.4, 1.0])
def test_what_is_held_back_is_held_back_in_every_light(shade: float) -> None:
    """White plaster must not burn out under a cloudy sky either."""
    assert exposure.usual_offset("plaster", shade) == exposure.OFFSETS["plaster"] < 0


@pytest.mark.parametrize(
    ("kind", "albedo", "expected"),
    [
        ("clay", (0.28, 0.26, 0.22), exposure.OFFSETS["clay"]), ("clay", (0.76, 0.745, 0.70), exposure.OFFSETS["plaster"]),
        ("bronze", (0.80, 0.70, 0.70), exposure.OFFSETS["bronze"]), ("wood", None, exposure.OFFSETS["wood"]),
    ],
    ids=["stoneware", "porcelain", "metal", "a picture"],
)  # fmt: skip
def test_what_is_pale_is_held_back_as_plaster_is(kind: str, albedo: tuple | None, expected: float) -> None:
    """Porcelain exposed like stoneware would burn out."""
    assert exposure.usual_offset(kind, albedo=None if albedo is None else np.array(albedo)) == pytest.approx(expected)


def test_an_unknown_material_is_exposed_by_the_card() -> None:
    assert exposure.usual_offset("", 1.0) == 0.0


def test_light_from_all_round_takes_less_of_the_offset_than_a_lamp() -> None:
    """A picture of surroundings, even but for a patch at the left: the brighter the patch, the more form, the more offset."""
    found = []
    for bright in (0.0, 3.0, 2000.0):
        pixels = np.ones((64, 128))
        pixels[36:44, 20:28] += bright
        flux, total = exposure.environment_flux(pixels), exposure.environment_total(pixels)
        assert total >= np.linalg.norm(flux)
        found.append(exposure.usual_offset("clay", exposure.shade_share(flux, total, LEFT)))
    assert found[0] == pytest.approx(0.0, abs=1e-6)
    assert 0.0 < found[1] < 0.6 * found[2] and found[2] == pytest.approx(exposure.OFFSETS["clay"])
    even = exposure.environment_total(np.ones((64, 128)))
    assert even == pytest.approx(2.0 * np.pi, rel=1e-3)  # the half sphere's solid angle; rows are 2.8 degrees high


def test_the_offset_follows_the_side_light_of_each_set_up() -> None:
    """Of the built-in set-ups only the overcast sky leaves no side in shade."""
    got = {}
    for key, *_ in light_setups.SETUPS:
        setup = light_setups.make_setup(key, subject=np.zeros(3), size=90.0, camera=FRONT)
        flux, total = light_setups.flux(setup, np.zeros(3)), light_setups.total_light(setup, np.zeros(3))
        got[key] = exposure.usual_offset("wood", exposure.shade_share(flux, total, FRONT))
    whole = exposure.OFFSETS["wood"]
    assert got["overcast"] == pytest.approx(0.0, abs=1e-9)
    for name in ("north_window", "soft", "bench_lamp"):
        assert got[name] == pytest.approx(whole)


def test_the_card_of_the_overcast_set_up_takes_light_from_one_side() -> None:
    """A photographer's black card: under an even sky nothing else gives form a side. It stands at the camera's right."""
    setup = light_setups.make_setup("overcast", subject=np.zeros(3), size=90.0, camera=FRONT)
    assert [card.albedo < 0.06 for card in setup.cards] == [True]
    assert setup.cards[0].centre[0] > 100.0  # seen from -Y, right is +X


@pytest.mark.parametrize("share", [0.5, 1.0])
def test_light_within_a_cameras_range_is_balanced_and_bluer_light_stays_blue(share: float) -> None:
    """A lamp and a blue sky are brought a share of the way to grey, the blue hour's light no further than a sky's would be."""
    for kelvin in (2500.0, 12000.0):
        card = 0.2 * blackbody(kelvin)
        balanced = card * exposure.white_balance(card, share)
        assert balanced[2] / balanced[0] == pytest.approx((card[2] / card[0]) ** (1.0 - share))
        assert luminance(balanced) == pytest.approx(luminance(card))
    hour = np.array([0.05, 0.1, 0.4])
    gains = exposure.white_balance(hour, share)
    limit = blackbody(exposure.BALANCED_K[1])
    assert gains[0] / gains[2] == pytest.approx((limit[2] / limit[0]) ** share)
    assert (hour * gains)[2] > 3.0 * (hour * gains)[0]
