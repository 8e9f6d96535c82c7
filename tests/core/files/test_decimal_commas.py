"""Is a scan whose numbers have decimal commas refused, and one that has none not mistaken for it?"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from blender_addon.core.files.meshes.mesh_files import check_file
from blender_addon.core.files.meshes.ply import FileProblem
from scripts.bench.corpus import scans


@pytest.mark.parametrize("format", ["obj", "ply_text", "stl_text"])
def test_decimal_commas_are_refused_in_words(tmp_path: Path, format: str) -> None:
    path = tmp_path / scans.MAIN[format]
    text = scans.scan(format)[path.name]
    path.write_bytes(text)
    assert check_file(path).bad_vertices == 0
    path.write_bytes(re.sub(rb"(?m)^( *(?:v |vertex |-?\d).*)$", lambda line: line[0].replace(b".", b","), text))
    with pytest.raises(FileProblem, match="decimal commas"):
        check_file(path)


def test_names_with_commas_are_no_numbers(tmp_path: Path) -> None:
    path = tmp_path / "scan.obj"
    path.write_bytes(b"# 1,5 2,5\no vase 1,5 cm\ng 3,4\n" + scans.scan("obj")["scan.obj"])
    assert check_file(path).bad_vertices == 0
