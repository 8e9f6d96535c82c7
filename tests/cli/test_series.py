"""A folder of scans as one series: a piece that fails stops no other, what is finished is not made again, stop means stop.

The processes of the pieces are stood in for by a few lines that do as the scan's first word says, and leave what a run leaves.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from pathlib import Path

import pytest

from blender_addon.cli import main, series

PIECE = """
import json, os, signal, sys, time
from pathlib import Path
words = sys.argv[1:]
said = {word: words[place + 1] for place, word in enumerate(words[:-1]) if word.startswith("--")}
out, name = Path(said["--out"]), said["--name"]
with open(out.parent.parent / "runs.txt", "a") as runs:
    runs.write(json.dumps([name, said.get("--place"), [words[n + 1] for n, w in enumerate(words) if w == "--set"]]) + "\\n")
what = Path(said["--scan"]).read_text().split()[0]
if what == "broken":
    print("bozzetto: The scan holds no face: scan it again", file=sys.stderr)
    sys.exit(1)
if what == "crash":
    print("loading")
    os.kill(os.getpid(), signal.SIGKILL)
print("Render: hero", flush=True)
if what == "long":
    (out.parent.parent / "pid.txt").write_text(str(os.getpid()))
    time.sleep(120)
(out / "pictures").mkdir(parents=True, exist_ok=True)
(out / "pictures" / "hero.png").write_bytes(b"picture")
(out / f"{name}.blend").write_bytes(b"scene")
(out / "summary.json").write_text(json.dumps({
    "cover": "pictures/hero.png", "title": name.title(), "line": "42 mm", "alt": "seen from the front",
    "check": ["Which side is the front?"]}))
(out / "figures.json").write_text(json.dumps({"lighting": {"offset_stops": 1.4567 if name == "cat" else 0.5}}))
files = {place: {"sha256": ["0"]} for place in ("pictures/hero.png", f"{name}.blend", "summary.json")}
(out / ".made.json").write_text(json.dumps({"bozzetto": 1, "files": files}))
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A look, a folder of four scans of which two can't be used, and a height in the table."""
    (tmp_path / "piece.py").write_text(PIECE, encoding="utf-8")
    (tmp_path / "look.toml").write_text("bozzetto = 1\n[material]\npiece = 'bronze'\n", encoding="utf-8")
    scans = tmp_path / "scans"
    scans.mkdir()
    for name, what in (("cat", "good"), ("dog", "broken"), ("eel", "crash"), ("fox", "good")):
        (scans / f"{name}.obj").write_text(f"{what}\n", encoding="utf-8")
    (scans / "pieces.csv").write_text("piece,height\nfox,42\n", encoding="utf-8")
    monkeypatch.setattr(series, "own_command", lambda: [sys.executable, str(tmp_path / "piece.py")])
    return tmp_path


def run_series(folder: Path, *more: str) -> int:
    return main(["series", str(folder / "look.toml"), str(folder / "scans"), "--out", str(folder / "out"), *more])


HELD = "lighting.series_offset=1.46"
"""The exposure that the first piece is given here, as the others are told it."""


def runs(folder: Path) -> list[list]:
    """What was run since the last look: name, place, settings of each."""
    path = folder / "runs.txt"
    rows = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []
    path.unlink(missing_ok=True)
    return rows


