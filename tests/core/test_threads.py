"""Parts come back in order, errors come through, and products in blocks are products."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from blender_addon.core.threads import in_parallel, product, summed_product


def test_parts_come_back_in_order_from_other_threads() -> None:
    here = threading.get_ident()
    results = list(in_parallel(lambda part: (part, threading.get_ident()), range(50)))
    assert [part for part, _ in results] == list(range(50))
    assert all(thread != here for _, thread in results)


def test_a_part_s_error_is_the_caller_s() -> None:
    def task(part: int) -> int:
        if part == 3:
            raise ValueError("part 3")
        return part

    with pytest.raises(ValueError, match="part 3"):
        list(in_parallel(task, range(10)))


def test_no_more_is_begun_than_a_caller_takes() -> None:
    begun = []
    some = in_parallel(begun.append, range(1000))
    next(some)
    some.close()
    assert len(begun) < 50  # a few parts for each of at most 8 threads


@pytest.mark.parametrize("shape", [(1, 3, 3), (5000, 3, 3), (577, 288, 96), (100, 900, 400)])
def test_a_product_in_blocks_is_the_product(shape: tuple[int, int, int]) -> None:
    rows, inner, columns = shape
    rng = np.random.default_rng(5)
    left, right = (
        rng.standard_normal((rows, inner)).astype(np.float32),
        rng.standard_normal((inner, columns)).astype(np.float32),
    )
    assert np.allclose(product(left, right), left.astype(float) @ right, atol=1e-6 * inner)  # float32 sums


@pytest.mark.parametrize("shape", [(1, 3, 3), (5000, 3, 1), (25_001, 128, 128), (300, 40, 70)])
def test_a_sum_over_rows_in_blocks_is_the_product(shape: tuple[int, int, int]) -> None:
    rows, wide, columns = shape
    rng = np.random.default_rng(6)
    left, right = (rng.random((rows, count)).astype(np.float32) for count in (wide, columns))
    assert np.allclose(summed_product(left, right), left.astype(float).T @ right, rtol=1e-5)  # float32 sums of positive values
