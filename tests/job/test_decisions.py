"""Decisions: carried by the runner, kept as plain tables, asked in words, on the page, and answered through settings."""

from __future__ import annotations

import json
from dataclasses import dataclass
from html.parser import HTMLParser

import numpy as np
import pytest

from blender_addon.job.decisions import (
    Alternative,
    Decision,
    as_kept,
    is_answered,
    picture_names,
    questions_in,
)
from blender_addon.job.errors import SheetError
from blender_addon.job.pages.page import MakersPage, makers_page
from blender_addon.job.runner import finish, run_job
from blender_addon.job.settings import choice, number, table, text
from blender_addon.job.sheet import answer, blank, parse
from blender_addon.job.step import Progress, Result, Step
from tests.job.test_runner import FakeStage

GREY = np.full((8, 8, 3), 128, np.uint8)


def up(confidence: float = 0.5, *, by_hand: bool = False) -> Decision:
    return Decision(
        "up",
        "Which way is up?",
        Alternative("standing on its base", {"stand.up": "z"}, GREY),
        confidence,
        ("the base is flat", "it leans < 2 degrees"),
        (Alternative("lying on its back", {"stand.up": "-y"}, GREY), Alternative("another way")),
        by_hand,
    )


@dataclass(kw_only=True)
class Row:
    scan: str = text("2", help="which")
    much: float = number(1.0, low=0.0, high=9.0, help="much")


@dataclass(kw_only=True)
class StandSettings:
    up: str | None = choice(None, (("z", "Z", ""), ("-y", "-Y", "")), help="up")
    rows: list[Row] = table(Row, help="rows")


def _run(stage, settings):
    yield Progress(0.5, "standing it up")
    return Result("it stands", {"height": 3.0}, (up(by_hand=settings.up is not None),))


STEPS = (Step("stand", "scan", "Stand", "", StandSettings, (), (), ("upright",), _run),)


def test_the_runner_hands_decisions_to_the_stage_and_into_the_figures(tmp_path):
    stage = FakeStage()
    stage.notes.log = tmp_path / "log.txt"
    report = finish(run_job(STEPS, STEPS, blank(STEPS), stage))
    assert stage.decided["stand"][0].key == "up"
    kept = json.loads(json.dumps(report.figures()))["stand"]["decisions"][0]
    assert kept["asked"] and kept["pictures"] == ["stand-up-0.png", "stand-up-1.png", ""]
    assert [(step, decision.key) for step, decision in report.asked()] == [("stand", "up")]
    assert "asked, up: Which way is up? Not sure" in stage.notes.log.read_text(encoding="utf-8")


def test_an_answer_is_a_setting_that_ends_the_question():
    sheet = blank(STEPS)
    (question,) = questions_in("stand", [as_kept("stand", up())])

    def held(place: str):
        return getattr(sheet[place.split(".")[0]], place.split(".")[1])

    assert not is_answered(question, held, {})
    answer(sheet, question.decision.alternatives[0].sets)
    assert sheet["stand"].up == "-y" and is_answered(question, held, {})
    report = finish(run_job(STEPS, STEPS, sheet, FakeStage()))
    assert report.results["stand"].decisions[0].by_hand and not report.asked()


def test_a_choice_without_a_setting_is_accepted_by_its_words():
    decision = Decision("front", "Where is the front?", Alternative("as it is"), 0.3)
    (question,) = questions_in("stand", [as_kept("stand", decision)])
    assert question.place == "stand.front"
    assert not is_answered(question, lambda name: None, {"stand.front": "turned round"})
    assert is_answered(question, lambda name: None, {"stand.front": "as it is"})


def test_an_answer_in_rows_is_written_and_found_again():
    sets = {"stand.rows": [{"scan": "3", "much": 2.0}]}
    sheet = blank(STEPS)
    answer(sheet, sets)
    assert (sheet["stand"].rows[0].scan, sheet["stand"].rows[0].much) == ("3", 2.0)
    decision = Decision("pose", "How does it lie?", Alternative("unused"), 0.2, (), (Alternative("so", sets),))
    (question,) = questions_in("stand", [as_kept("stand", decision)])
    assert is_answered(question, lambda place: getattr(sheet["stand"], place.split(".")[1]), {})
    (line,) = decision.alternatives[0].lines()
    head, _, body = line.partition("] ")
    again = parse(f"bozzetto = 1\n{head}]\n{body}\n", STEPS, name="x", folder=sheet.folder)
    assert (again["stand"].rows[0].scan, again["stand"].rows[0].much) == ("3", 2.0)


def test_an_answer_to_an_unknown_setting_is_refused():
    with pytest.raises(SheetError, match=r"stand\.down"):
        answer(blank(STEPS), {"stand.down": "z"})


def test_names_of_pictures_say_step_key_and_number():
    assert picture_names("stand", up()) == ("stand-up-0.png", "stand-up-1.png", "")


class Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.images, self.text = [], [], ""

    def handle_starttag(self, tag, attrs):
        if tag == "img":
            self.images.append(dict(attrs)["src"])
        if tag not in ("meta", "img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def test_the_page_shows_what_is_to_check_and_folds_away_the_rest():
    sure = Decision("unit", "What unit is it in?", Alternative("millimetres"), 0.97, ("80 mm long",))
    questions = questions_in("stand", [as_kept("stand", up()), as_kept("stand", sure)])
    page = makers_page(MakersPage("Owl", questions=questions))
    reader = Reader()
    reader.feed(page)
    assert reader.open == []
    assert reader.images == ["decisions/stand-up-0.png", "decisions/stand-up-1.png"]
    for words in ("Which way is up?", "it leans < 2 degrees", '[stand] up = "-y"', "Decided without asking (1)", "97 %"):
        assert words in reader.text
    assert "To check" not in makers_page(MakersPage("Owl", questions=questions_in("stand", [as_kept("stand", sure)])))
