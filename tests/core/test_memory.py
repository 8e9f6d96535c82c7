"""Is a scan that does not fit refused with its numbers, and is nothing refused where nobody knows?"""

from __future__ import annotations

from pathlib import Path

import pytest

from blender_addon.core import memory

MEMINFO = "MemTotal:       16000000 kB\nMemFree:  100 kB\nMemAvailable:    4000000 kB\nSwapFree:   500000 kB\n"


def test_free_memory_as_linux_writes_it(tmp_path: Path) -> None:
    """proc_meminfo(5): kB are 1024 bytes; a control group's limit (cgroup v2, memory.max) goes before."""
    (tmp_path / "meminfo").write_text(MEMINFO)
    assert memory.free_mb(tmp_path / "meminfo", tmp_path) == pytest.approx(4_500_000 * 1024 / 1e6)
    (tmp_path / "memory.max").write_text("2000000000\n")
    (tmp_path / "memory.current").write_text("500000000\n")
    assert memory.free_mb(tmp_path / "meminfo", tmp_path) == pytest.approx(1500.0)
    (tmp_path / "memory.max").write_text("max\n")
    assert memory.free_mb(tmp_path / "meminfo", tmp_path) == pytest.approx(4_500_000 * 1024 / 1e6)


@pytest.mark.parametrize("words", ["", "MemAvailable:\n", "MemAvailable: x kB\n", "nothing"])
def test_where_nobody_knows_the_work_goes_on(tmp_path: Path, words: str) -> None:
    (tmp_path / "meminfo").write_text(words)
    assert memory.free_mb(tmp_path / "meminfo", tmp_path) is None
    assert memory.free_mb(tmp_path / "none", tmp_path) is None


def test_a_refusal_names_both_numbers() -> None:
    words = memory.shortage(48_000_000, free=6000.0)
    assert (
        words
        == f"48,000,000 triangles take about {memory.needed_mb(48_000_000) / 1000:.1f} GB of memory, and 6.0 GB are free here"
    )
    assert memory.shortage(1_000_000, free=6000.0) == ""
    assert "268 million pixels" in memory.shortage(0, 16384**2, free=1000.0)
