"""Two runs in one folder, and a run that was killed there: refused in words, never stuck, and the next one says what was."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from blender_addon.cli.itself import own_environment
from blender_addon.job.errors import OutputError
from blender_addon.scene.running.folder_lock import LOCK, clear_drafts, locked

HOLDER = """
import sys, time
from pathlib import Path
from blender_addon.scene.running.folder_lock import locked
with locked(Path(sys.argv[1])) as lock:
    lock.at("Lighting")
    print("held", flush=True)
    time.sleep(600)
"""


def holder(folder: Path) -> subprocess.Popen:
    """Another process that holds the folder."""
    command = [sys.executable, "-c", HOLDER, str(folder)]
    work = subprocess.Popen(command, env=own_environment(), stdout=subprocess.PIPE, text=True)
    assert work.stdout is not None and work.stdout.readline().strip() == "held"
    return work


def test_a_second_run_is_refused_by_the_number_of_the_first(tmp_path: Path) -> None:
    work = holder(tmp_path)
    try:
        with pytest.raises(OutputError, match=f"process {work.pid}"), locked(tmp_path):
            pass
        assert (tmp_path / LOCK).is_file()  # it is the other's, and stays
    finally:
        work.kill()
        work.wait()


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_killed_run_leaves_nothing_stuck_and_says_where_it_was(number: int, tmp_path: Path) -> None:
    work = holder(tmp_path)
    work.send_signal(number)
    work.wait()
    with locked(tmp_path) as lock:
        assert lock is not None and lock.left == "Lighting"
    assert not (tmp_path / LOCK).exists()
    with locked(tmp_path) as lock:
        assert lock is not None and lock.left == ""


def test_a_run_that_ends_takes_its_lock_with_it_also_after_an_error(tmp_path: Path) -> None:
    with pytest.raises(ValueError), locked(tmp_path):
        raise ValueError
    assert not list(tmp_path.iterdir())


def test_the_number_of_a_process_that_lives_holds_nothing(tmp_path: Path) -> None:
    """Numbers are given again: what counts is who holds the file."""
    (tmp_path / LOCK).write_text(f"{os.getppid()}\nRender\n", encoding="utf-8")
    with locked(tmp_path) as lock:
        assert lock is not None and lock.left == "Render"


def test_drafts_of_a_killed_run_go_and_nothing_else_does(tmp_path: Path) -> None:
    kept = [".hidden.png", "hero.png", "my.draft.png", "mine/.hero.draft.png"]
    gone = [".owl.draft.blend", "pictures/.hero.draft.png", "brackets/hero/.001.draft.png"]
    for name in (*kept, *gone):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    clear_drafts(tmp_path)
    assert sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file()) == sorted(kept)
