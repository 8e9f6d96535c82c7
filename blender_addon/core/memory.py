"""Does the work on a scan fit into this machine's memory? An estimate before the work, against what the system says is free."""

from __future__ import annotations

from pathlib import Path

BASE_MB = 300.0
"""Megabytes needed for any scan: Blender itself, and copies of small things."""
BYTES_A_TRIANGLE = 1400.0
"""Most bytes a triangle that intake and cleanup hold at once: 1271 were measured at 3.6 M triangles with an 8 K picture, which
counts with them, and a tenth was added; `bench speed` measures it again (memory_a_triangle)."""
BYTES_A_PIXEL = 14.0
"""Most bytes a pixel that a picture takes while it is read: four unpacked, and what reducing it to the working size adds."""
MEMORY, GROUP = Path("/proc/meminfo"), Path("/sys/fs/cgroup")


def needed_mb(triangles: int, pixels: int = 0) -> float:
    """Megabytes (10^6) that a scan of that many triangles and pixels of texture takes at most, beside what is in use
    already."""
    return BASE_MB + (BYTES_A_TRIANGLE * triangles + BYTES_A_PIXEL * pixels) / 1e6


def free_mb(memory: Path = MEMORY, group: Path = GROUP) -> float | None:
    """Megabytes that are still available, or None where the system does not say (only Linux does, in /proc/meminfo).

    A limit on the process's control group counts, where one is set.
    """
    try:
        lines = dict(line.split(":", 1) for line in memory.read_text(encoding="ascii").splitlines() if ":" in line)
        free = float(lines["MemAvailable"].split()[0]) * 1024.0
        swap = float(lines.get("SwapFree", "0 kB").split()[0]) * 1024.0
    except (OSError, ValueError, KeyError, IndexError):
        return None
    free += swap
    try:
        limit, used = ((group / name).read_text(encoding="ascii").strip() for name in ("memory.max", "memory.current"))
        if limit.isdigit():
            free = min(free, float(limit) - float(used))
    except (OSError, ValueError):
        pass
    return max(free, 0.0) / 1e6


def shortage(triangles: int, pixels: int = 0, *, free: float | None = None) -> str:
    """A message with both numbers where a scan does not fit; '' where it does or where that is not known.

    free: available megabytes; by default what the system says.
    """
    have = free_mb() if free is None else free
    need = needed_mb(triangles, pixels)
    if have is None or need <= have:
        return ""
    what = f"{triangles:,} triangles" if triangles else f"{pixels / 1e6:,.0f} million pixels"
    return f"{what} take about {need / 1000.0:.1f} GB of memory, and {have / 1000.0:.1f} GB are free here"
