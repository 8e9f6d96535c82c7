"""Shows a run's progress on a terminal as one changing line, and keeps Blender's own output away from it.

Into a file or a pipe the progress is printed as a few plain lines. What Blender and its importers print goes to the log.
Messages that must stay on the terminal are printed by `say`.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TextIO

from ..core.generators import finish, passed_on
from ..job.runner import Update
from ..job.stopping import Stopping

REDRAWN = 0.5
"""Seconds after which the line is redrawn, so that its clock runs on while a picture is rendered."""
SELDOM = 10.0
"""Seconds between plain lines within a step, after the first."""
FIRST_LINES = 3
NARROWEST, USUAL = 40, 80
"""In columns: the smallest width of the line, and the width where the terminal's is unknown."""
START, REST = "\r", "\x1b[K"
"""Return to the start of the line, and clear everything right of the cursor (ECMA-48, erase in line)."""


class Terminal:
    """The stream for Bozzetto's messages. plain: a file or a pipe, which gets lines instead of one changing line."""

    def __init__(self, stream: TextIO, *, quiet: bool = False):
        self.stream = stream
        self.quiet = quiet
        self.plain = not _is_terminal(stream)
        self._line = ""
        self._lock = threading.Lock()

    def say(self, words: str = "") -> None:
        """Print a line that stays."""
        with self._lock:
            self._put((START + REST if self._line else "") + words + "\n")
            self._line = ""

    def show(self, line: str) -> None:
        """Draw the changing line, cut to the terminal's width; does nothing without a terminal."""
        if self.plain or self.quiet:
            return
        with self._lock:
            line = _cut(line, self._width() - 1)
            if line != self._line:
                self._line = line
                self._put(START + line + REST)

    def clear(self) -> None:
        """Remove the changing line."""
        with self._lock:
            if self._line:
                self._put(START + REST)
                self._line = ""

    def _put(self, words: str) -> None:
        self.stream.write(words)
        self.stream.flush()

    def _width(self) -> int:
        with contextlib.suppress(OSError, ValueError):
            return max(NARROWEST, os.get_terminal_size(self.stream.fileno()).columns or USUAL)
        return USUAL


class Printer:
    """The progress of a run on a terminal."""

    def __init__(self, terminal: Terminal, *, stopping: Stopping | None = None):
        self.terminal = terminal
        self.started = time.perf_counter()
        self._stopping = stopping or Stopping()
        self._update: Update | None = None
        self._at = self.started
        self._printed = 0.0
        self._lines = 0

    @property
    def spent(self) -> float:
        """Seconds since the start."""
        return time.perf_counter() - self.started

    def drain(self, run: Any) -> Any:
        """Run to the end, showing the progress; returns what the run returns. Raises Stopped on a signal."""
        ended = threading.Event()
        drawer = threading.Thread(target=self._draw, args=(ended,), daemon=True, name="progress")
        drawer.start()

        def shown(update: Update) -> None:
            self.show(update)
            self._stopping.check()

        try:
            self._stopping.check()
            return finish(passed_on(run, shown))
        finally:
            ended.set()
            drawer.join()
            self.terminal.clear()

    def show(self, update: Update) -> None:
        """Store an update for the changing line; in a file, print it as a line if it is worth one."""
        before, now = self._update, time.perf_counter()
        self._update, self._at = update, now
        if update.stays and not self.terminal.quiet:
            self.terminal.say(update.words)
            return
        if not self.terminal.plain or self.terminal.quiet:
            return
        if before is None or before.step.name != update.step.name:
            self._lines = 0
        first = self._lines == 0 or (update.blocking and self._lines < FIRST_LINES)
        if first or update.ended or now - self._printed > SELDOM:
            self._printed, self._lines = now, self._lines + 1
            self.terminal.say(progress_line(update, now - self.started))

    def _draw(self, ended: threading.Event) -> None:
        while not ended.wait(REDRAWN):
            update, at = self._update, self._at
            if update is not None:
                self.terminal.show(progress_line(update, self.spent, since=time.perf_counter() - at))


