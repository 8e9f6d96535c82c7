"""Simulates, event by event, a batch on a farm of a hundred workers that are sometimes lost, to find what it would cost.

The rules are those of `cli/farm.py`: a worker takes one order after another, loads a scene before its first picture of it, and
leaves each picture where all see it; a lost worker loses the picture that it is at, comes back after a while, and has to load
the scene again; a picture that was under the hands of more than `ATTEMPTS` lost workers is given up.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np

ATTEMPTS = 3
"""How many lost workers a picture outlives (`distributed.scheduler.allowed-failures`, its default)."""


@dataclass(frozen=True)
class Farm:
    """A farm and its batch; times in seconds. `between`: the mean time between two losses of one worker."""

    workers: int = 100
    scenes: int = 40
    pictures: int = 28
    seconds: float = 60.0
    spread: float = 0.4
    load: float = 12.0
    back: float = 90.0
    between: float = 7200.0


@dataclass(frozen=True)
class Course:
    """How it went: the seconds to the last picture, the worker-seconds that lost workers cost over those of the work itself (in
    percent), losses, pictures that came, pictures given up, and how often a finished one was rendered again."""

    seconds: float
    ideal: float
    wasted_percent: float
    losses: int
    finished: int
    given_up: int
    twice: int


def simulate(farm: Farm, seed: int = 1) -> Course:
    """Simulate a batch."""
    rng = np.random.default_rng(seed)
    count = farm.scenes * farm.pictures
    work = farm.seconds * rng.lognormal(-0.5 * farm.spread**2, farm.spread, count)
    waiting = [(number // farm.pictures, number) for number in range(count)][::-1]
    deaths = rng.exponential(farm.between, farm.workers)
    holds = [-1] * farm.workers
    lost_of = [0] * count
    times = [0] * count
    wasted, losses, given_up, end = 0.0, 0, 0, 0.0
    free = [(0.0, worker) for worker in range(farm.workers)]
    heapq.heapify(free)
    while waiting and free:
        now, worker = heapq.heappop(free)
        if deaths[worker] <= now:  # it was lost while it stood idle
            now = float(deaths[worker]) + farm.back
            deaths[worker], holds[worker] = now + rng.exponential(farm.between), -1
        scene, number = waiting.pop()
        loading = 0.0 if holds[worker] == scene else farm.load
        done = now + loading + work[number]
        if deaths[worker] < done:
            losses, lost_of[number] = losses + 1, lost_of[number] + 1
            wasted += float(deaths[worker]) - now + farm.back
            if lost_of[number] > ATTEMPTS:
                given_up += 1
            else:
                waiting.append((scene, number))
            now = float(deaths[worker]) + farm.back
            deaths[worker], holds[worker] = now + rng.exponential(farm.between), -1
            heapq.heappush(free, (now, worker))
            continue
        holds[worker], times[number], end = scene, times[number] + 1, max(end, done)
        heapq.heappush(free, (done, worker))
    total = float(work.sum())
    return Course(
        end,
        total / farm.workers,
        100.0 * wasted / total,
        losses,
        sum(n > 0 for n in times),
        given_up,
        sum(n > 1 for n in times),
    )
