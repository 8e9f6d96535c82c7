"""Captures what a call into Blender prints, by redirecting the process's streams, so that it goes to the log."""

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
"""Bytes of printed text that are kept, from the beginning."""


@contextlib.contextmanager
def captured() -> Iterator[list[str]]:
    """Capture what the block prints, from Python or from compiled code; the list holds the lines after the block has ended.

    Where the process has no standard streams, as in a window without a terminal, only Python's output is captured.
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
    """Redirect standard output and error of the whole process to a file inside the block."""
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
    """Flush the buffers of Python and the C library, so that pending output reaches its own stream."""
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, OSError, ValueError):
            stream.flush()
    with contextlib.suppress(AttributeError, OSError, TypeError):
        library = ctypes.CDLL("ucrtbase" if os.name == "nt" else None)
        library.fflush(None)
