"""Renders pictures on a cluster of `dask.distributed`: one at a given address, or workers on this machine.

All machines share the job's folder (`job/farm.py`), so that a picture in it is safe whatever happens to the machine that
rendered it. When a worker is lost, another renders its present picture. The package `distributed` is needed only here; an error
says so where it is missing.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ..job.errors import OutputError
from ..job.farm import Delivered, Order, Workshop, forget_taken, on_a_worker
from ..job.notes import several
from .itself import own_command, own_environment

FOLDER, LOG = ".farm", "workers.log"
WAIT, PATIENCE = 120.0, 5.0
"""Longest time a cluster may have no worker, and time between two checks, s."""


def _end(work: subprocess.Popen[bytes]) -> None:
    work.terminate()
    try:
        work.wait(20)
    except subprocess.TimeoutExpired:
        work.kill()
        work.wait()


def _distributed() -> Any:
    try:
        return importlib.import_module("distributed")
    except ImportError:
        raise OutputError(
            "Rendering on a cluster needs the Python package distributed, which is not installed here: install it (pip install "
            "distributed), or leave out --workers and --cluster"
        ) from None


class ClusterFarm:
    """A `job.farm.Farm` of a cluster's workers: the cluster at `address`, or `workers` processes on this machine.

    Raises OutputError where the package is missing, or there is no cluster at the address.
    """

    def __init__(self, out: Path, *, workers: int = 0, address: str = ""):
        self._distributed = _distributed()
        self._folder, self._address = out / FOLDER, address
        self._open = contextlib.ExitStack()
        self._client: Any = None
        self._work: subprocess.Popen[bytes] | None = None
        self._workshop: Workshop | None = None
        self.hands, self.speed = workers, 1.0  # workers on this machine share its cores
        self._threads = max(1, (os.cpu_count() or 1) // workers) if workers else 0
        if address:
            self._connect()

    def _connect(self) -> None:
        try:
            self._client = self._open.enter_context(self._distributed.Client(self._address, timeout=20))
        except (OSError, ValueError, TimeoutError) as error:
            raise OutputError(
                f"There is no cluster at {self._address} ({error}): start its scheduler, or leave out --cluster"
            ) from None
        self.hands = max(1, len(self._client.scheduler_info(n_workers=-1)["workers"]))
        self.speed = float(self.hands)

    def _start(self) -> None:
        """Start workers on this machine as separate processes, which are restarted when they are lost."""
        cluster = self._open.enter_context(
            self._distributed.LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address=None, silence_logs="critical")
        )
        command = [
            sys.executable, "-m", "distributed.cli.dask_worker", cluster.scheduler_address, "--nworkers", str(self.hands),
            "--nthreads", "1", "--memory-limit", "0", "--no-dashboard", "--death-timeout", "60",
        ]  # fmt: skip
        with (self._folder / LOG).open("wb") as log:
            work = subprocess.Popen(
                command, env=own_environment(), stdout=log, stderr=log, stdin=subprocess.DEVNULL,
                start_new_session=True,  # so that Ctrl-C does not reach the workers: the run ends after the present picture
            )  # fmt: skip
        self._work = work
        self._open.callback(_end, work)
        self._client = self._open.enter_context(self._distributed.Client(cluster.scheduler_address))

    def begin(self, save: Callable[[Path], None], scene: str) -> None:
        """Save the scene to the folder that all workers can read."""
        self._folder.mkdir(parents=True, exist_ok=True)
        for old in self._folder.glob("scene-*.blend"):
            old.unlink(missing_ok=True)
        forget_taken(self._folder)
        blend = self._folder / "scene.blend"
        save(blend)
        # A new file name tells workers that hold an earlier scene that it has changed.
        stamped = blend.with_name(f"scene-{blend.stat().st_mtime_ns}.blend")
        blend.replace(stamped)
        if self._client is None:
            self._start()
        environment = {"PYTHONPATH": own_environment()["PYTHONPATH"]}
        self._workshop = Workshop(
            str(self._folder), str(stamped), scene, (*own_command(), "paint"), environment, self._threads
        )  # fmt: skip

    def render(self, orders: Sequence[Order]) -> Iterator[Delivered]:
        """Yield each picture when it is finished; its files are removed from the folder when the next one is requested."""
        assert self._workshop is not None
        try:
            self._client.wait_for_workers(1, timeout=WAIT)
        except TimeoutError:
            raise OutputError(f'No worker of the cluster answered within {WAIT:.0f} s; see "{self._folder / LOG}"') from None
        by_key = {f"{order.name}-{order.digest}": order for order in orders}
        futures = [
            self._client.submit(on_a_worker, asdict(self._workshop), order.plain(), key=key, pure=False)
            for key, order in by_key.items()
        ]
        failed: list[str] = []
        for future in self._as_they_come(futures):
            order = by_key[future.key]
            if future.status != "finished":
                failed.append(f"{order.name} ({_reason(future)})")
                continue
            answer = future.result()
            future.release()  # else the cluster would repeat it if the worker that rendered it is lost
            files = [Path(answer["folder"]) / name for name in answer["files"]]
            yield Delivered(order, files, answer["seconds"])
            for file in files:  # the answer itself stays, so that a late worker sees that the work is done
                file.unlink(missing_ok=True)
        if failed:
            raise OutputError(
                f"{len(failed)} of {len(orders)} pictures could not be made by the workers: {'; '.join(failed[:3])}. "
                "Run again: what was made stays"
            )

    def _as_they_come(self, futures: Sequence[Any]) -> Iterator[Any]:
        """Yield each future when it is done or has failed. Raises OutputError when no worker is left."""
        waiting = list(futures)
        alone = 0.0
        while waiting:
            try:
                done = self._distributed.wait(waiting, timeout=PATIENCE, return_when="FIRST_COMPLETED").done
            except TimeoutError:
                ended = self._work is not None and self._work.poll() is not None
                alone = 0.0 if self._client.scheduler_info(n_workers=-1)["workers"] else alone + PATIENCE
                if ended or alone > WAIT:
                    left = several(len(waiting), "picture")
                    raise OutputError(
                        f"No worker is left, and {left} could not be made: run again, and what was made stays"
                    ) from None
                continue
            waiting = [future for future in waiting if future not in done]
            yield from done

    def close(self) -> None:
        """Disconnect from the workers, and delete the shared folder."""
        self._open.close()
        shutil.rmtree(self._folder, ignore_errors=True)


def _reason(future: Any) -> str:
    try:
        error = future.exception(timeout=5)
    except Exception as other:  # any error of a failing cluster
        error = other
    if type(error).__name__ == "KilledWorker":
        return "each worker that tried it was lost"
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
