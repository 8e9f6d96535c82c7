"""Lets only one run at a time work in a folder, and detects a run that was killed there.

The lock is the operating system's lock on an open file. It ends with the process that holds it, so a killed run blocks nobody.
The file names the process and how far the run is; a file that is found unlocked was left by a run that was killed.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from ...job.errors import OutputError

try:
    import fcntl
except ImportError:  # Windows has locks of another kind
    fcntl = None  # type: ignore[assignment]

LOCK = ".bozzetto.lock"
DRAFTS = ".*.draft.*"
"""Pattern of the names of files that are still being written (`job/files/whole_files.py`)."""

WRITTEN_TO = ("pictures", "turntable", "samples", "relief", "hand_over")
"""The subfolders that a job makes in its folder."""


class FolderLock:
    """The lock that this run holds on a folder. left: where an earlier run was when it was killed, '' for none."""

    def __init__(self, handle: int, path: Path, left: str):
        self._handle = handle
        self._path = path
        self.left = left

    def at(self, words: str) -> None:
        """Record how far the run is, for the next run if this one is killed."""
        with contextlib.suppress(OSError):
            os.ftruncate(self._handle, 0)
            os.pwrite(self._handle, f"{os.getpid()}\n{words}\n".encode(), 0)


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[FolderLock | None]:
    """Lock the folder inside the block. Raises OutputError where another run works in it.

    Gives None, without a lock, where the system or the disk supports none.
    """
    if fcntl is None:
        yield None
        return
    path = folder / LOCK
    handle, left = _taken(path)
    if handle is None:
        yield None
        return
    try:
        lock = FolderLock(handle, path, left)
        lock.at("the start")
        yield lock
    finally:
        with contextlib.suppress(OSError):
            path.unlink()  # while the lock is still held, so that another run's new file is not removed
        os.close(handle)


def _taken(path: Path) -> tuple[int | None, str]:
    """The handle of the open and locked file, and what a killed run left in it; None where there is no locking."""
    while True:
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError:
            return None, ""  # `writable` has tested the folder; a disk that fails now will report it when it is written to
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = _read(handle).partition("\n")[0]
            os.close(handle)
            who = f"Another run (process {holder})" if holder else "Another run"
            raise OutputError(
                f'{who} is at work in "{path.parent}": wait until it has ended, or choose another folder'
            ) from None
        except OSError:  # a network disk without locks
            os.close(handle)
            return None, ""
        try:
            if os.stat(path).st_ino == os.fstat(handle).st_ino:
                return handle, _read(handle).partition("\n")[2].strip()
        except FileNotFoundError:
            pass
        os.close(handle)  # the run that held it has just ended and removed the file: try again


def _read(handle: int) -> str:
    return os.pread(handle, 4096, 0).decode("utf-8", "replace")


def clear_drafts(folder: Path) -> None:
    """Remove half-written drafts that a killed run left in the folders that a job writes to. The lock must be held.

    Only files with the names of drafts are removed: hidden, with `draft` before the suffix.
    """
    for place in (folder, *(folder / name for name in WRITTEN_TO), *folder.glob("brackets/*")):
        for path in place.glob(DRAFTS):
            if path.is_file() and not path.is_symlink():
                with contextlib.suppress(OSError):
                    path.unlink()
