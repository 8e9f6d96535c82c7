"""How does one method use all cores? numpy lets go of the interpreter within its loops, so that threads run side by side.

OpenBLAS, which multiplies numpy's matrices, would start threads of its own in each product. On a busy machine these wait for
one another, 10 ms and more a product; so products within parts are kept small enough for one thread.
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
