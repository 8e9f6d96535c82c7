"""On a terminal one line changes and nothing of Blender's is seen; in a file there are plain lines and no control signs."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from blender_addon.cli.terminal import Printer, Terminal, clock, progress_line, quiet_blender
from blender_addon.job.runner import Update
from blender_addon.job.step import Result, Step

ROOT = Path(__file__).resolve().parents[2]
STEP = Step("render", "delivery", "Render", "help", object, (), (), (), lambda stage, settings: iter(()))  # type: ignore[arg-type]


def update(words: str, *, fraction: float = 0.5, left: float | None = None, blocking: bool = False, ended: bool = False):
    return Update(STEP, 13, 14, fraction, words, blocking, ended, left)


def run(*updates: Update, pause: float = 0.0):
    for change in updates:
        yield change
        time.sleep(pause)
    return Result("done")


def test_a_file_gets_plain_lines_and_few_of_them() -> None:
    stream = io.StringIO()
    frames = [update(f"frame {number} of 200", blocking=True) for number in range(1, 201)]
    Printer(Terminal(stream)).drain(run(*frames, update("200 frames", ended=True)))
    lines = stream.getvalue().splitlines()
    assert "\r" not in stream.getvalue() and "\x1b" not in stream.getvalue()
    assert "Render: frame 1 of 200" in lines[0], "the first word comes at once"
    assert "Render: 200 frames" in lines[-1] and len(lines) < 10, "two hundred frames in a second are not two hundred lines"


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals of this kind")
def test_a_terminal_has_one_line_that_is_drawn_over() -> None:
    read, write = os.openpty()
    with os.fdopen(write, "w") as stream:
        terminal = Terminal(stream)
        assert not terminal.plain
        Printer(terminal).drain(run(update("hero " * 60, left=70.0), pause=1.2))
        terminal.say("Done")
        seen = ""
        while not seen.endswith("Done\r\n"):
            seen += os.read(read, 1 << 16).decode()
    os.close(read)
    seen = seen.replace("\r\n", "\n")
    assert seen.count("\n") == 1 and seen.endswith("Done\n"), "only what is said at the end stays"
    drawn = [part.split("\x1b")[0] for part in seen.split("\r") if part.startswith("[13")]
    assert len(drawn) >= 2 and all(len(line) < 80 for line in drawn), "drawn again while the work goes on, never wrapped"
    assert "about 1:09 left" in drawn[0] or "about 1:10 left" in drawn[0]


def test_what_a_person_should_see_later_stays() -> None:
    stream = io.StringIO()
    stays = Update(STEP, 13, 14, 0.5, "27 pictures to render: about 12 min", stays=True)
    Printer(Terminal(stream)).drain(run(update("hero"), stays, update("hero")))
    assert stream.getvalue().splitlines()[1] == "27 pictures to render: about 12 min"
    quiet = io.StringIO()
    Printer(Terminal(quiet, quiet=True)).drain(run(stays))
    assert not quiet.getvalue()


def test_time_left_is_the_steps_own_where_it_can_tell() -> None:
    assert "1:40, about 3:20 left" in progress_line(update("x", left=200.0), 100.0)
    assert "1:40, about 1:40 left" in progress_line(update("x", fraction=0.5), 100.0), "else by the share that is done"
    assert "about 3:00 left" in progress_line(update("x", left=200.0), 120.0, since=20.0), "and it runs down meanwhile"
    assert (clock(65), clock(3725)) == ("1:05", "1:02:05")


CHATTER = """
import os, subprocess, sys
from pathlib import Path
from blender_addon.cli.terminal import quiet_blender
with quiet_blender(Path(sys.argv[1])) as terminal:
    print("from python")
    sys.stderr.write("from python's errors\\n")
    os.write(1, b"from compiled code\\n")
    subprocess.run([sys.executable, "-c", "print('from a child')"])
    terminal.say("ours")
print("after")
"""


def test_what_blender_prints_goes_to_the_log_alone(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", CHATTER, str(tmp_path / "log.txt")], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-2:] == ["ours", "after"]
    log, chatter = (tmp_path / "log.txt").read_text(), ("python", "python's errors", "compiled code", "a child")
    assert all(f"from {what}\n" in log for what in chatter)
    assert not any(f"from {what}\n" in done.stdout + done.stderr for what in chatter)


def test_a_log_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    with quiet_blender(tmp_path / "nowhere" / "log.txt") as terminal:
        print("lost")
    assert terminal is not None