def test_a_piece_that_fails_stops_no_other_and_is_said_by_name(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run_series(folder, "--set", "render.size=300") == 1
    own = ["render.size=300"]
    assert runs(folder) == [
        ["cat", "1", own], ["dog", "2", [*own, HELD]], ["eel", "3", [*own, HELD]],
        ["fox", "4", [*own, HELD, "orientation.height=42"]],
    ]  # fmt: skip
    said = capsys.readouterr().out
    assert "dog: FAILED: The scan holds no face: scan it again" in said
    assert "eel: FAILED: its process was ended by signal 9; its last words: loading" in said
    assert "2 made" in said and "log.txt" in said and "to check cat: 1" in said
    client, maker = ((folder / "out" / name).read_text(encoding="utf-8") for name in ("index.html", "maker.html"))
    assert "Cat" in client and "cat/pictures/hero.png" in client and "dog" not in client
    assert "no face" in maker and "Which side is the front?" in maker
    table = json.loads((folder / "out" / "summary.json").read_text(encoding="utf-8"))
    assert [name for name, row in table.items() if row["failed"]] == ["dog", "eel"]


def test_only_what_failed_or_has_changed_is_made_again(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run_series(folder)
    runs(folder)
    run_series(folder)
    assert [row[0] for row in runs(folder)] == ["dog", "eel"]
    assert "cat: there already, and nothing has changed" in capsys.readouterr().out
    (folder / "scans" / "dog.obj").write_text("good\n", encoding="utf-8")
    (folder / "scans" / "eel.obj").write_text("good\n", encoding="utf-8")
    assert run_series(folder) == 0 and [row[0] for row in runs(folder)] == ["dog", "eel"]
    assert run_series(folder) == 0 and runs(folder) == []
    (folder / "out" / "fox" / "pictures" / "hero.png").unlink()
    assert run_series(folder) == 0 and [row[0] for row in runs(folder)] == ["fox"]
    (folder / "out" / "cat" / "cat.blend").write_bytes(b"changed by hand")
    assert run_series(folder) == 0 and [row[0] for row in runs(folder)] == ["cat"]
    (folder / "scans" / "pieces.csv").write_text("piece,height\nfox,43\n", encoding="utf-8")
    assert run_series(folder) == 0 and runs(folder) == [["fox", "4", [HELD, "orientation.height=43"]]]
    (folder / "out" / "eel" / "summary.json").write_text("[" * 100_000, encoding="utf-8")
    assert run_series(folder) == 0 and [row[0] for row in runs(folder)] == ["eel"]
    assert run_series(folder, "--afresh") == 0 and len(runs(folder)) == 4


def test_quiet_says_how_it_ended_and_no_more(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run_series(folder, "--quiet", "--title", "Summer")
    lines = capsys.readouterr().out.splitlines()
    assert not [line for line in lines if "begins" in line or "made in" in line]
    assert any(line.startswith("Done in ") for line in lines)
    assert "<h1>Summer</h1>" in (folder / "out" / "index.html").read_text(encoding="utf-8")


def test_a_look_that_cannot_be_used_fails_once_and_before_anything_runs(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "look.toml").write_text("bozzetto = 1\n[material]\npiece = 'cheese'\n", encoding="utf-8")
    assert run_series(folder) == 1
    assert capsys.readouterr().err.count("cheese") == 1 and runs(folder) == [] and not (folder / "out").exists()


def test_a_signal_ends_the_piece_that_runs_and_begins_no_other(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "scans" / "dog.obj").write_text("long\n", encoding="utf-8")

    def interrupt() -> None:
        while not (folder / "pid.txt").is_file() or not (folder / "pid.txt").read_text():
            time.sleep(0.02)
        os.kill(os.getpid(), signal.SIGINT)

    waiting = threading.Thread(target=interrupt, daemon=True)
    waiting.start()
    start = time.monotonic()
    assert run_series(folder) == 130
    assert time.monotonic() - start < 110.0
    assert [row[0] for row in runs(folder)] == ["cat", "dog"]
    with pytest.raises(ProcessLookupError):
        os.kill(int((folder / "pid.txt").read_text()), 0)
    assert "what was finished before stays" in capsys.readouterr().err
    assert (folder / "out" / "cat" / "pictures" / "hero.png").is_file()


def held(folder: Path) -> dict[str, list[str]]:
    """Which pieces were run with which exposure of the series."""
    return {name: [word for word in sets if "series_offset" in word] for name, _, sets in runs(folder)}


def test_pieces_share_the_exposure_that_the_first_was_given(folder: Path) -> None:
    """Pieces of one material then look alike; the first that can be run gives it, and new ones of next week get the same."""
    run_series(folder)
    assert held(folder) == {"cat": [], "dog": [HELD], "eel": [HELD], "fox": [HELD]}
    (folder / "scans" / "ant.obj").write_text("good\n", encoding="utf-8")
    run_series(folder)
    after = held(folder)
    assert after["ant"] == [HELD] and "cat" not in after and "fox" not in after
    run_series(folder, "--afresh")
    assert held(folder)["ant"] == []


@pytest.mark.parametrize("words", ["exposure = 1.0", "offset = 0.5", "series_offset = 0.7"])
def test_an_exposure_that_is_set_by_hand_is_not_shared(folder: Path, words: str) -> None:
    (folder / "look.toml").write_text(f"bozzetto = 1\n[lighting]\n{words}\n", encoding="utf-8")
    run_series(folder)
    assert all(not found for found in held(folder).values())
