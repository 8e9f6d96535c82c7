"""Sends case numbers to a worker process, with a time limit for each, and restarts it when it crashes or hangs."""

from __future__ import annotations

import json
import selectors
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from blender_addon.cli.itself import own_environment

from .. import ROOT
from .sheets import build

SECONDS = 20.0
"""What a case may take."""
START_SECONDS = 120.0


class Worker:
    """A worker process with a folder of its own."""

    def __init__(self, folder: Path):
        environment = {**own_environment(), "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1"}
        self._fresh = True
        self._work = subprocess.Popen(
            [sys.executable, "-m", "scripts.bench.corpus.worker", str(folder)],
            cwd=ROOT, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip

    def ask(self, number: int) -> dict[str, Any] | str:
        """What became of a case; words when the worker crashed or ran past its time."""
        assert self._work.stdin is not None and self._work.stdout is not None
        try:
            self._work.stdin.write(f"{number}\n")
            self._work.stdin.flush()
        except BrokenPipeError:
            return f"crashed with code {self._work.wait()}"
        with selectors.DefaultSelector() as selector:
            selector.register(self._work.stdout, selectors.EVENT_READ)
            ready = selector.select(START_SECONDS if self._fresh else SECONDS)
        self._fresh = False
        if not ready:
            return f"took more than {SECONDS:.0f} s"
        line = self._work.stdout.readline()
        return json.loads(line) if line else f"crashed with code {self._work.wait()}"

    def end(self) -> None:
        """End the process."""
        self._work.kill()
        self._work.wait()


def run_cases(numbers: Iterable[int], *, report: Callable[[dict[str, Any]], None] | None = None) -> list[dict[str, Any]]:
    """What became of each case, in order; `report` is called with each as it ends."""
    answers = []
    with tempfile.TemporaryDirectory(prefix="bozzetto-corpus-", ignore_cleanup_errors=True) as folder:
        worker, started = Worker(_own(folder, 0)), 1
        try:
            for number in numbers:
                answer = worker.ask(number)
                if isinstance(answer, str):
                    worker.end()
                    worker, started = Worker(_own(folder, started)), started + 1
                    answer = {"number": number, "kind": build(number).kind, "outcome": "lost", "words": "", "seconds": SECONDS,
                              "grown_mb": 0, "failures": [answer]}  # fmt: skip
                answers.append(answer)
                if report is not None:
                    report(answer)
        finally:
            worker.end()
    return answers


def _own(folder: str, number: int) -> Path:
    path = Path(folder) / f"worker {number}"
    path.mkdir()
    return path
