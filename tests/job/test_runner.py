"""The runner: order by roles, all or nothing a step, stale marks; with a stage of dictionaries."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from blender_addon.job.errors import SheetError, SubjectError
from blender_addon.job.notes import Notes, several
from blender_addon.job.runner import chosen, finish, run_job, stale
from blender_addon.job.settings import number
from blender_addon.job.sheet import blank
from blender_addon.job.status import first_out_of_date
from blender_addon.job.step import Progress, Result, Step, ordered


@dataclass
class FakeStage:
    notes: Notes = field(default_factory=Notes)
    held: set = field(default_factory=set)
    stamps: dict = field(default_factory=dict)
    discarded: list = field(default_factory=list)
    decided: dict = field(default_factory=dict)
    step: Step | None = None

    def begin(self, step, *, afresh):
        self.step = step

    def swap(self):
        self.held |= set(self.step.makes)

    def discard(self):
        self.discarded.append(self.step.name)

    def has(self, role):
        return role in self.held

    def stamp(self, step):
        return self.stamps.get(step, "")

    def set_stamp(self, step, stamp):
        self.stamps[step] = stamp

    def keep_result(self, step, words, figures, decisions=()):
        self.decided[step] = decisions


@dataclass(kw_only=True)
class Own:
    much: float = number(1.0, low=0.0, high=10.0, help="much")


def _run(stage, settings):
    yield Progress(0.5, "half way")
    if settings.much == 9.0:
        raise SubjectError("no")
    return Result("done", {"much": settings.much})


def _step(name, folder, needs=(), uses=(), makes=()):
    return Step(name, folder, name.title(), "", Own, needs, uses, makes, _run)


STEPS = ordered([
    _step("late", "dressing", needs=("b",), makes=("c",)),
    _step("middle", "scan", needs=("a",), makes=("b",)),
    _step("aside", "shots", needs=("a",), uses=("b",), makes=("d",)),
    _step("early", "scan", makes=("a",)),
])  # fmt: skip


def test_order_follows_roles_then_folders():
    assert [step.name for step in STEPS] == ["early", "middle", "aside", "late"]


def test_a_circle_and_a_second_maker_are_refused():
    with pytest.raises(ValueError, match="circle"):
        ordered([_step("x", "scan", needs=("b",), makes=("a",)), _step("y", "scan", needs=("a",), makes=("b",))])
    with pytest.raises(ValueError, match="is made by"):
        ordered([_step("x", "scan", makes=("a",)), _step("y", "scan", makes=("a",))])


def test_a_run_makes_all_and_reports_figures():
    stage, sheet = FakeStage(), blank(STEPS, folder=Path("/jobs"))
    report = finish(run_job(STEPS, STEPS, sheet, stage))
    assert stage.held == {"a", "b", "c", "d"}
    assert report.figures()["late"]["much"] == 1.0
    assert not stage.discarded and not stale(STEPS, sheet, stage)


def test_an_error_discards_that_step_and_keeps_the_earlier_ones():
    stage, sheet = FakeStage(), blank(STEPS)
    sheet["middle"].much = 9.0
    with pytest.raises(SubjectError):
        finish(run_job(STEPS, STEPS, sheet, stage))
    assert stage.held == {"a"} and stage.discarded == ["middle"]


def test_closing_the_run_discards_the_step_in_work():
    stage = FakeStage()
    run = run_job(STEPS, STEPS, blank(STEPS), stage)
    next(run)
    run.close()
    assert stage.discarded == ["early"] and not stage.held


def test_a_changed_setting_makes_it_and_what_follows_stale():
    stage, sheet = FakeStage(), blank(STEPS)
    finish(run_job(STEPS, STEPS, sheet, stage))
    sheet["middle"].much = 2.0
    assert stale(STEPS, sheet, stage) == ("middle", "aside", "late")


def test_a_step_without_what_it_needs_says_which_to_run_first():
    with pytest.raises(SubjectError, match='needs the result of Middle: run "Middle" first'):
        finish(run_job(chosen(STEPS, first="late"), STEPS, blank(STEPS), FakeStage()))


def test_parts_are_chosen_by_name():
    assert [step.name for step in chosen(STEPS, first="middle", last="aside")] == ["middle", "aside"]
    with pytest.raises(SheetError, match='did you mean "middle"'):
        chosen(STEPS, first="midle")
    with pytest.raises(SheetError, match="comes after"):
        chosen(STEPS, first="late", last="early")


def test_the_first_step_out_of_date_counts_what_it_reads_of_later_ones():
    reading = [replace(step, reads=("late.much",)) if step.name == "middle" else step for step in STEPS]
    stage, sheet = FakeStage(), blank(reading)
    assert first_out_of_date(reading, sheet, stage, {}) == "early", "nothing has run"
    finish(run_job(reading, reading, sheet, stage))
    results = {step.name: {"settings": {"much": 1.0}} for step in reading}
    assert first_out_of_date(reading, sheet, stage, results) is None
    sheet["late"].much = 2.0
    assert first_out_of_date(reading, sheet, stage, results) == "middle"
    assert first_out_of_date(STEPS, sheet, stage, results) == "late"


def test_the_time_left_counts_the_steps_that_follow():
    def telling(stage, settings):
        yield Progress(0.0, "telling", left=40.0)
        return Result("done")

    steps = [replace(step, cost_by=lambda settings: 10.0 * settings.much) for step in STEPS]
    steps[0] = replace(steps[0], run=telling)
    sheet = blank(steps)
    sheet["late"].much = 3.0
    first = next(run_job(steps, steps, sheet, FakeStage()))
    assert first.left == pytest.approx(40.0 + 10.0 + 10.0 + 30.0)


@pytest.mark.parametrize(
    ("count", "words"), [(0, "0 frames of the turn"), (1, "1 frame of the turn"), (2, "2 frames of the turn")]
)
def test_one_of_a_thing_has_no_s(count, words):
    assert several(count, "frame of the turn") == words


def test_a_step_that_runs_twice_says_what_it_found_at_the_end():
    stage, said = FakeStage(), iter(("rough", "fine"))

    def work(stage, settings):
        yield Progress(0.5, "half way")
        words = next(said)
        stage.notes.add("twice", words)
        return Result(words)

    step = Step("twice", "scan", "Twice", "help", Own, (), (), ("it",), work)
    report = finish(run_job([step, step], [step], blank([step]), stage))
    assert report.results["twice"].words == "fine"
    assert [note.words for note in stage.notes] == ["fine"]
