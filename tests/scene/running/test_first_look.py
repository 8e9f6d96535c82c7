"""A first look: which steps come first, when the hero is looked at, and that a stop or a failed look harms nothing."""

from __future__ import annotations

from collections.abc import Generator
from types import SimpleNamespace
from typing import Any

import pytest

from blender_addon.job.errors import SubjectError
from blender_addon.job.notes import Notes
from blender_addon.job.runner import Update, finish
from blender_addon.scene.running.first_look import looked_at, with_a_look_first
from blender_addon.steps import catalogue

STEPS = catalogue()


def _places(role: str, steps: Any) -> list[int]:
    return [place for place, step in enumerate(steps) if role in step.makes]


def test_what_the_light_needs_comes_first_and_all_of_the_job_follows_in_its_order() -> None:
    run = with_a_look_first(STEPS)
    lit = _places("light", run)
    assert len(lit) == 2
    assert _places("relief_height", run)[0] > lit[0]
    assert _places("albedo", run)[0] > lit[0]
    assert len(_places("debris", run)) == 1 and lit[0] < _places("debris", run)[0] < lit[1]
    assert _places("table", run)[0] < lit[0] and _places("prop", run)[0] < lit[0]  # but it is dressed
    done: set[str] = set()
    for step in run:  # nothing runs before what it needs
        assert set(step.needs) <= done, step.name
        done |= set(step.makes)
    last = [step for place, step in enumerate(run) if step not in run[place + 1 :]]
    assert last == list(STEPS)  # what is there at the end was made in the order of the job
    assert [step for step in run if step.folder == "scan"] == [step for step in STEPS if step.folder == "scan"]


@pytest.mark.parametrize("part", [STEPS[:5], [step for step in STEPS if step.folder in ("shots", "dressing", "delivery")]])
def test_a_part_without_work_that_can_wait_stays_as_it_is(part: Any) -> None:
    assert with_a_look_first(part) == tuple(part)


class _Stage(SimpleNamespace):
    def note(self, words: str) -> None:
        self.notes.add("job", words)


def _run(stage: Any, closed: list[bool]) -> Generator[Update, None, str]:
    light = next(step for step in STEPS if "light" in step.makes)
    try:
        for place in range(4):
            stage.seen.append((place, stage.first_look))
            yield Update(light, place, 4, place / 4, "set up", ended=place in (1, 3))
        return "report"
    finally:
        closed.append(True)


def _stage() -> Any:
    return _Stage(seen=[], notes=Notes(), first_look=False)


def test_the_hero_is_looked_at_once_when_its_light_is_there() -> None:
    stage, closed, looks = _stage(), [], []
    found = looked_at(_run(stage, closed), stage, lambda given: looks.append(given.first_look))
    updates = []
    while True:
        try:
            updates.append(next(found))
        except StopIteration as end:
            assert end.value == "report"
            break
    assert looks == [False]
    assert stage.seen == [(0, True), (1, True), (2, False), (3, False)]
    assert [update.blocking for update in updates] == [False, False, True, True, False, False]


def test_a_look_that_fails_is_said_and_the_run_goes_on() -> None:
    stage = _stage()

    def fails(given: Any) -> None:
        raise SubjectError("no room")

    assert finish(looked_at(_run(stage, []), stage, fails)) == "report"
    assert [note.words for note in stage.notes] == ["There is no first picture: no room"]


def test_a_stop_closes_the_run() -> None:
    stage, closed = _stage(), []
    found = looked_at(_run(stage, closed), stage, lambda given: None)
    next(found)
    found.close()
    assert closed == [True]
    assert not stage.first_look
