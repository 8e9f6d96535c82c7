"""A folder of scans is read as its maker means it, and what is wrong is said of the piece that it is wrong with."""

from __future__ import annotations

from pathlib import Path

import pytest

from blender_addon.job.errors import InputError
from blender_addon.job.pages.series import Card, makers_series_page, series_page
from blender_addon.job.series import pieces_in
from blender_addon.job.settings import choice, length, text
from blender_addon.job.step import Step


def _step(name: str, **fields: object) -> Step:
    from dataclasses import make_dataclass

    kinds = {key: type(value.default) for key, value in fields.items()}  # type: ignore[attr-defined]
    settings = make_dataclass("Settings", [(key, kinds[key], value) for key, value in fields.items()], kw_only=True)
    return Step(name, "scan", name, name, settings, (), (), (), lambda stage, chosen: iter(()))  # type: ignore[arg-type]


STEPS = (
    _step("orientation", height=length(80.0, low=1.0, high=500.0, help="height"), side=text("", help="side")),
    _step("export", title=text("", help="title"), side=text("", help="side")),
    _step("material", piece=choice("clay", [("clay", "Clay", ""), ("wood", "Wood", "")], help="material")),
)


@pytest.fixture
def scans(tmp_path: Path) -> Path:
    for place in (
        "owl.obj",
        "fox.GLB",
        ".hidden.obj",
        "notes.txt",
        "hen/scan.ply",
        "hen/bare stand.ply",
        "two/a.obj",
        "two/b.obj",
    ):
        (tmp_path / place).parent.mkdir(exist_ok=True)
        (tmp_path / place).write_bytes(b"")
    (tmp_path / "textures").mkdir()
    return tmp_path


def _by_name(scans: Path) -> dict:
    return {piece.name: piece for piece in pieces_in(scans, STEPS)}


def test_files_and_folders_are_pieces(scans: Path) -> None:
    found = _by_name(scans)
    assert list(found) == ["fox", "hen", "owl", "two"], "in the order of their names, no hidden file, no folder without a scan"
    assert [path.name for path in found["hen"].scans] == ["scan.ply", "bare stand.ply"], "the piece first, then its bare stand"
    assert "holds a.obj, b.obj" in found["two"].problem and not found["owl"].problem


@pytest.mark.parametrize(
    "table",
    [
        "piece,height,export.title\nowl,60.5,The owl\nhen,,A hen\n",
        "\ufeffpiece;height;export.title\r\nowl;60,5;The owl\r\nhen;;A hen\r\n",
    ],
)
def test_the_table_says_what_differs_in_every_spreadsheets_way(scans: Path, table: str) -> None:
    (scans / "pieces.csv").write_text(table, encoding="utf-8", newline="")
    found = _by_name(scans)
    assert found["owl"].sets == ("orientation.height=60.5", "export.title=The owl")
    assert found["hen"].sets == ("export.title=A hen",) and found["fox"].sets == ()


def test_a_wrong_cell_is_the_problem_of_its_piece_alone(scans: Path) -> None:
    (scans / "pieces.csv").write_text("piece,height\nowl,tall\nfox,50\n", encoding="utf-8")
    found = _by_name(scans)
    assert "height" in found["owl"].problem and "pieces.csv" in found["owl"].problem
    assert not found["fox"].problem and found["fox"].sets == ("orientation.height=50",)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("name,height\nowl,3\n", 'one must be "piece"'),
        ("piece,height\nowls,3\n", r'did you mean "owl"'),
        ("piece,height\nowl,3\nowl,4\n", "stands there twice"),
        ("piece,height\nowl,3,4\n", "more cells"),
    ],
)
def test_a_table_that_cannot_be_meant_is_refused(scans: Path, table: str, words: str) -> None:
    (scans / "pieces.csv").write_text(table, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        pieces_in(scans, STEPS)


def test_a_column_that_two_steps_have_is_asked_about(scans: Path) -> None:
    (scans / "pieces.csv").write_text("piece,side\nowl,left\n", encoding="utf-8")
    assert "orientation.side or export.side" in _by_name(scans)["owl"].problem


def test_two_pieces_of_one_name_never_share_a_folder(scans: Path) -> None:
    (scans / "owl.stl").write_bytes(b"")
    found = _by_name(scans)
    assert not found["owl"].problem and "two pieces are called" in found["owl_2"].problem


def test_an_empty_folder_is_reported(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no scan"):
        pieces_in(tmp_path, STEPS)
    with pytest.raises(InputError, match="can't be read"):
        pieces_in(tmp_path / "nowhere", STEPS)


def test_the_clients_page_shows_what_is_there_and_the_makers_says_what_is_not() -> None:
    cards = [
        Card("owl", "The owl & co", "68 mm", "owl/page/hero.jpg", "The owl", ["look at <this>"]),
        Card("fox", "fox", failed="fox.obj has no faces"),
        Card("a b", "Hen", picture="a b/pictures/hero.png"),
    ]
    client, maker = series_page("Spring", "Åsa & Co", cards, ("", "© 2026 Åsa")), makers_series_page("Spring", cards)
    assert "The owl &amp; co" in client and 'href="a%20b/index.html"' in client and "fox" not in client
    assert "Åsa &amp; Co, 2 pieces" in client and "© 2026 Åsa<br>" in client
    assert "rendered" in client.lower() and "look at" not in client
    assert maker.index("fox.obj has no faces") < maker.index("look at &lt;this&gt;") < maker.index("Nothing to check")
    assert "3 pieces, 2 made, 1 failed, 1 to check" in maker
