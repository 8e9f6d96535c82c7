"""Files appear whole or not at all, inside the job's folder alone, and never in place of what is not ours."""

from __future__ import annotations

import json
import os

import pytest

from blender_addon.job.errors import OutputError
from blender_addon.job.files.made_files import MANIFEST, MadeFiles
from blender_addon.job.files.whole_files import begin_folder, whole_file, writable, write_bytes, write_text


def files(folder):
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file() and path.name != MANIFEST)


def test_a_file_that_fails_half_way_leaves_the_old_one(tmp_path):
    begin_folder(tmp_path)
    write_text(tmp_path / "log.json", '{"old": 1}')
    with pytest.raises(RuntimeError), whole_file(tmp_path / "log.json") as draft:
        draft.write_text("half")
        raise RuntimeError
    with pytest.raises(OutputError, match="not written whole"):
        write_text(tmp_path / "log.json", '{"cut')
    with pytest.raises(OutputError, match="not written: is the disk full"), whole_file(tmp_path / "log.json"):
        pass
    assert (tmp_path / "log.json").read_text() == '{"old": 1}' and files(tmp_path) == ["log.json"]


def test_what_is_not_ours_is_never_written_over(tmp_path):
    (tmp_path / "knob.glb").write_text("the scan")
    (tmp_path / "sub").mkdir()
    begin_folder(tmp_path)
    with pytest.raises(OutputError, match=r"knob\.glb.* was not made by this job"):
        write_text(tmp_path / "knob.glb", "ours")
    with pytest.raises(OutputError, match="is a folder"):
        write_text(tmp_path / "sub", "ours")
    assert (tmp_path / "knob.glb").read_text() == "the scan"
    write_text(tmp_path / "page.txt", "ours")
    write_text(tmp_path / "page.txt", "ours again")
    assert (tmp_path / "page.txt").read_text() == "ours again"


def test_names_that_will_be_needed_are_refused_before_anything_is_made(tmp_path):
    (tmp_path / "index.html").write_text("somebody's page")
    with pytest.raises(OutputError, match=r"index\.html"):
        begin_folder(tmp_path)
    (tmp_path / "index.html").unlink()
    (tmp_path / "owl.glb").write_text("x")
    with pytest.raises(OutputError, match=r"owl\.glb"):
        begin_folder(tmp_path, names=["owl.glb"])
    assert files(tmp_path) == ["owl.glb"]


def test_a_folder_with_the_inputs_in_it_is_refused(tmp_path):
    scan = tmp_path / "knob.obj"
    scan.write_text("v 0 0 0")
    with pytest.raises(OutputError, match=r"holds .knob\.obj.*folder of their own"):
        begin_folder(tmp_path, inputs=[scan])
    inside = tmp_path / "pictures" / "photo.jpg"
    inside.parent.mkdir()
    inside.write_text("x")
    with pytest.raises(OutputError, match="holds"):
        begin_folder(tmp_path, inputs=[inside])
    begin_folder(tmp_path / "pictures" / "of their own", inputs=[scan, inside])


def test_a_link_does_not_lead_out_of_the_folder(tmp_path):
    out, elsewhere = tmp_path / "out", tmp_path / "elsewhere"
    elsewhere.mkdir()
    begin_folder(out)
    os.symlink(elsewhere, out / "pictures")
    with pytest.raises(OutputError, match="lies outside of"):
        write_text(out / "pictures" / "hero.txt", "x")
    (elsewhere / "theirs.txt").write_text("theirs")
    os.symlink(elsewhere / "theirs.txt", out / "page.txt")
    with pytest.raises(OutputError, match="was not made by this job"):
        write_text(out / "page.txt", "x")
    assert files(elsewhere) == ["theirs.txt"] and (elsewhere / "theirs.txt").read_text() == "theirs"


def test_dots_in_a_path_do_not_lead_past_the_guard(tmp_path):
    out = tmp_path / "out"
    begin_folder(out)
    (out / "mine.txt").write_text("mine")
    (out / "a" / "b" / "c" / "d").mkdir(parents=True)
    with pytest.raises(OutputError, match="was not made by this job"):
        write_text(out / "a" / "b" / "c" / "d" / ".." / ".." / ".." / ".." / "mine.txt", "x")
    assert (out / "mine.txt").read_text() == "mine"


