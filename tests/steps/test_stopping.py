"""Stop means stop: a signal in the middle of a render ends the run after that picture, with the code that shells expect."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from PIL import Image

from blender_addon.cli.itself import own_environment
from blender_addon.job.stopping import WORDS, Stopped, Stopping

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "tests" / "samples" / "0.1.0"
SLOW = ("--set", "render.size=240", "--set", "render.samples=24", "--set", "render.noise=0", "--set", "render.turntable=false")
"""A picture takes two seconds or more, so that a signal sent when it begins falls into it."""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job that is ready to be rendered."""
    for name in ("job.toml", "knob.obj", "knob.mtl", "knob.png"):
        shutil.copy(SAMPLE / name, tmp_path)
    (tmp_path / "out").mkdir()
    shutil.copy(SAMPLE / "job.blend", tmp_path / "out")
    return tmp_path / "job.toml"


def started(*sheets: Path, out: Path) -> subprocess.Popen:
    """The command in a process of its own, once it renders its first picture."""
    command = [
        sys.executable,
        "-m",
        "blender_addon.cli",
        "run",
        *map(str, sheets),
        "--out",
        str(out),
        "--from",
        "render",
        *SLOW,
    ]
    work = subprocess.Popen(
        command, cwd=ROOT, env=own_environment(), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        start_new_session=True,
    )  # fmt: skip
    assert work.stdout is not None
    for line in work.stdout:
        if "Render: pictures hero" in line:
            time.sleep(0.5)
            return work
    raise AssertionError(f"it ended before it rendered: {work.wait()}")


def ended(work: subprocess.Popen) -> tuple[int, str]:
    """The exit code and what was said; a machine may be busy, so there is time."""
    try:
        words, _ = work.communicate(timeout=400)
    finally:
        if work.poll() is None:
            work.kill()
    return work.returncode, words


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_signal_in_a_render_ends_the_run_after_that_picture(number: int, code: int, job: Path) -> None:
    work = started(job, out=job.parent / "out")
    work.send_signal(number)
    found, words = ended(work)
    assert found == code, words
    assert "stopped; what was finished before stays" in words
    pictures = sorted((job.parent / "out" / "pictures").iterdir())
    assert [path.name for path in pictures] == [".originals", "hero.png"]
    assert Image.open(pictures[1]).size == (240, 160)


def test_in_a_batch_no_further_sheet_is_begun(job: Path) -> None:
    other = job.with_name("second.toml")
    shutil.copy(job, other)
    for name in ("job", "second"):
        (job.parent / "all" / name).mkdir(parents=True)
        shutil.copy(SAMPLE / "job.blend", job.parent / "all" / name / f"{name}.blend")
    work = started(job, other, out=job.parent / "all")
    work.send_signal(signal.SIGINT)
    found, words = ended(work)
    assert found == 130, words
    assert not (job.parent / "all" / "second" / "pictures").exists()


def test_a_second_signal_ends_it_at_once(job: Path) -> None:
    work = started(job, out=job.parent / "out")
    work.send_signal(signal.SIGINT)
    time.sleep(0.5)
    start = time.monotonic()
    work.send_signal(signal.SIGINT)
    found, words = ended(work)
    assert found == 130, words
    assert time.monotonic() - start < 10.0  # at once, as far as a busy machine allows
    assert not (job.parent / "out" / "pictures" / "hero.png").exists()


def test_a_signal_is_noted_and_raised_where_it_is_asked_for() -> None:
    before = signal.getsignal(signal.SIGINT)
    heard, write = os.pipe()
    os.set_blocking(heard, False)
    with Stopping() as stopping:
        stopping.tell_on(write)
        stopping.check()
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.05)
        with pytest.raises(Stopped) as stop:
            stopping.check()
    assert stop.value.code == 130 and signal.getsignal(signal.SIGINT) is before
    assert os.read(heard, 1000) == WORDS, "said at once, while a render still holds the program"
    os.close(heard)
    os.close(write)
