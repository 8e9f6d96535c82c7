"""Keeps what a call into Blender prints off the terminal, by redirecting the process's streams; it goes to the log."""

from __future__ import annotations

import contextlib
import ctypes
import io
import os
import sys
import tempfile
from collections.abc import Iterator
from typing import BinaryIO

MOST = 1 << 20
"""Bytes of printed text that are kept, from its beginning."""


@contextlib.contextmanager
def captured() -> Iterator[list[str]]:
    """Keep from the terminal what the block prints, from Python or from compiled code; its lines are in the list afterwards.

    Where the process has no streams of its own, as in a window without a terminal, only Python's are caught.
    """
    lines: list[str] = []
    own = io.StringIO()
    with tempfile.TemporaryFile() as file:
        try:
            with _streams_into(file), contextlib.redirect_stdout(own), contextlib.redirect_stderr(own):
                yield lines
        finally:
            file.seek(0)
            text = own.getvalue()[:MOST] + file.read(MOST).decode("utf-8", "replace")
            lines += [line.rstrip() for line in text.splitlines() if line.strip()]


@contextlib.contextmanager
def _streams_into(file: BinaryIO) -> Iterator[None]:
    """Standard output and error of the whole process written to a file inside the block."""
    _flush()
    kept: list[tuple[int, int]] = []
    try:
        for number in (1, 2):
            with contextlib.suppress(OSError):
                kept.append((os.dup(number), number))
                os.dup2(file.fileno(), number)
        yield
    finally:
        _flush()
        for copy, number in kept:
            os.dup2(copy, number)
            os.close(copy)


def _flush() -> None:
    """Send on what Python and the C library hold back, so that it ends where it was meant for."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, OSError, ValueError):
            stream.flush()
    with contextlib.suppress(AttributeError, OSError, TypeError):
        library = ctypes.CDLL("ucrtbase" if os.name == "nt" else None)
        library.fflush(None)
