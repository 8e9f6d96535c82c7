"""How does one method use all cores? numpy lets go of the interpreter within its loops, so that threads run side by side.

OpenBLAS, which multiplies numpy's matrices, would start threads of its own in each product. On a busy machine these wait for
one another, 10 ms to a second a product; so large products are cut into blocks that are small enough for one thread.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

import numpy as np

from .arrays import Floats

Part = TypeVar("Part")
Outcome = TypeVar("Outcome")

MOST = 8  # threads: each holds its own part in memory
ALONE = 262_144
"""Multiplications up to which OpenBLAS keeps a matrix product to one thread (SMP_THRESHOLD_MIN times 4 in its gemm.c)."""


def in_parallel(task: Callable[[Part], Outcome], parts: Iterable[Part]) -> Iterator[Outcome]:
    """The results of `task` for each part, in order; several parts are processed at once. Raises what a task raises."""
    threads = max(1, min(MOST, os.cpu_count() or 1))
    waiting: deque[Future[Outcome]] = deque()
    with ThreadPoolExecutor(threads) as pool:
        try:
            for part in parts:
                waiting.append(pool.submit(task, part))
                if len(waiting) > threads + 1:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for entry in waiting:
                entry.cancel()


def product(left: Floats, right: Floats) -> Floats:
    """(m, n) product of (m, k) and (k, n) on the caller's thread alone: in blocks of rows."""
    count = len(left)
    block = max(1, min(count, ALONE // max(right.size, 1)))
    whole = count - count % block
    result = np.zeros((count, right.shape[1]), np.result_type(left, right))
    np.matmul(left[:whole].reshape(-1, block, left.shape[1]), right, out=result[:whole].reshape(-1, block, right.shape[1]))
    if whole < count:
        np.matmul(left[whole:], right, out=result[whole:])
    return result


WIDE = 32
"""Columns of a block in `summed_product`. 25,000 rows of 128 columns in blocks of 8, 16, 32 and 64 take 12, 9, 9, 10 ms."""


def summed_product(left: Floats, right: Floats) -> Floats:
    """(k, j) product of the transpose of (n, k) with (n, j), the sum over many rows, on the caller's thread alone: in blocks of
    rows, a few columns at a time."""
    count, deep = len(left), max(1, ALONE // (WIDE * left.shape[1]))
    whole = count - count % deep
    turned = left[:whole].reshape(-1, deep, left.shape[1]).swapaxes(1, 2)
    parts = []
    for first in range(0, right.shape[1], WIDE):
        few = right[:, first : first + WIDE]
        part = np.matmul(turned, few[:whole].reshape(-1, deep, few.shape[1])).sum(axis=0)
        parts.append(part + left[whole:].T @ few[whole:])
    return np.concatenate(parts, axis=1)
