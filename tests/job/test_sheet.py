"""The job sheet: read, overridden, written; refused by name when wrong."""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pytest

from blender_addon.job.errors import SheetError
from blender_addon.job.settings import file, length, number, switch, table, text
from blender_addon.job.sheet import FORMAT, blank, override, parse, read, written
from blender_addon.job.step import Step


@dataclass(kw_only=True)
class Scan:
    file: str = file("", help="the file")


@dataclass(kw_only=True)
class Intake:
    ALIASES = {"scan": "scans"}
    scans: list[Scan] = table(Scan, help="scans", short="file")


@dataclass(kw_only=True)
class Orientation:
    height: float | None = length(None, low=0.1, high=5000.0, help="Height")
    keep_lean: bool = switch(False, help="Keep the lean")
    words: str = text("", help="Words")
    tone: float = number(0.25, low=0, high=1, help="Tone")


def _step(name: str, settings: type) -> Step:
    return Step(name, "scan", name.title(), "Help.", settings, (), (), (), lambda stage, own: iter(()))


STEPS = (_step("intake", Intake), _step("orientation", Orientation))


def parsed(words: str):
    return parse(words, STEPS, name="owl", folder=Path("/jobs"))


def test_the_smallest_useful_sheet():
    sheet = parsed('bozzetto = 1\n[intake]\nscan = "owl.obj"\n[orientation]\nheight = 80.0\n')
    assert sheet["intake"].scans == [Scan(file="owl.obj")]
    assert sheet["orientation"].height == 80.0
    assert sheet.path("owl.obj") == Path("/jobs/owl.obj").resolve()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("[intake]\n", 'the first line must be "bozzetto = 1"'),
        ("bozzetto = 0\n", "must be a sheet number"),
        ("bozzetto = true\n", "must be a sheet number"),
        (f"bozzetto = {FORMAT + 1}\n", "newer Bozzetto"),
        ("bozzetto = 1\n[intak]\n", r'there is no step "intak" \(did you mean "intake"\?\)'),
        ("bozzetto = 1\n[orientation]\nhieght = 3\n", r'orientation has no setting "hieght" \(did you mean "height"\?\)'),
        ("bozzetto = 1\n[orientation]\nheight = 0\n", r"orientation\.height must lie between 0\.1 and 5000 mm"),
        ("bozzetto = 1\norientation = 3\n", "orientation must be a table of settings"),
        ("bozzetto = 1\n[orientation\n", "not valid TOML"),
    ],
)
def test_a_wrong_sheet_is_refused_in_words(words, message):
    with pytest.raises(SheetError, match=message):
        parsed(words)


def test_a_missing_sheet_says_what_to_do(tmp_path):
    with pytest.raises(SheetError, match="bozzetto new"):
        read(tmp_path / "none.toml", STEPS)


def test_a_binary_sheet_is_refused(tmp_path):
    (tmp_path / "owl.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SheetError, match="can't be read"):
        read(tmp_path / "owl.toml", STEPS)


@dataclass(kw_only=True)
class Render:
    watermark: str = text("", help="Words")


def test_a_setting_that_is_another_steps_today_is_read():
    steps = (_step("render", Render), _step("export", Scan))
    words = 'bozzetto = 1\n[export]\nwatermark = "PROOF"\n'
    assert parse(words, steps, name="job", folder=Path())["render"].watermark == "PROOF"
    sheet = parse("bozzetto = 1", steps, name="job", folder=Path())
    override(sheet, "export.watermark=DRAFT")
    assert sheet["render"].watermark == "DRAFT"


def test_overrides_reach_fields_and_aliases():
    sheet = blank(STEPS)
    override(sheet, "orientation.height=80")
    override(sheet, "orientation.keep_lean = true")
    override(sheet, "orientation.words=two words")
    override(sheet, 'intake.scan="owl.obj"')
    assert (sheet["orientation"].height, sheet["orientation"].keep_lean) == (80.0, True)
    assert sheet["orientation"].words == "two words"
    assert sheet["intake"].scans == [Scan(file="owl.obj")]


@pytest.mark.parametrize("words", ["orientation.hight=8", "orientatoin.height=8", "height=8", "orientation.height=tall"])
def test_a_wrong_override_is_refused(words):
    with pytest.raises(SheetError):
        override(blank(STEPS), words)


@pytest.mark.parametrize("everything", [False, True])
@pytest.mark.parametrize("comments", [False, True])
def test_what_is_written_reads_back_the_same(everything, comments):
    sheet = parsed('bozzetto = 1\n[[intake.scans]]\nfile = "a \\"b\\" ü.obj"\n[orientation]\nheight = 80.5\nkeep_lean = true\n')
    text_ = written(sheet, STEPS, everything=everything, comments=comments)
    assert tomllib.loads(text_)["bozzetto"] == FORMAT
    again = parsed(text_)
    assert again.settings == sheet.settings


def test_a_commented_sheet_names_every_setting():
    words = written(blank(STEPS), STEPS, comments=True)
    for name in ("height", "keep_lean", "words", "tone"):
        assert f"# {name} =" in words


def test_a_sheet_with_a_byte_order_mark_is_read(tmp_path):
    (tmp_path / "owl.toml").write_bytes(b'\xef\xbb\xbfbozzetto = 1\nname = "Owl"\n')
    assert read(tmp_path / "owl.toml", STEPS).name == "Owl"
    assert parsed('\ufeffbozzetto = 1\nname = "Owl"\n').name == "Owl"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("[orientation]\nheight = " + "9" * 400, r"orientation\.height must be a number mm, not 9999.* \.\.\.$"),
        ("[orientation]\nheight = " + "9" * 5000, "a number in it has thousands of digits"),
        ("[orientation]\nheight = " + "[" * 2000 + "]" * 2000, "nested too deep"),
        ("[orientation]\nwords = [" + "1, " * 400 + "1]", r"must be text in quotes, not \[1, .* \.\.\.$"),
    ],
)
def test_what_is_far_too_large_is_reported_in_few_words(words, message):
    with pytest.raises(SheetError, match=message) as caught:
        parsed("bozzetto = 1\n" + words + "\n")
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize("kind", ["pipe", "folder", "vast", "device"])
def test_what_is_no_page_of_text_is_not_opened(tmp_path, kind):
    """Opening a named pipe would wait for ever: the test's own time limit is what would fail."""
    file = tmp_path / "owl.toml"
    if kind == "pipe":
        os.mkfifo(file)
    elif kind == "folder":
        file.mkdir()
    elif kind == "device":
        file.symlink_to("/dev/zero")
    else:
        file.write_bytes(b"#" * 5_000_000)
    words = {"folder": "a folder", "vast": "5 MB"}.get(kind, "no plain file")
    with pytest.raises(SheetError, match=words):
        read(file, STEPS)


def test_paths_that_can_be_none_are_refused_by_the_sheet():
    for written_ in ("a\0b.obj", "~nobody-of-that-name/x.obj"):
        with pytest.raises(SheetError, match="is not a valid path"):
            blank(STEPS).path(written_)


def test_the_files_that_a_sheet_names(tmp_path):
    (tmp_path / "owl.obj").write_bytes(b"")
    sheet = parse('bozzetto = 1\n[intake]\nscan = "owl.obj"\n', STEPS, name="owl", folder=tmp_path)
    assert sheet.named_files() == {(tmp_path / "owl.obj").resolve()}
