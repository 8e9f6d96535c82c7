"""The command line and the operators write where they were asked to, under names that are names, and over nothing of
others'."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import bpy
import pytest

from tests.host.small_scan import QUICK_SHEET, write_knob


def _tree(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


HOSTILE = {
    "a title that climbs": 'name = "../../owned"',
    "a title that is a path": 'name = "/tmp/owned"',
    "a device": 'name = "CON"',
    "a control character": 'name = "a\\u0007b"',
    "a shot that climbs": '[[camera.shots]]\nname = "../owned"',
    "a shot like another": '[[camera.shots]]\nname = "Hero"',
    "two shots of one name": '[[camera.shots]]\nname = "a"\n[[camera.shots]]\nname = "a"',
    "a shot named as an earlier version": '[[camera.shots]]\nname = "hero.v1"',
    "copies that climb": '[export]\nnames = "../{shot}"',
    "copies in a path": '[export]\nnames = "/tmp/{shot}"',
    "a template that reaches into objects": '[export]\nnames = "{job.__class__}_{shot}"',
    "a template that asks for nothing known": '[export]\nnames = "{job.nothing}"',
    "copies of one name": '[export]\nnames = "{job}"',
}


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_names_end_before_anything_runs(case: str, job: Path, command: Any, capsys: Any) -> None:
    head, *rest = HOSTILE[case].split("\n")
    sheet = QUICK_SHEET.replace("bozzetto = 1", f"bozzetto = 1\n{head}") if head.startswith("name") else (
        QUICK_SHEET.replace("[export]", HOSTILE[case]) if head == "[export]" and "[export]" in QUICK_SHEET
        else QUICK_SHEET + "\n" + "\n".join([head, *rest])
    )  # fmt: skip
    job.write_text(sheet, encoding="utf-8")
    before = _tree(job.parent)
    assert command(["run", str(job), "--out", str(job.parent / "out"), "--quiet"]) == 1
    assert "Traceback" not in capsys.readouterr().err
    assert _tree(job.parent) == before, "nothing was written anywhere"


def test_an_out_folder_with_the_scan_in_it_is_refused(job: Path, command: Any, capsys: Any) -> None:
    (job.parent / "knob.glb").write_bytes((job.parent / "knob.obj").read_bytes())
    job.write_text(QUICK_SHEET.replace("knob.obj", "knob.glb"), encoding="utf-8")
    before = _tree(job.parent)
    assert command(["run", str(job), "--out", str(job.parent), "--quiet"]) == 1
    assert "a folder of their own" in capsys.readouterr().err
    assert _tree(job.parent) == before


def test_what_others_left_in_the_out_folder_stays(job: Path, command: Any, capsys: Any) -> None:
    out = job.parent / "out"
    out.mkdir()
    (out / "index.html").write_text("the gallery's page")
    assert command(["run", str(job), "--out", str(out), "--until", "intake", "--quiet"]) == 1
    assert "index.html" in capsys.readouterr().err
    assert _tree(out) == {"index.html": b"the gallery's page"}


def test_a_batch_of_equal_names_gets_a_folder_each(job: Path, command: Any) -> None:
    for name in ("a", "b"):
        (job.parent / name).mkdir()
        write_knob(job.parent / name)
        (job.parent / name / "job.toml").write_text(QUICK_SHEET, encoding="utf-8")
    out = job.parent / "out"
    sheets = [str(job.parent / name / "job.toml") for name in ("a", "b")]
    assert command(["run", *sheets, "--out", str(out), "--until", "intake", "--quiet"]) == 0
    assert sorted(path.name for path in out.iterdir()) == ["a_job", "b_job"]
    assert all((out / name / "figures.json").is_file() for name in ("a_job", "b_job"))


def test_a_sheet_is_written_under_the_name_that_was_chosen(job: Path, tmp_path: Path) -> None:
    bpy.ops.bozzetto.read_sheet(filepath=str(job))
    (tmp_path / "job.toml").write_text("bozzetto = 1\n# mine\n")
    bpy.ops.bozzetto.write_sheet(filepath=str(tmp_path / "job.final"))
    assert (tmp_path / "job.toml").read_text() == "bozzetto = 1\n# mine\n"
    assert (tmp_path / "job.final.toml").read_text().startswith("bozzetto = 1")
    with pytest.raises(RuntimeError, match="already there"):
        bpy.ops.bozzetto.write_sheet(filepath=str(tmp_path / "job.final"))
    (tmp_path / "other.toml").write_text("[tool]\n")
    with pytest.raises(RuntimeError, match="is no job sheet"):
        bpy.ops.bozzetto.write_sheet(filepath=str(tmp_path / "other.toml"))
    assert (tmp_path / "other.toml").read_text() == "[tool]\n"


ODD_SHEETS = {
    "a number of 400 digits": QUICK_SHEET.replace("height = 42.0", f"height = {'4' * 400}"),
    "a number of 9000 digits": QUICK_SHEET.replace("height = 42.0", f"height = {'4' * 9000}"),
    "brackets without end": QUICK_SHEET + f"\nx = {'[' * 2000}",
    "a null in a path": QUICK_SHEET.replace("knob.obj", "knob\\u0000.obj"),
    "a user who is not there": QUICK_SHEET.replace("knob.obj", "~nouser_of_this_name/knob.obj"),
    "a path of 5000 letters": QUICK_SHEET.replace("knob.obj", f"{'x' * 5000}.obj"),
}


@pytest.mark.parametrize("case", ODD_SHEETS)
def test_odd_sheets_are_refused_in_words(case: str, job: Path, command: Any, capsys: Any) -> None:
    job.write_text(ODD_SHEETS[case], encoding="utf-8")
    assert command(["run", str(job), "--out", str(job.parent / "out"), "--until", "intake", "--quiet"]) == 1
    words = capsys.readouterr().err
    assert words.startswith("bozzetto: ") and "Traceback" not in words


def test_a_mark_of_the_byte_order_is_read_over(job: Path, command: Any) -> None:
    job.write_text("\ufeff" + QUICK_SHEET, encoding="utf-8")
    assert command(["run", str(job), "--out", str(job.parent / "out"), "--until", "intake", "--quiet"]) == 0


@pytest.mark.parametrize("words", ["[1]", "7", "null", '{"intake": 3}', "{cut"])
def test_a_table_of_figures_that_is_none_is_written_again(words: str, job: Path, command: Any) -> None:
    out = job.parent / "out"
    assert command(["run", str(job), "--out", str(out), "--until", "intake", "--quiet"]) == 0
    (out / "figures.json").write_text(words)
    assert command(["run", str(job), "--out", str(out), "--until", "intake", "--quiet"]) == 0
    assert '"triangles"' in (out / "figures.json").read_text()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows knows no limit on the size of files")
def test_a_disk_that_fills_ends_with_1_in_words_and_leaves_nothing_cut(job: Path, command: Any, capsys: Any) -> None:
    """RLIMIT_FSIZE stands for the full disk: a write past 100 kB fails, and the .blend is larger."""
    import resource
    import signal

    out = job.parent / "out"
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))
    try:
        code = command(["run", str(job), "--out", str(out), "--until", "cleanup", "--quiet"])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)
    words = capsys.readouterr().err
    assert code == 1 and "knob.blend" in words and "Traceback" not in words
    left = [name for name in sorted(_tree(out)) if not name.startswith("decisions/")]  # small pictures, each whole
    assert left == [".made.json", "figures.json", "log.txt"]
    assert command(["run", str(job), "--out", str(out), "--until", "cleanup", "--quiet"]) == 0, "and then it goes on"
