"""Do several pictures laid into one show what each showed where it belongs?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.surface.atlas import ATLAS, assembled, moved_uv, packed, repeating


@pytest.mark.parametrize("sizes", [[(64, 64), (64, 64)], [(512, 128), (16, 16), (256, 256), (100, 300)], [(4, 4)] * 7])
def test_cells_do_not_overlap_and_stay_inside(sizes: list[tuple[int, int]]) -> None:
    atlas = packed(sizes)
    used = np.zeros((atlas.height, atlas.width), int)
    for cell, (width, height) in zip(atlas.cells, sizes, strict=True):
        assert (cell.width, cell.height) == (width, height)
        rows = slice(cell.row - ATLAS.gutter, cell.row + height + ATLAS.gutter)
        used[rows, cell.column - ATLAS.gutter : cell.column + width + ATLAS.gutter] += 1
    assert used.max() == 1 and used.sum() == sum((w + 2 * ATLAS.gutter) * (h + 2 * ATLAS.gutter) for w, h in sizes)


def test_vast_pictures_are_made_smaller_in_proportion() -> None:
    atlas = packed([(8192, 8192), (8192, 4096)])
    assert max(atlas.width, atlas.height) <= ATLAS.largest
    assert atlas.cells[1].width / atlas.cells[1].height == pytest.approx(2.0, rel=0.01)


def test_a_place_shows_the_same_colour_after() -> None:
    """Each texel of each picture, read at its moved place, UVs of other copies of the picture among them."""
    rng = np.random.default_rng(0)
    pictures = [rng.random((12, 20, 3)).astype(np.float32), rng.random((9, 7, 3)).astype(np.float32)]
    atlas = packed([(20, 12), (7, 9)])
    whole = assembled(atlas, pictures, np.zeros(3, np.float32))
    for number, picture in enumerate(pictures):
        high, wide = picture.shape[:2]
        row, column = np.mgrid[0:high, 0:wide]
        place = np.stack([(column + 0.5) / wide, (row + 0.5) / high], -1).reshape(-1, 1, 2)
        for shift in ((0, 0), (3, -2)):
            uv = moved_uv(np.repeat(place, 3, axis=1) + shift, np.full(len(place), number), atlas)[:, 0]
            x, y = (uv * (atlas.width, atlas.height)).T
            assert np.array_equal(whole[y.astype(int), x.astype(int)], picture.reshape(-1, 3))


def test_the_gutter_repeats_the_rim() -> None:
    picture = np.random.default_rng(1).random((6, 6, 3)).astype(np.float32)
    whole = assembled(packed([(6, 6)]), [picture], np.zeros(3, np.float32))
    assert np.array_equal(whole[0, 0], picture[0, 0]) and np.array_equal(whole[-1, -1], picture[-1, -1])


def test_faces_that_repeat_their_picture_are_known() -> None:
    triangle = np.array([[0.1, 0.1], [0.9, 0.1], [0.5, 0.9]])
    assert repeating(np.stack([triangle, triangle + 4.0, triangle * 3.0])).tolist() == [False, False, True]
