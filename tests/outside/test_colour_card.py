"""Does a photo of a card give back the clay's colour, and is the chart the published one?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core import srgb
from blender_addon.core.colour import delta_e_2000, lab
from blender_addon.core.surface import colour_card

CLAY = np.array([0.31, 0.20, 0.13])
CORNERS = [(60.0, 40.0), (430.0, 70.0), (400.0, 330.0), (40.0, 290.0)]


def photo(*, gains: tuple = (1.0, 1.0, 1.0), matrix: np.ndarray | None = None, gamma: float = 1.0, turn: int = 0) -> np.ndarray:
    """A picture of the chart in perspective with a patch of clay beside it, seen by a camera with its own colours."""
    height, width = 420, 600
    picture = np.full((height, width, 3), 0.1)
    y, x = np.mgrid[0:height, 0:width] + 0.5
    back = np.linalg.inv(colour_card.homography(np.roll(CORNERS, turn, axis=0)))
    u, v, w = np.einsum("ij,jhw->ihw", back, np.stack([x, y, np.ones_like(x)]))
    u, v = u / w, v / w
    inside = (u >= 0) & (u < 1) & (v >= 0) & (v < 1)
    place = np.floor(v * 4).astype(int) * 6 + np.floor(u * 6).astype(int)
    picture[inside] = np.clip(colour_card.CHART, 0, 1)[place[inside]]
    picture[150:270, 470:570] = CLAY
    seen = picture @ (np.eye(3) if matrix is None else matrix).T * np.array(gains)
    return srgb.encode(np.clip(seen, 0, 1) ** gamma).astype(float)


SPOT = (520.0, 210.0, 30.0)


def test_the_chart_is_the_published_one() -> None:
    """The 24 patches of 2005 as in colour-science, adapted from its D50 to D65 by Bradford; printed to four decimals here."""
    peer = pytest.importorskip("colour")
    data = peer.CCS_COLOURCHECKERS["ColorChecker 2005"]
    xyz = peer.xyY_to_XYZ(np.array(list(data.data.values())))
    rgb = peer.XYZ_to_RGB(xyz, "sRGB", data.illuminant, chromatic_adaptation_transform="Bradford", apply_cctf_encoding=False)
    assert np.abs(rgb - colour_card.CHART).max() < 6e-5


def test_neutrals_have_the_published_luminance() -> None:
    """Y of the neutrals 0.9131 0.5894 0.3632 0.1915 0.0883 0.0311 (2005, as above); 2 % covers the change of white."""
    assert srgb.luminance(colour_card.CHART[-6:]) == pytest.approx([0.9131, 0.5894, 0.3632, 0.1915, 0.0883, 0.0311], rel=0.02)


CAMERAS = {
    "true": {},
    "warm and dark": {"gains": (0.75, 0.5, 0.3)},
    "other primaries": {"matrix": np.array([[0.82, 0.14, 0.04], [0.10, 0.80, 0.10], [0.02, 0.18, 0.80]])},
    "contrasty": {"gamma": 1.25},
    "all at once": {
        "gains": (0.9, 0.7, 0.5),
        "matrix": np.array([[0.86, 0.12, 0.02], [0.08, 0.84, 0.08], [0.03, 0.12, 0.85]]),
        "gamma": 1.15,
    },
}


@pytest.mark.parametrize("camera", CAMERAS)
@pytest.mark.parametrize("turn", [0, 2])
def test_the_clay_is_measured_whatever_the_camera(camera: str, turn: int) -> None:
    """Truth: the albedo painted into the picture. CIEDE2000 <= 2 for linear cameras, <= 4 for one that bends its curve."""
    found = colour_card.by_chart(photo(**CAMERAS[camera], turn=turn), CORNERS, SPOT)
    off = float(delta_e_2000(lab(found.albedo), lab(CLAY)))
    assert off < (4.0 if "gamma" in CAMERAS[camera] else 2.0)
    assert found.delta_e is not None and found.delta_e < 4.0


@pytest.mark.parametrize("order", [[1, 2, 3, 0], [3, 2, 1, 0], [2, 1, 0, 3]])
def test_corners_may_be_given_in_any_round(order: list[int]) -> None:
    found = colour_card.by_chart(photo(gains=(0.8, 0.6, 0.5)), np.array(CORNERS)[order], SPOT)
    assert float(delta_e_2000(lab(found.albedo), lab(CLAY))) < 2.0


def test_a_grey_card_takes_out_the_light_alone() -> None:
    """A per-channel gain is exact for a camera with the right primaries."""
    picture = np.full((200, 300, 3), 0.18)
    picture[:, 150:] = CLAY
    seen = srgb.encode(picture * np.array([1.4, 0.9, 0.5])).astype(float)
    found = colour_card.by_grey_card(seen, [(20, 20), (120, 20), (120, 180), (20, 180)], (220.0, 100.0, 40.0))
    assert found.albedo == pytest.approx(CLAY, rel=2e-3)


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        ([(10, 10), (90, 10), (170, 10), (250, 10)], "on a line"),
        ([(10, 10), (900, 10), (900, 180), (10, 180)], "outside the picture"),
    ],
)
def test_cards_that_can_not_be_read_are_refused(corners: list, words: str) -> None:
    with pytest.raises(colour_card.CardError, match=words):
        colour_card.by_grey_card(np.full((200, 300, 3), 0.5), corners, (220.0, 100.0, 40.0))


def test_an_overexposed_card_is_refused() -> None:
    with pytest.raises(colour_card.CardError, match="overexposed"):
        colour_card.by_grey_card(np.ones((200, 300, 3)), [(20, 20), (120, 20), (120, 180), (20, 180)], (220.0, 100.0, 40.0))


def test_what_is_no_chart_is_refused() -> None:
    noise = np.random.default_rng(3).uniform(0.2, 0.8, (420, 600, 3))
    with pytest.raises(colour_card.CardError, match="24-patch"):
        colour_card.by_chart(noise, CORNERS, SPOT)
