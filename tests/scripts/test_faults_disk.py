"""A full disk in the middle of a file: the quick cases of the bench, on a small disk or with files held small."""

from __future__ import annotations

import sys

import pytest

pytest.importorskip("bpy")


@pytest.mark.skipif(sys.platform == "win32", reason="neither small disks nor limits on files are to be had on Windows")
def test_a_full_disk_leaves_nothing_cut_and_harms_nothing(tmp_path):
    from scripts.bench.faults.full_disks import FAST, full_disks

    cases, clean = full_disks(tmp_path, fast=True)
    assert cases == len(FAST) >= 8
    assert clean == cases
