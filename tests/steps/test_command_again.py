"""Does the same command again go on in the .blend that is there, with what was edited in it?"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.cli import main
from blender_addon.core.files.pictures.png8 import png8
from blender_addon.job.files.whole_files import write_bytes
from blender_addon.job.stopping import Stopped, Stopping
from blender_addon.scene.running.job_card import CARD, SHEET_TEXT, STATE, read_state
from tests.host.small_scan import write_knob

SHEET = """\
bozzetto = 1

[intake]
scan = "knob.obj"

[orientation]
height = 42.0
"""


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """A sheet beside its scan."""
    write_knob(tmp_path)
    (tmp_path / "owl.toml").write_text(SHEET, encoding="utf-8")
    return tmp_path / "owl.toml"


def run(sheet: Path, *more: str, until: str = "cleanup") -> int:
    """The command, as far as the scan is clean: quick, and it makes objects of two steps."""
    return main(["run", str(sheet), "--out", str(sheet.parent / "out"), "--until", until, "--quiet", *more])


def edited(path: Path, change: Callable[[], Any]) -> None:
    """Open a .blend, change it as a user would, and save it."""
    bpy.ops.wm.open_mainfile(filepath=str(path))
    change()
    bpy.ops.wm.save_mainfile(filepath=str(path))


def move_clean() -> None:
    bpy.data.objects["Clean 1"].location.x = 0.25


def found_in(path: Path) -> dict[str, float]:
    """Where the objects of a .blend stand along x."""
    bpy.ops.wm.open_mainfile(filepath=str(path))
    return {item.name: round(item.location.x, 4) for item in bpy.data.objects}


def test_the_same_command_again_keeps_what_was_edited_and_says_so(sheet: Path, capsys: Any) -> None:
    assert run(sheet) == 0
    blend = sheet.parent / "out" / "owl.blend"
    edited(blend, move_clean)
    capsys.readouterr()
    assert run(sheet) == 0
    assert 'Kept "Clean 1" as you changed it' in capsys.readouterr().out
    assert found_in(blend) == {"Scan 1 knob": 0.0, "Clean 1": 0.25}
    assert [path.name for path in blend.parent.glob("*.blend")] == ["owl.blend"]


def test_what_the_sheet_asks_newly_is_done_in_the_old_file(sheet: Path) -> None:
    assert run(sheet) == 0
    edited(sheet.parent / "out" / "owl.blend", move_clean)
    assert run(sheet, "--set", "orientation.height=84", until="orientation") == 0
    bpy.ops.wm.open_mainfile(filepath=str(sheet.parent / "out" / "owl.blend"))
    assert bpy.data.objects["Upright"].dimensions.z == pytest.approx(0.084, rel=1e-3)
    assert bpy.data.objects["Clean 1"].location.x == 0.25
    assert bpy.context.scene.bozzetto.orientation.height == pytest.approx(0.084)


def test_afresh_starts_over_and_keeps_the_old_file_beside(sheet: Path, capsys: Any) -> None:
    assert run(sheet) == 0
    blend = sheet.parent / "out" / "owl.blend"
    edited(blend, move_clean)
    old = blend.read_bytes()
    assert run(sheet, "--afresh") == 0
    assert '"owl.v1.blend"' in capsys.readouterr().out
    assert (blend.parent / "owl.v1.blend").read_bytes() == old
    assert found_in(blend)["Clean 1"] == 0.0
    assert run(sheet, "--afresh") == 0
    assert (blend.parent / "owl.v1.blend").read_bytes() == old and (blend.parent / "owl.v2.blend").is_file()


def test_afresh_from_a_step_goes_on_in_the_file_and_keeps_it_beside_too(sheet: Path) -> None:
    assert run(sheet) == 0
    blend = sheet.parent / "out" / "owl.blend"
    edited(blend, move_clean)
    assert run(sheet, "--afresh", "--from", "cleanup") == 0
    assert found_in(blend)["Clean 1"] == 0.0
    assert found_in(blend.parent / "owl.v1.blend")["Clean 1"] == 0.25


def foreign(path: Path) -> None:
    """A .blend of somebody's own."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.context.scene.collection.objects.link(bpy.data.objects.new("mine", None))
    path.parent.mkdir(exist_ok=True)
    bpy.ops.wm.save_as_mainfile(filepath=str(path))


@pytest.mark.parametrize("what", ["a file of their own", "another job", "no .blend at all"])
def test_a_file_that_is_not_this_jobs_is_refused_by_name_and_left_alone(what: str, sheet: Path, capsys: Any) -> None:
    blend = sheet.parent / "out" / "owl.blend"
    if what == "a file of their own":
        foreign(blend)
    elif what == "another job":
        write_knob(sheet.parent / "other").rename(sheet.parent / "other" / "fox.obj")
        (sheet.parent / "other" / "fox.toml").write_text(SHEET.replace("knob", "fox"), encoding="utf-8")
        assert run(sheet.parent / "other" / "fox.toml", "--out", str(blend.parent)) == 0
        (blend.parent / "fox.blend").rename(blend)
    else:
        blend.parent.mkdir()
        blend.write_bytes(b"BLENDER, or so it says")
    before = blend.read_bytes()
    capsys.readouterr()
    assert run(sheet) == 1
    words = capsys.readouterr().err
    assert str(blend) in words and "--afresh" in words and ("fox" in words) == (what == "another job")
    assert blend.read_bytes() == before
    assert run(sheet, "--afresh") == 0
    assert (blend.parent / "owl.v1.blend").read_bytes() == before


