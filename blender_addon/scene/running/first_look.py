"""A first look at the hero before the slow work on its surface: whoever waits in the window sees a picture soon.

The steps until the light run first on the bare scan, a small picture of the hero is tried, and then all is done as it is to be.
What lies about on the table is too small to be missed in it, and comes after it, too.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import replace

from ...job.errors import JobError
from ...job.runner import Report, Update
from ...job.step import Step
from ..stage import Stage

SMALL = frozenset({"debris"})
"""Roles of what is too small to be missed in the first picture."""


def with_a_look_first(run_steps: Sequence[Step]) -> tuple[Step, ...]:
    """The steps of a whole run, with those that a dressed and lit hero needs before the rest; what then changes runs again.

    As they are where there is nothing to gain: no light is made, or none of them can wait.
    """
    light = next((place for place, step in enumerate(run_steps) if "light" in step.makes), None)
    waiting = [place for place, step in enumerate(run_steps) if step.folder == "surface" and "surface" not in step.makes]
    if light is None or not waiting or waiting[0] > light:
        return tuple(run_steps)
    early = [step for place, step in enumerate(run_steps[: light + 1]) if place not in waiting and not SMALL & set(step.makes)]
    return (*early, *run_steps[waiting[0] :])


def looked_at(
    run: Generator[Update, None, Report], stage: Stage, look: Callable[[Stage], None]
) -> Generator[Update, None, Report]:
    """The run of such steps; `look` is called when the light is first there, and then the run goes on."""
    stage.first_look = True
    try:
        while True:
            try:
                update = next(run)
            except StopIteration as end:
                report: Report = end.value
                return report
            yield update
            if stage.first_look and update.ended and "light" in update.step.makes:
                for _ in range(2):  # the words are on screen before the render begins
                    yield replace(update, words="Rendering a first picture", blocking=True, ended=False)
                stage.first_look = False
                try:
                    look(stage)
                except JobError as error:  # a look is not part of the job: without it the run goes on
                    stage.note(f"There is no first picture: {error}")
    finally:
        stage.first_look = False
        run.close()
