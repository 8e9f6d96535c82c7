"""How does a run end when it is asked to stop? At the next point between two pieces of work, with the exit code shells expect.

While Blender renders, Python sees no signal, and an exception raised in a handler inside a Blender call is lost. So a signal is
only noted, and `check`, called between two pieces of work, raises `Stopped`. A second signal ends the process at once; files
are written whole or not at all, so that nothing is lost by that either.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable
from types import FrameType
from typing import Any

SIGNALS = (signal.SIGINT, signal.SIGTERM)
WORDS = b"\nbozzetto: stopping when this piece of work is done; the same once more stops at once\n"


class Stopped(BaseException):
    """The run was asked to stop. `code` is the exit code, 128 and the number of the signal: 130 or 143."""

    def __init__(self, code: int):
        super().__init__(f"stopped by signal {code - 128}")
        self.code = code


class Stopping:
    """Inside the block, signals that ask for an end are noted instead of breaking in anywhere.

    `at_once` is called before the process is ended by a second signal; it may only do what is quick and safe from any thread.
    """

    def __init__(self, at_once: Callable[[], None] = lambda: None):
        self._at_once = at_once
        self._asked = 0
        self._kept: dict[int, Any] = {}
        self._pipe = (-1, -1)
        self._wakeup = -1
        self._errors = 2

    def tell_on(self, number: int) -> int:
        """Report signals on this open file descriptor instead of standard error; returns the former one."""
        before, self._errors = self._errors, number
        return before

    def check(self) -> None:
        """Raise Stopped when a signal came."""
        if self._asked:
            raise Stopped(128 + self._asked)

    def __enter__(self) -> Stopping:
        if threading.current_thread() is not threading.main_thread():
            return self  # only the main thread receives signals
        read, write = self._pipe = os.pipe()
        os.set_blocking(write, False)
        self._wakeup = signal.set_wakeup_fd(write, warn_on_full_buffer=False)
        for number in SIGNALS:
            self._kept[number] = signal.signal(number, self._note)
        threading.Thread(target=self._listen, args=(read,), daemon=True, name="stopping").start()
        return self

    def __exit__(self, *error: object) -> None:
        for number, handler in self._kept.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)
        if self._pipe[1] >= 0:
            signal.set_wakeup_fd(self._wakeup)
            os.close(self._pipe[1])  # the listener reads the end of the pipe, and ends
        self._kept.clear()
        self._pipe = (-1, -1)

    def _note(self, number: int, frame: FrameType | None) -> None:
        self._asked = self._asked or number

    def _listen(self, read: int) -> None:
        """Receive signals even while a render holds the main thread."""
        count = 0
        try:
            while data := os.read(read, 64):
                for number in data:
                    if number not in SIGNALS:
                        continue
                    count += 1
                    if count == 1:
                        os.write(self._errors, WORDS)
                    else:
                        self._at_once()
                        os._exit(128 + number)
        except OSError:
            return
        finally:
            os.close(read)
