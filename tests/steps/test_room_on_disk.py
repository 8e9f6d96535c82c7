"""Is a job whose pictures can't fit refused before it begins, in numbers that differ?"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

pytest.importorskip("bpy")

from blender_addon.job.errors import OutputError
from blender_addon.steps.delivery import _estimate


@pytest.mark.parametrize(
    ("free", "words"), [(0, "hardly any bytes are free"), (400_000, "hardly any bytes are free"), (3_000_000, "3 MB are free")]
)
def test_what_is_missing_is_said(free: int, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_estimate.shutil, "disk_usage", lambda folder: SimpleNamespace(free=free))
    with pytest.raises(OutputError, match=rf"take up to 12 MB, and {words} in .*: free some room"):
        _estimate.check_room(tmp_path, disk=10_000_000, memory=0)
    _estimate.check_room(tmp_path, disk=0, memory=0)
