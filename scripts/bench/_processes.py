"""Spreads the parts of a long bench over processes, each with a Blender of its own."""

from __future__ import annotations

import multiprocessing
import os
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from . import Options

MOST, MEGABYTES = 16, 3000
"""Most processes, and the memory that one of them may need on a scan of 100,000 triangles."""
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True)
class Part:
    """A part of a bench that needs none of the others: `work(*given)`, both of which must be picklable. `kind` says whose it
    is."""

    kind: str
    work: Callable[..., Any]
    given: tuple[Any, ...] = ()


def processes(options: Options) -> int:
    """How many processes: as `--processes N` says, else one for each processor as far as the memory goes."""
    if "--processes" in options.rest:
        return max(1, int(options.rest[options.rest.index("--processes") + 1]))
    there = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e6 if hasattr(os, "sysconf") else 4.0 * MEGABYTES
    return max(1, min(MOST, there, int(memory / MEGABYTES)))


def results(parts: Sequence[Part], count: int) -> Iterator[tuple[Part, Any, str]]:
    """Each part with its result and '', or with None and the traceback of what went wrong, as they end. The first parts begin
    first, so the longest belong there."""
    if count == 1:
        for part in parts:
            yield part, *_done(part)
        return
    with _fit_to_start(), ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn")) as pool:
        running = {pool.submit(_done, part): part for part in parts}
        for future in as_completed(running):
            try:
                yield running[future], *future.result()
            except Exception:  # a process died, and the pool with it
                yield running[future], None, traceback.format_exc()


@contextmanager
def _fit_to_start() -> Iterator[None]:
    """While it lasts, processes that are started compute in one thread and can import Blender: its module puts folders on the
    path in which a part of it has its own name, and a process starts with its parent's path."""
    kept, path = {name: os.environ.get(name) for name in ONE_THREAD}, list(sys.path)
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    sys.path[:] = [entry for entry in path if f"{os.sep}bpy{os.sep}" not in entry]
    try:
        yield
    finally:
        sys.path[:] = path
        for name, value in kept.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _done(part: Part) -> tuple[Any, str]:
    try:
        return part.work(*part.given), ""
    except Exception:
        return None, traceback.format_exc()