def test_a_job_is_known_by_its_sheet_when_the_scan_was_renamed_and_by_its_scan_when_the_folder_was(sheet: Path) -> None:
    assert run(sheet) == 0
    blend = sheet.parent / "out" / "owl.blend"
    edited(blend, move_clean)
    (sheet.parent / "knob.obj").rename(sheet.parent / "better.obj")
    sheet.write_text(SHEET.replace("knob.obj", "better.obj"), encoding="utf-8")
    assert run(sheet) == 0
    assert found_in(blend)["Clean 1"] == 0.25
    moved = sheet.parent.rename(sheet.parent.with_name("moved")) / "owl.toml"
    assert run(moved) == 0
    assert found_in(moved.parent / "out" / "owl.blend")["Clean 1"] == 0.25


def test_a_job_of_0_1_0_is_known_by_the_text_in_it(sheet: Path) -> None:
    assert run(sheet) == 0
    blend = sheet.parent / "out" / "owl.blend"

    def without_card() -> None:
        move_clean()
        state = read_state(bpy.context.scene)
        del state[CARD]
        import json

        bpy.context.scene[STATE] = json.dumps(state)

    edited(blend, without_card)
    assert run(sheet) == 0
    assert found_in(blend)["Clean 1"] == 0.25
    edited(blend, lambda: (without_card(), bpy.data.texts.remove(bpy.data.texts[SHEET_TEXT])))
    assert run(sheet) == 1  # nothing says whose it is


def test_a_file_that_was_saved_meanwhile_is_not_written_over(sheet: Path, capsys: Any, monkeypatch: Any) -> None:
    """The user has the .blend open in a window and saves it while the command runs."""
    assert run(sheet) == 0
    blend = sheet.parent / "out" / "owl.blend"
    import blender_addon.cli.running as running

    session = running.run_session

    def meanwhile(*arguments: Any, **options: Any) -> Any:
        blend.write_bytes(b"saved by the user")
        return session(*arguments, **options)

    monkeypatch.setattr(running, "run_session", meanwhile)
    assert run(sheet, "--from", "cleanup") == 0
    assert blend.read_bytes() == b"saved by the user"
    assert '"owl.v1.blend"' in capsys.readouterr().out
    assert set(found_in(blend.parent / "owl.v1.blend")) == {"Scan 1 knob", "Clean 1"}


def test_from_needs_an_earlier_run(sheet: Path, capsys: Any) -> None:
    assert run(sheet, "--from", "cleanup") == 1
    assert "run without --from first" in capsys.readouterr().err


def text_in(blend: Path) -> str:
    bpy.ops.wm.open_mainfile(filepath=str(blend))
    return bpy.data.texts[SHEET_TEXT].as_string()


def test_comments_in_the_text_of_the_sheet_stay(sheet: Path) -> None:
    assert run(sheet) == 0
    blend = sheet.parent / "out" / "owl.blend"

    def comment() -> None:
        text = bpy.data.texts[SHEET_TEXT]
        text.from_string("# For Anna\n" + text.as_string().replace("height = 42.0", "height = 42.0 # with callipers"))

    edited(blend, comment)
    assert run(sheet, "--set", "orientation.height=43", "--set", "relief.strength=0.5") == 0
    words = text_in(blend)
    assert words.startswith("# For Anna\n") and "height = 43.0  # with callipers" in words and "strength = 0.5" in words
    assert [text.name for text in bpy.data.texts] == [SHEET_TEXT]


def test_a_value_changed_in_the_text_is_said_and_kept_beside(sheet: Path, capsys: Any) -> None:
    assert run(sheet) == 0
    blend = sheet.parent / "out" / "owl.blend"

    def change() -> None:
        text = bpy.data.texts[SHEET_TEXT]
        text.from_string(text.as_string().replace("42.0", "77.0"))

    edited(blend, change)
    capsys.readouterr()
    assert run(sheet) == 0
    assert f"{SHEET_TEXT}, yours" in capsys.readouterr().out
    assert "42.0" in text_in(blend) and "77.0" in bpy.data.texts[f"{SHEET_TEXT}, yours"].as_string()


def steps_of(out: str) -> list[str]:
    """The steps that a run's lines name, in their order."""
    lines = [line.split("  ")[-1].split(":")[0] for line in out.splitlines() if line.startswith("[")]
    return list(dict.fromkeys(lines))


def run_loud(sheet: Path, *more: str, until: str = "orientation") -> int:
    return main(["run", str(sheet), "--out", str(sheet.parent / "out"), "--until", until, *more])


