"""Is the width of an edge that of the slanted edge of ISO 12233? Its 10-90 % rise is computed here as the standard has it.

ISO 12233:2017, annex D (edge spatial frequency response): a straight edge, 5 degrees off the pixel rows, is projected along
itself into bins of a quarter pixel; the result is the edge spread function at four times the sampling. Its rise from 10 to
90 % is compared.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from blender_addon.core.photos.edges import edges_of, noise_of, widths

SIZE = 256


def rendered(sigma: float, degrees: float, *, noise: float = 0.0, low: float = 60.0, high: float = 180.0) -> np.ndarray:
    """A straight edge through the middle, blurred by a Gaussian and integrated over each pixel by 8 x 8 points."""
    fine = (np.arange(SIZE * 8) + 0.5) / 8 - 0.5 - SIZE / 2
    turn = math.radians(degrees)
    across = fine[None, :] * math.cos(turn) + fine[:, None] * math.sin(turn) + 0.21
    table = np.linspace(-40, 40, 8001)
    rise = np.array([0.5 * (1 + math.erf(x / max(sigma, 1e-3) / math.sqrt(2))) for x in table])
    picture = np.interp(across, table, rise).reshape(SIZE, 8, SIZE, 8).mean(axis=(1, 3))
    picture = low + (high - low) * picture + noise * np.random.default_rng(5).standard_normal((SIZE, SIZE))
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def slanted_edge_width(picture: np.ndarray, degrees: float) -> float:
    """10-90 % rise distance by the standard's projection into quarter pixels."""
    turn = math.radians(degrees)
    y, x = np.mgrid[40 : SIZE - 40, 40 : SIZE - 40]
    across = (x - SIZE / 2) * math.cos(turn) + (y - SIZE / 2) * math.sin(turn) + 0.21
    near = np.abs(across) < 24
    place = np.floor((across[near] + 24) * 4).astype(int)
    spread = np.bincount(place, picture[y[near], x[near]]) / np.maximum(np.bincount(place), 1)
    low, high = spread[:16].mean(), spread[-16:].mean()
    first, last = (np.argmax(spread > low + share * (high - low)) for share in (0.1, 0.9))

    def crossing(place: int, share: float) -> float:
        level = low + share * (high - low)
        return float(place - 1 + (level - spread[place - 1]) / (spread[place] - spread[place - 1]))

    return (crossing(int(last), 0.9) - crossing(int(first), 0.1)) / 4.0


@pytest.mark.parametrize("sigma", [0.5, 0.8, 1.2, 2.0, 3.2])
@pytest.mark.parametrize("degrees", [5.0, 85.0, 33.0])
def test_width_is_that_of_the_slanted_edge(sigma: float, degrees: float) -> None:
    """Within 6 % or 0.15 pixel: whole levels and reading between pixels allow no better at half a pixel of blur."""
    picture = rendered(sigma, degrees)
    wanted = slanted_edge_width(picture, degrees)
    found = edges_of(picture)
    assert len(found.width) >= 6
    assert float(np.median(found.width)) == pytest.approx(wanted, rel=0.06, abs=0.15)


def test_contrast_does_not_count_and_noise_hardly() -> None:
    """The same blur at a fifth of the contrast and with a phone's noise (two levels) reads the same within 8 %."""
    strong = np.median(edges_of(rendered(1.5, 12.0)).width)
    faint = np.median(edges_of(rendered(1.5, 12.0, low=110.0, high=134.0)).width)
    noisy = np.median(edges_of(rendered(1.5, 12.0, noise=2.0)).width)
    assert faint == pytest.approx(strong, rel=0.08)
    assert noisy == pytest.approx(strong, rel=0.08)


def test_a_gaussian_profile_reads_2_563_sigma() -> None:
    """The normal distribution's 10 and 90 % points lie at -1.2816 and 1.2816 (any table of it); reading adds its share."""
    x = np.arange(-11.0, 11.25, 0.5)
    for sigma in (1.5, 2.5):
        blurred = math.sqrt(sigma**2 + 1.0 / 6.0)
        profile = np.array([[100.0 * 0.5 * (1 + math.erf(value / blurred / math.sqrt(2))) for value in x]])
        assert widths(profile)[0][0] == pytest.approx(2.563 * sigma, rel=0.03)


def test_noise_is_measured_beside_an_edge() -> None:
    for wanted in (1.0, 3.0):
        assert noise_of(rendered(1.0, 20.0, noise=wanted)) == pytest.approx(wanted, rel=0.15)


@pytest.mark.parametrize("shape", [(900, 120), (120, 900), (1500, 64)])
def test_noise_is_measured_in_a_picture_of_any_shape(shape: tuple[int, int]) -> None:
    """The noise that was added, over a slope, which second differences do not see (Immerkaer 1996)."""
    slope = np.add.outer(np.arange(shape[0]), np.arange(shape[1])) * 0.08 + 60.0
    noisy = slope + 2.0 * np.random.default_rng(4).standard_normal(shape)
    assert noise_of(np.clip(np.round(noisy), 0, 255).astype(np.uint8)) == pytest.approx(2.0, rel=0.15)
    assert noise_of(np.full(shape, 90, np.uint8)) == 0.3


def test_a_blank_or_tiny_picture_has_no_edges() -> None:
    assert len(edges_of(np.full((300, 300), 90, np.uint8)).width) == 0
    assert len(edges_of(np.zeros((20, 900), np.uint8)).width) == 0