def progress_line(update: Update, spent: float, *, since: float = 0.0) -> str:
    """The progress in one line: step, share, time spent and left, activity. since: age of the update in seconds."""
    left = update.left
    if left is None and update.fraction > 0.02:
        left = (spent - since) * (1.0 - update.fraction) / update.fraction
    times = clock(spent)
    if left is not None and not (update.ended and update.number == update.count):
        times += f", about {clock(max(left - since, 0.0))} left"
    return f"[{update.number:2d}/{update.count}] {update.fraction:4.0%} {times}  {update.step.label}: {update.words}"


def clock(seconds: float) -> str:
    """A time as minutes and seconds (1:05), with hours in front if there are any."""
    whole = int(seconds)
    hours, minutes = whole // 3600, whole // 60 % 60
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"


@contextlib.contextmanager
def quiet_blender(log: Path, *, quiet: bool = False, stopping: Stopping | None = None) -> Iterator[Terminal]:
    """Inside the block, redirect everything that the process prints to the log file; yields the terminal for messages.

    If the log can't be written, the output is discarded instead of stopping the work.
    """
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, OSError, ValueError):
            stream.flush()
    with contextlib.ExitStack() as stack:
        ours, errors = sys.stdout, 2
        if _owns(sys.stdout, 1):
            copy = os.dup(1)
            ours = stack.enter_context(os.fdopen(copy, "w", encoding="utf-8", errors="backslashreplace"))
            errors = os.dup(2)
            stack.callback(os.close, errors)
        sink = _opened(log)
        stack.callback(os.close, sink)
        stack.enter_context(_printed_into(sink))
        if stopping is not None:
            stack.callback(stopping.tell_on, stopping.tell_on(errors))
        yield Terminal(ours, quiet=quiet)


def _opened(log: Path) -> int:
    try:
        return os.open(log, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)
    except OSError:
        return os.open(os.devnull, os.O_WRONLY)


@contextlib.contextmanager
def _printed_into(sink: int) -> Iterator[None]:
    """Redirect standard output and error of the process, from Python and compiled code, to an open file."""
    kept: list[tuple[int, int]] = []
    streams = sys.stdout, sys.stderr
    try:
        for number in (1, 2):
            with contextlib.suppress(OSError):
                kept.append((os.dup(number), number))
                os.dup2(sink, number)
        sys.stdout, sys.stderr = _Chatter(sink), _Chatter(sink)
        yield
    finally:
        with contextlib.suppress(AttributeError, OSError, TypeError):  # the C library's buffer belongs to the log, too
            ctypes.CDLL("ucrtbase" if os.name == "nt" else None).fflush(None)
        sys.stdout, sys.stderr = streams
        for copy, number in kept:
            os.dup2(copy, number)
            os.close(copy)


class _Chatter:
    """A stream that writes to an open file, and drops output when the disk is full."""

    encoding, errors = "utf-8", "backslashreplace"

    def __init__(self, sink: int):
        self._sink = sink

    def write(self, words: str) -> int:
        with contextlib.suppress(OSError):
            os.write(self._sink, words.encode("utf-8", "backslashreplace"))
        return len(words)

    def flush(self) -> None:
        pass

    def fileno(self) -> int:
        return self._sink

    def isatty(self) -> bool:
        return False


def _owns(stream: TextIO, number: int) -> bool:
    """Whether a Python stream is the process's own; in a test or a window it may be another one."""
    try:
        return bool(stream.fileno() == number)
    except (AttributeError, OSError, ValueError):
        return False


def _is_terminal(stream: TextIO) -> bool:
    try:
        return bool(stream.isatty()) and os.environ.get("TERM") != "dumb"
    except (AttributeError, ValueError):
        return False


def _cut(line: str, width: int) -> str:
    return line if len(line) <= width else f"{line[: max(width - 1, 1)]}…"
