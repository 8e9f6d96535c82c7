"""Debian's Chromium without a window, driven through pipes by its own debugging protocol; no further library is needed."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome")
SECONDS = 60.0


def found() -> str | None:
    """The browser's program, None where there is none."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


class Browser:
    """One page of a browser: commands out on one pipe, answers and events in on another, each ended by a null byte."""

    def __init__(self, write: int, read: int):
        self._write, self._read = write, read
        self._number, self._rest, self._session = 0, b"", ""
        self.requests: list[str] = []
        self.complaints: list[str] = []
        os.set_blocking(read, False)
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Network", "Runtime", "Log"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Send a command and wait for its answer; events are kept. Raises RuntimeError when the browser objects."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + SECONDS
        while time.monotonic() < end:
            for answer in self._messages():
                self._note(answer)
                if answer.get("id") == self._number:
                    if "error" in answer:
                        raise RuntimeError(f"{method}: {answer['error']['message']}")
                    return answer["result"]
            time.sleep(0.005)
        raise RuntimeError(f"no answer to {method} within {SECONDS:.0f} s")

    def _messages(self) -> Iterator[dict[str, Any]]:
        with contextlib.suppress(BlockingIOError):
            self._rest += os.read(self._read, 1 << 20)
        while b"\0" in self._rest:
            message, self._rest = self._rest.split(b"\0", 1)
            yield json.loads(message)

    def _note(self, message: dict[str, Any]) -> None:
        method, params = message.get("method", ""), message.get("params", {})
        if method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method in ("Runtime.exceptionThrown", "Page.javascriptDialogOpening", "Log.entryAdded"):
            self.complaints.append(f"{method}: {json.dumps(params)[:400]}")
        elif method == "Runtime.consoleAPICalled" and params.get("type") in ("error", "warning", "assert"):
            self.complaints.append(f"{method}: {json.dumps(params)[:400]}")

    def open(self, path: Path) -> None:
        """Show a file, and wait until its pictures are there."""
        self.ask("Page.navigate", url=path.as_uri())
        self.wait("document.readyState === 'complete'")

    def value(self, expression: str) -> Any:
        """What an expression is on the page."""
        return self.ask("Runtime.evaluate", expression=expression, returnByValue=True)["result"].get("value")

    def wait(self, expression: str) -> None:
        """Until an expression holds; RuntimeError when it never does."""
        end = time.monotonic() + SECONDS
        while time.monotonic() < end:
            if self.value(expression):
                return
            time.sleep(0.02)
        raise RuntimeError(f"{expression} never came true")

    def drag(self, start: tuple[float, float], end: tuple[float, float], steps: int = 8) -> None:
        """Press, move in steps, let go."""
        self._mouse("mousePressed", *start)
        for step in range(1, steps + 1):
            self._mouse("mouseMoved", *(a + (b - a) * step / steps for a, b in zip(start, end, strict=True)))
        self._mouse("mouseReleased", *end)

    def _mouse(self, kind: str, x: float, y: float) -> None:
        self.ask("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", buttons=1, clickCount=1)

    def key(self, name: str) -> None:
        """Press and release a key."""
        for kind in ("keyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=name, code=name)


@contextlib.contextmanager
def browser(program: str, profile: Path) -> Iterator[Browser]:
    """A browser for the time of the block, its profile in a folder of its own."""
    to_read, to_write = os.pipe()
    from_read, from_write = os.pipe()

    def place_pipes() -> None:  # the protocol is spoken on descriptors 3 and 4
        os.dup2(to_read, 103)
        os.dup2(from_write, 104)
        os.dup2(103, 3)
        os.dup2(104, 4)

    command = [
        program, "--headless", "--no-sandbox", "--disable-gpu", "--remote-debugging-pipe", "--no-first-run",
        "--disable-background-networking", "--window-size=1000,900", f"--user-data-dir={profile}", "about:blank",
    ]  # fmt: skip
    work = subprocess.Popen(
        command,
        preexec_fn=place_pipes,
        close_fds=False,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield Browser(to_write, from_read)
    finally:
        work.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            work.wait(20)
        work.kill()
        work.wait()
        for handle in (to_read, to_write, from_read, from_write):
            os.close(handle)
