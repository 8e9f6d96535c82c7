"""What does the render step ask of other machines, and what does such a machine do with it?

A picture is ordered by plain values. Whoever renders it sees the job's folder, on this machine or over a shared disk: the scene
is read from there and the picture is left there, whole or not at all, under the digest of all that it shows. An order that was
carried out already is not carried out again, whoever asks for it. The step does not know how orders travel; `cli/farm.py` sends
them over a cluster, whose machines run `carried_out` here. Nothing in this module needs Blender.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any, Protocol

from ..core.records import record

ANSWER = "answer.json"
GROWING = ".part-"
TRIES = 3
"""How often a picture is begun whose painter dies: more often, the picture itself is what ends it."""


@record
class Order:
    """One picture to be rendered elsewhere. `name` is unique in the job, `digest` stands for all that it shows;
    `quality` is what `scene/delivery/output.py: Quality` is made of; `angle` in degrees; `mark`: words laid over it."""

    name: str
    digest: str
    kind: str
    shot: str
    size: tuple[int, int]
    angle: float
    quality: dict[str, Any]
    device: str
    seed: int
    mark: str = ""

    def plain(self) -> dict[str, Any]:
        """The order as values that JSON can hold."""
        return asdict(self)

    @classmethod
    def from_plain(cls, values: Mapping[str, Any]) -> Order:
        """The order that `plain` gave."""
        return cls(**{**values, "size": tuple(values["size"])})


@record
class Delivered:
    """A picture that came back: which order, its files (the picture first, then what is made with it), and the seconds that it
    took where it was made."""

    order: Order
    files: Sequence[Path]
    seconds: float


class Farm(Protocol):
    """Other machines, or other processes of this one. `hands`: how many pictures are rendered at once; `speed`: their speed
    together as a multiple of this process's alone, as far as known."""

    hands: int
    speed: float

    def begin(self, save: Callable[[Path], None], scene: str) -> None:
        """Give them the scene, saved as a .blend by `save`."""

    def render(self, orders: Sequence[Order]) -> Iterator[Delivered]:
        """Yield each picture once, in the order in which they are finished. Raises JobError when one can't be made."""


@record
class Workshop:
    """Where and how orders are carried out: the shared folder, the scene's file in it and its name, the command that starts a
    painter (a process that holds the scene and renders), its environment variables, its threads (0: all)."""

    folder: str
    blend: str
    scene: str
    command: tuple[str, ...]
    environment: dict[str, str]
    threads: int


class PainterDied(RuntimeError):
    """The process that renders has ended: killed, out of memory, or crashed."""


class Painter:
    """A process with the scene open that renders one order after another, and ends with the process that started it."""

    def __init__(self, workshop: Workshop):
        self.blend = workshop.blend
        self._work = subprocess.Popen(
            list(workshop.command), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            env={**os.environ, **workshop.environment}, text=True, encoding="utf-8",
        )  # fmt: skip
        self._ask({"blend": workshop.blend, "scene": workshop.scene, "threads": workshop.threads})

    def render(self, order: Mapping[str, Any], folder: Path) -> dict[str, Any]:
        """Render an order into a folder; the painter's answer. Raises RuntimeError when it can't, PainterDied."""
        return self._ask({"order": dict(order), "folder": str(folder)})

    def _ask(self, question: Mapping[str, Any]) -> dict[str, Any]:
        into, out = self._work.stdin, self._work.stdout
        assert into is not None and out is not None
        try:
            into.write(json.dumps(question) + "\n")
            into.flush()
            answer = json.loads(_line(out))
        except (OSError, ValueError):
            self.close()
            raise PainterDied(f"the process that renders ended with {self._work.returncode}") from None
        if "error" in answer:
            raise RuntimeError(str(answer["error"]))
        return dict(answer)

    def close(self) -> None:
        """End it."""
        self._work.kill()
        self._work.wait()


def _line(stream: IO[str]) -> str:
    return stream.readline()


def carried_out(workshop: Workshop, order: Mapping[str, Any], painters: dict[str, Painter]) -> dict[str, Any]:
    """Carry out an order, unless its picture is there; returns its report: its folder, its files, the seconds it took.

    painters: kept by the caller from one order to the next. An order whose painter dies is given to a new one, `TRIES` times in
    all. Raises RuntimeError with words for a person.
    """
    done = Path(workshop.folder) / str(order["digest"])
    if not Path(workshop.blend).is_file():
        raise RuntimeError(f"\"{workshop.blend}\" can't be seen from here: all machines of a cluster need the job's folder")
    if (done / ANSWER).is_file():
        return _answer(done)
    for _ in range(TRIES - 1):
        with contextlib.suppress(PainterDied):
            return _tried(workshop, order, painters, done)
    return _tried(workshop, order, painters, done)


def _tried(workshop: Workshop, order: Mapping[str, Any], painters: dict[str, Painter], done: Path) -> dict[str, Any]:
    """Have an order's picture made once, into the folder `done`. Raises RuntimeError, PainterDied."""
    painter = painters.get(workshop.blend)
    if painter is None:
        for other in painters.values():
            other.close()  # of an earlier scene
        painters.clear()
        painter = painters[workshop.blend] = Painter(workshop)
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        try:
            files = painter.render(order, Path(folder))["files"]
        except RuntimeError:
            painters.pop(workshop.blend).close()
            raise
        _keep(Path(folder), files, done, time.perf_counter() - started)
    return _answer(done)


def on_a_worker(workshop: Mapping[str, Any], order: Mapping[str, Any]) -> dict[str, Any]:
    """Carry out an order on a worker of a `dask.distributed` cluster, whose painters stay from one order to the next."""
    worker = importlib.import_module("distributed").get_worker()
    kept: dict[int, dict[str, Painter]] = worker.__dict__.setdefault("bozzetto_painters", {})
    place = Workshop(**{**workshop, "command": tuple(workshop["command"])})
    return carried_out(place, order, kept.setdefault(threading.get_ident(), {}))


def _keep(finished: Path, files: Sequence[str], done: Path, seconds: float) -> None:
    """Move finished files into the shared folder, where they appear all at once."""
    growing = Path(tempfile.mkdtemp(prefix=f"{done.name}{GROWING}", dir=done.parent))
    try:
        for name in files:
            (growing / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(finished / name, growing / name)
            _to_disk(growing / name)
        (growing / ANSWER).write_text(json.dumps({"files": list(files), "seconds": seconds}), encoding="utf-8")
        _to_disk(growing / ANSWER)
        with contextlib.suppress(OSError):  # another was quicker: its picture is the same
            growing.rename(done)
    finally:
        shutil.rmtree(growing, ignore_errors=True)


def forget_taken(folder: Path) -> None:
    """Clean up after an earlier run: remove unfinished files and answers whose files are gone; finished pictures stay."""
    for place in folder.iterdir():
        if not place.is_dir():
            continue
        try:
            whole = GROWING not in place.name and all((place / name).is_file() for name in _answer(place)["files"])
        except (OSError, ValueError, KeyError):
            whole = False
        if not whole:
            shutil.rmtree(place, ignore_errors=True)


def _answer(done: Path) -> dict[str, Any]:
    known = json.loads((done / ANSWER).read_text(encoding="utf-8"))
    return {"folder": str(done), "files": known["files"], "seconds": float(known["seconds"])}


def _to_disk(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