def test_the_same_command_again_ends_at_once_when_nothing_has_changed(sheet: Path, capsys: Any) -> None:
    assert run_loud(sheet) == 0
    first = capsys.readouterr().out
    assert steps_of(first) == ["Load scans", "Cleanup", "Orientation"]
    blend = sheet.parent / "out" / "owl.blend"
    before = blend.stat().st_mtime_ns
    assert run_loud(sheet) == 0
    again = capsys.readouterr().out
    assert "Nothing has changed since the last run" in again and steps_of(again) == []
    assert again[again.index("To check") :] == first[first.index("To check") :], "what is to be checked still is"
    assert blend.stat().st_mtime_ns == before


def test_a_file_that_is_deleted_and_not_made_again_is_forgotten(sheet: Path, capsys: Any) -> None:
    """As the originals of a still that now bears a watermark, or an old copy that the user threw away."""
    assert run_loud(sheet) == 0
    old = sheet.parent / "out" / "hand_over" / "old.png"
    write_bytes(old, png8(np.zeros((2, 2, 3), np.uint8)))
    old.unlink()
    assert run_loud(sheet) == 0
    capsys.readouterr()
    assert run_loud(sheet) == 0
    assert "Nothing has changed since the last run" in capsys.readouterr().out


@pytest.mark.parametrize("what", ["texture", "scan", "blend", "figures", "afresh", "from"])
def test_whatever_a_run_may_read_or_was_asked_makes_it_run(what: str, sheet: Path, capsys: Any) -> None:
    assert run_loud(sheet) == 0
    out = sheet.parent / "out"
    more = {"afresh": ["--afresh"], "from": ["--from", "intake"]}.get(what, [])
    if what == "texture":  # only a picture beside the scan
        (sheet.parent / "knob.png").write_bytes((sheet.parent / "knob.png").read_bytes() + b"more")
    elif what == "scan":
        (sheet.parent / "knob.obj").write_text((sheet.parent / "knob.obj").read_text() + "# touched\n")
    elif what == "blend":
        edited(out / "owl.blend", move_clean)
    elif what == "figures":
        (out / "figures.json").unlink()
    capsys.readouterr()
    assert run_loud(sheet, *more) == 0
    assert steps_of(capsys.readouterr().out) == ["Load scans", "Cleanup", "Orientation"]


def test_a_changed_setting_begins_at_the_first_step_that_depends_on_it(sheet: Path, capsys: Any) -> None:
    assert run_loud(sheet) == 0
    capsys.readouterr()
    assert run_loud(sheet, "--set", "orientation.front=30") == 0
    words = capsys.readouterr().out
    assert "Nothing before Orientation has changed" in words and steps_of(words) == ["Orientation"]
    assert run_loud(sheet, "--set", "orientation.height=84") == 0
    assert steps_of(capsys.readouterr().out)[0] == "Load scans", "the size tells intake that the unit no longer matters"


def test_what_was_edited_between_two_parts_of_a_job_reaches_the_steps_after_it(sheet: Path, capsys: Any) -> None:
    """All steps ran; then the .blend was edited and only the first steps ran again: the later ones must follow."""
    assert run_loud(sheet) == 0
    edited(sheet.parent / "out" / "owl.blend", move_clean)
    assert run_loud(sheet, until="cleanup") == 0
    capsys.readouterr()
    assert run_loud(sheet) == 0
    assert steps_of(capsys.readouterr().out) == ["Orientation"]


def test_a_run_that_was_stopped_goes_on_where_it_was_stopped(sheet: Path, capsys: Any, monkeypatch: Any) -> None:
    """A run that itself began later is stopped in its first step: the steps before that one still hold."""
    assert run_loud(sheet) == 0
    with monkeypatch.context() as stopped:
        stopped.setattr(Stopping, "check", stop_at_step("orientation"))
        assert run_loud(sheet, "--set", "orientation.front=30") == 130
    capsys.readouterr()
    assert run_loud(sheet, "--set", "orientation.front=30") == 0
    assert steps_of(capsys.readouterr().out) == ["Orientation"]


def stop_at_step(name: str) -> Callable[[Any], None]:
    """A `Stopping.check` that acts as if a signal came while the step `name` runs."""

    def check(self: Any) -> None:
        frame = inspect.currentframe()
        update = frame.f_back.f_locals.get("update") if frame and frame.f_back else None
        if update is not None and update.step.name == name:
            raise Stopped(130)

    return check


def test_a_run_that_failed_or_began_later_is_not_taken_for_a_whole_one(sheet: Path, capsys: Any) -> None:
    assert run_loud(sheet) == 0
    (sheet.parent / "knob.obj").rename(sheet.parent / "away.obj")
    assert run_loud(sheet) == 1
    (sheet.parent / "away.obj").rename(sheet.parent / "knob.obj")
    capsys.readouterr()
    assert run_loud(sheet) == 0
    words = capsys.readouterr().out
    assert "Nothing has changed" not in words, "the run between may have left anything"
