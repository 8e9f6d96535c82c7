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


def _piece(shade: float, lights: float) -> np.ndarray:
    """Luminances of a piece half in shade: between `shade` and a hundredth that is as bright as `lights`."""
    return np.concatenate([np.full(50, shade), np.linspace(shade, 0.5 * lights, 48), np.full(3, lights)])


def test_the_lights_of_a_piece_come_to_the_top_whatever_its_albedo() -> None:
    """A piece of half the albedo is exposed by one stop more, so that both have the same lights."""
    tone = exposure.TONES["AgX"]
    stops = [exposure.stops_for_piece(_piece(0.2 * k, k), tone, card=0.0, most=9.0) for k in (0.5, 0.25)]
    assert stops[1] - stops[0] == pytest.approx(1.0)
    assert 0.5 * 2.0 ** stops[0] == pytest.approx(exposure.GREY * 2.0**tone.top)


def test_shadows_are_opened_as_far_as_the_lights_bear_it() -> None:
    tone = exposure.TONES["AgX"]
    plain, deep, black = (exposure.stops_for_piece(_piece(s, 0.5), tone, card=0.0, most=9.0) for s in (0.1, 0.02, 1e-5))
    assert plain < deep < black
    assert 0.02 * 2.0**deep == pytest.approx(exposure.GREY * 2.0**tone.dark)
    assert black - plain == pytest.approx(tone.highest - tone.top)


@pytest.mark.parametrize("card", [-2.0, 0.0, 3.0])
def test_a_piece_is_exposed_within_bounds_about_the_card(card: float) -> None:
    for level, bound in ((1e-6, 1.5), (1e6, exposure.LEAST_OVER_CARD)):
        found = exposure.stops_for_piece(_piece(0.2 * level, level), exposure.TONES["AgX"], card=card, most=1.5)
        assert found - card == pytest.approx(bound)


def test_dark_pieces_stay_dark() -> None:
    """What may be lifted over the card: little of black clay, more of walnut, all of stoneware and of a picture's colour."""
    black, walnut, stoneware, picture = (
        exposure.most_over_card("clay", albedo)
        for albedo in (np.full(3, 0.04), np.array([0.235, 0.150, 0.093]), np.array([0.315, 0.262, 0.198]), None)
    )
    assert black == exposure.MOST_OF_DARK < walnut < stoneware == picture == exposure.MOST_OVER_CARD
    assert exposure.most_over_card("bronze", np.full(3, 0.9)) == exposure.MOST_OF_METAL


@pytest.mark.parametrize("name", [key for key, *_ in light_setups.SETUPS])
def test_strips_draw_edges_and_leave_the_light_as_it_is(name: str) -> None:
    """In every set-up they throw a seventh and a tenth of its light, in its own white, from behind the subject's sides."""
    plain, edged = (
        light_setups.make_setup(name, subject=np.zeros(3), size=90.0, camera=FRONT, strips=strips) for strips in (False, True)
    )
    whole = light_setups.total_light(plain, np.zeros(3))
    assert light_setups.total_light(edged, np.zeros(3)) / whole == pytest.approx(1.0 + sum(light_setups.STRIP_SHARES))
    strips = edged.lamps[len(plain.lamps) :]
    assert [strip.centre @ FRONT < 0.0 for strip in strips] == [True, True]
    assert max(abs(strip.kelvin - edged.white_kelvin) for strip in strips) <= 400.0
