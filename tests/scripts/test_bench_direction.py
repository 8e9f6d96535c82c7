"""Do the figures of the bench `direction` say what they claim? On pictures whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from scripts.bench.direction import measures
from scripts.bench.direction.heroes import BACKDROP, FIRST_PROP, PIECE, TABLE


def _scene() -> np.ndarray:
    """An id pass of 160 x 240: backdrop over the table from row 54 on, a piece in the middle, a prop beside it."""
    ids = np.full((160, 240), TABLE)
    ids[:54] = BACKDROP
    ids[30:130, 100:140] = PIECE
    ids[100:120, 180:200] = FIRST_PROP
    return ids


@pytest.mark.parametrize("seed", range(6))
def test_the_saliency_of_hou_and_zhang_finds_what_stands_out(seed: int) -> None:
    """A disc 20 px wide on a clouded ground, anywhere but at the very rim: its maximum lies on it, 2 cells of 64 to spare."""
    rng = np.random.default_rng(seed)
    ground = measures._blurred(rng.normal(0.0, 1.0, (160, 240)), 4.0) * 40.0
    row, column = rng.integers(35, 125), rng.integers(45, 195)
    y, x = np.mgrid[:160, :240]
    ground[(y - row) ** 2 + (x - column) ** 2 < 144] += 12.0
    found = measures.spectral_residual(ground)
    at = np.array(np.unravel_index(int(found.argmax()), found.shape)) * np.array([160, 240]) / found.shape
    assert np.hypot(*(at - [row, column])) < 12.0 + 2.0 * 240 / 64


def test_shares_horizon_and_overlap() -> None:
    ids = _scene()
    height, area = measures.prop_shares(ids)
    assert (height, area) == pytest.approx((0.2, 400 / 4000))
    assert measures.horizon(ids) == pytest.approx(100.0 * (1.0 - 54 / 160))
    masks = [ids >= FIRST_PROP, np.roll(ids >= FIRST_PROP, 10, axis=1)]
    assert measures.largest_overlap(masks) == pytest.approx(1.0 / 3.0)


def test_an_outline_an_edge_and_a_colour_that_are_wrong_are_found() -> None:
    """Grey 60 before grey 40 stands off everywhere, before 55 nowhere; a dark stripe beside the head is an edge there."""
    ids, colours = _scene(), np.zeros((160, 240, 3))
    colours[..., 0] = np.where(ids == PIECE, 60.0, 40.0)
    colours[..., 1] = np.where(ids == PIECE, 10.0, np.where(ids == FIRST_PROP, 25.0, 0.0))
    assert measures.outline_apart(colours, ids) == 100.0 and measures.head_edges(colours, ids) == 0.0
    assert measures.chroma_ratio(colours, ids) == pytest.approx(2.5)
    colours[:54, 94:97, 0] = 10.0
    assert measures.head_edges(colours, ids) > 20.0
    colours[..., 0], colours[..., 1] = np.where(ids == PIECE, 60.0, 55.0), 0.0
    assert measures.outline_apart(colours, ids) == 0.0
