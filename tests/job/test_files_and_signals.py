"""Are files flushed before they get their names, drafts gone after an error, and signals left alone outside a run?"""

from __future__ import annotations

import signal
import threading
from pathlib import Path

import pytest

from blender_addon.job.errors import OutputError, SheetError
from blender_addon.job.files import whole_files
from blender_addon.job.files.made_files import LOG, OLD_LOG, known_files
from blender_addon.job.stopping import Stopping
from blender_addon.steps.surface.declared.reference import ReferenceRow, Settings


def test_a_file_is_on_the_disk_before_it_has_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flushed: list[bool] = []
    whole_files.begin_folder(tmp_path)
    monkeypatch.setattr(whole_files, "to_disk", lambda path: flushed.append((tmp_path / "a.txt").exists()))
    whole_files.write_text(tmp_path / "a.txt", "words")
    assert flushed and not any(flushed)
    flushed.clear()
    whole_files.write_text(tmp_path / "b.txt", "words")
    assert len(flushed) == 2  # the file, and the list of files


def test_a_list_that_can_not_be_written_leaves_no_draft(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole_files.begin_folder(tmp_path)

    def full(path: Path) -> None:
        if "made" in path.name:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(whole_files, "to_disk", full)
    with pytest.raises(OutputError, match="free some room"):
        whole_files.write_text(tmp_path / "a.txt", "words")
    assert [path.name for path in tmp_path.iterdir() if "draft" in path.name] == []


def test_files_of_a_folder_without_a_list_are_known_by_what_they_hold(tmp_path: Path) -> None:
    """Of 0.1.0, which kept no list: a page that is changed by hand after it is seen as changed, the growing log is not."""
    (tmp_path / LOG).write_text(OLD_LOG + "run\n")
    (tmp_path / "index.html").write_text("<html>page</html>")
    own = known_files(tmp_path, ())
    assert not own.changed(tmp_path / "index.html")
    for name in (LOG, "index.html"):
        (tmp_path / name).write_text("<html>other words</html>")
    assert own.changed(tmp_path / "index.html") and not own.changed(tmp_path / LOG)


def test_signals_are_not_touched_again_from_another_thread() -> None:
    """Only the main thread may set them; a run in another one has none to give back."""
    stopping, wrong = Stopping(), list[BaseException]()
    before = signal.getsignal(signal.SIGINT)
    with stopping:
        assert signal.getsignal(signal.SIGINT) != before
    assert signal.getsignal(signal.SIGINT) == before

    def again() -> None:
        try:
            with stopping:
                pass
        except BaseException as error:
            wrong.append(error)

    thread = threading.Thread(target=again)
    thread.start()
    thread.join()
    assert not wrong


@pytest.mark.parametrize("place", ["../a", "a/b", "a\nb", "a:b"])
def test_a_place_of_reference_photos_is_the_name_of_a_file(place: str) -> None:
    with pytest.raises(SheetError, match="name"):
        Settings(photos=[ReferenceRow(file="a.jpg", set="b"), ReferenceRow(file="a.jpg", set=place)]).check_names()