def test_a_file_changed_by_hand_is_put_aside_and_never_taken(tmp_path):
    begin_folder(tmp_path)
    for words in ("one", "two", "three"):
        write_text(tmp_path / "note.txt", f"ours {words}")
        (tmp_path / "note.txt").write_text(f"theirs {words}")
    write_text(tmp_path / "note.txt", "ours at last")
    kept = {name: (tmp_path / name).read_text() for name in files(tmp_path)}
    assert kept == {
        "note.txt": "ours at last", "note.yours1.txt": "theirs one", "note.yours2.txt": "theirs two",
        "note.yours3.txt": "theirs three",
    }  # fmt: skip
    assert set(MadeFiles.read(tmp_path).aside) == {"note.yours1.txt", "note.yours2.txt", "note.yours3.txt"}
    (tmp_path / "cut.json").unlink(missing_ok=True)
    write_text(tmp_path / "cut.json", "{}")
    (tmp_path / "cut.json").write_text("{")
    write_text(tmp_path / "cut.json", "[]")
    assert not (tmp_path / "cut.yours1.json").exists(), "a file that is cut is no work of anybody's"


def test_a_kill_between_list_and_name_loses_nothing(tmp_path, monkeypatch):
    begin_folder(tmp_path)
    write_text(tmp_path / "a.txt", "old")
    monkeypatch.setattr(os, "replace", _stop_at("a.txt", os.replace))
    with pytest.raises(KeyboardInterrupt):
        write_text(tmp_path / "a.txt", "new")
    with pytest.raises(KeyboardInterrupt):
        write_text(tmp_path / "b.txt", "new")
    monkeypatch.undo()
    assert (tmp_path / "a.txt").read_text() == "old"
    write_text(tmp_path / "a.txt", "newer")
    write_text(tmp_path / "b.txt", "newer")
    assert files(tmp_path) == ["a.txt", "b.txt"], "the old file still counted as ours"


def _stop_at(name, replace):
    def stopped(source, target):
        if target.name in ("a.txt", "b.txt"):
            raise KeyboardInterrupt
        replace(source, target)

    return stopped


def test_a_folder_of_an_earlier_version_is_taken_over(tmp_path):
    """0.1.0 kept no list; its folders are known by the first line of their log."""
    (tmp_path / "log.txt").write_text("--- owl: intake, cleanup\n")
    (tmp_path / "pictures").mkdir()
    for name in ("index.html", "owl.glb", "pictures/hero.png", "mine.txt"):
        (tmp_path / name).write_text("0.1.0")
    begin_folder(tmp_path, names=["owl.glb"])
    for name in ("owl.glb", "index.html", "pictures/hero.png"):
        MadeFiles.around(tmp_path / name).may_write(tmp_path / name)
    with pytest.raises(OutputError, match=r"mine\.txt"):
        write_text(tmp_path / "mine.txt", "x")


@pytest.mark.parametrize("words", ["{cut", "[1, 2]", "3", '{"bozzetto": 1, "files": 7, "aside": [2]}', '{"bozzetto": "x"}'])
def test_a_damaged_list_is_begun_again(tmp_path, words):
    begin_folder(tmp_path)
    (tmp_path / "log.txt").write_text("--- owl: intake\n")
    write_bytes(tmp_path / "index.html", b"<html></html>")
    (tmp_path / MANIFEST).write_text(words)
    if words.startswith('{"bozzetto": 1'):  # a list that is whole and names nothing: nothing is ours
        with pytest.raises(OutputError, match="was not made by this job"):
            begin_folder(tmp_path)
        return
    begin_folder(tmp_path)
    write_bytes(tmp_path / "index.html", b"<html>2</html>")
    assert "index.html" in json.loads((tmp_path / MANIFEST).read_text())["files"]


def test_a_folder_that_can_not_be_one_is_refused_in_words(tmp_path):
    (tmp_path / "file").write_text("")
    for folder in (tmp_path / "file" / "out", tmp_path / "a\0b", tmp_path / ("x" * 5000)):
        with pytest.raises(OutputError, match="Nothing can be written"):
            writable(folder)
    with pytest.raises(OutputError, match="can't be written"):
        write_text(tmp_path / "file" / "page.html", "x")
