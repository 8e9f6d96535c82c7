"""How is a job run? Step after step, each built beside the old and swapped in when whole; here without Blender.

The runner knows a `Stage` (in `scene/stage.py`): where a step finds what it needs and puts what it makes.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Generator, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from ..core.generators import finish, passed_on
from ..core.records import record
from .decisions import Decision, as_kept
from .errors import JobError, SheetError, SubjectError
from .notes import Notes
from .settings import nearest, plain
from .sheet import JobSheet
from .step import Progress, Result, Step, current_name, upstream


class Stage(Protocol):
    """What the runner asks of the place where steps work."""

    notes: Notes

    def begin(self, step: Step, *, afresh: bool) -> None: ...
    def swap(self) -> None: ...
    def discard(self) -> None: ...
    def has(self, role: str) -> bool: ...
    def stamp(self, step: str) -> str: ...
    def set_stamp(self, step: str, stamp: str) -> None: ...
    def keep_result(self, step: str, words: str, figures: dict[str, object], decisions: Sequence[Decision] = ()) -> None: ...


@record
class Update:
    """Where a run is: the step, its place among those that run, fraction of the whole 0 to 1, and words. `left`: seconds that
    the run will still take, None where the step can't tell. `stays`: its words should remain visible."""

    step: Step
    number: int
    count: int
    fraction: float
    words: str
    blocking: bool = False
    ended: bool = False
    left: float | None = None
    stays: bool = False


@dataclass
class Report:
    """What a run did: the result of each step, and the seconds that it took."""

    results: dict[str, Result] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)

    def figures(self) -> dict[str, dict[str, object]]:
        """One table a step, as kept in figures.json."""
        tables = {}
        for name, result in self.results.items():
            tables[name] = {**result.figures, "seconds": round(self.seconds[name], 3)}
            if result.decisions:
                tables[name]["decisions"] = [as_kept(name, decision) for decision in result.decisions]
        return tables

    def asked(self) -> list[tuple[str, Decision]]:
        """The decisions that are not sure, each with the name of its step."""
        return [(name, decision) for name, result in self.results.items() for decision in result.decisions if decision.asked]


def chosen(steps: Sequence[Step], *, first: str | None = None, last: str | None = None) -> tuple[Step, ...]:
    """The steps from `first` to `last`, both included."""
    names = [step.name for step in steps]
    first, last = (name and current_name(name) for name in (first, last))
    for name in (first, last):
        if name is not None and name not in names:
            raise SheetError(f'There is no step "{name}"{nearest(name, names)}; the steps are {", ".join(names)}')
    start = names.index(first) if first else 0
    end = names.index(last) + 1 if last else len(names)
    if start >= end:
        raise SheetError(f'"{first}" comes after "{last}", so there is nothing to run')
    return tuple(steps[start:end])


def stamp(step: Step, sheet: JobSheet, steps: Sequence[Step], stage: Stage) -> str:
    """A digest of the step's settings and of its upstream steps' stamps: if equal, nothing that it depends on has changed."""
    before = {other.name: stage.stamp(other.name) for other in upstream(step, steps)}
    content = json.dumps([step.name, plain(sheet[step.name]), before], sort_keys=True)
    return hashlib.sha256(content.encode()).hexdigest()[:16]


def stale(steps: Sequence[Step], sheet: JobSheet, stage: Stage) -> tuple[str, ...]:
    """The names of the steps that ran once and whose settings or upstream have changed since."""
    found: list[str] = []
    for step in steps:
        kept = stage.stamp(step.name)
        if kept and (kept != stamp(step, sheet, steps, stage) or any(other.name in found for other in upstream(step, steps))):
            found.append(step.name)
    return tuple(found)


def run_job(
    run_steps: Sequence[Step], steps: Sequence[Step], sheet: JobSheet, stage: Stage, *, afresh: bool = False
) -> Generator[Update, None, Report]:
    """Run `run_steps`, a part of all `steps`. Closing the generator discards the current step and keeps the earlier ones.

    A step may stand there twice, where a first look is wanted early; it then says again what it found.

    afresh: reset to automatic, also what the user has changed or deleted.
    """
    report = Report()
    count = len(run_steps)
    costs = [step.cost_with(sheet[step.name]) for step in run_steps]
    whole, before = sum(costs), 0.0
    began = time.perf_counter()
    for place, step in enumerate(run_steps):
        _require(step, steps, stage)
        started = time.perf_counter()
        pace = (started - began) / before if before else 1.0  # seconds for each that was reckoned with
        part = _Part(place, count, before / whole, costs[place] / whole, pace * sum(costs[place + 1 :]))
        if step.name in report.results:
            stage.notes.forget(step.name)
        stage.begin(step, afresh=afresh)
        try:
            result = yield from _drained(step, sheet[step.name], stage, part)
            stage.swap()
        except BaseException:
            stage.discard()
            raise
        stage.set_stamp(step.name, stamp(step, sheet, steps, stage))
        report.results[step.name] = result
        report.seconds[step.name] = time.perf_counter() - started
        stage.keep_result(step.name, result.words, result.figures, result.decisions)
        stage.notes.write(f"{step.name}: {result.words} ({report.seconds[step.name]:.1f} s)")
        for decision in result.decisions:
            stage.notes.write(f"{step.name}: {'asked, ' if decision.asked else ''}{decision.key}: {decision.sentence()}")
        before += costs[place]
        yield Update(step, place + 1, count, before / whole, result.words, ended=True)
    return report


@record
class _Part:
    """A step's part of a run: its place of how many, the share of the work that is done before it, its own share, and the
    seconds that the steps after it are expected to take."""

    place: int
    count: int
    before: float
    share: float
    after: float


def _drained(step: Step, settings: Any, stage: Stage, part: _Part) -> Generator[Update, None, Result]:
    def shown(progress: Progress) -> Update:
        fraction = part.before + part.share * min(max(progress.fraction, 0.0), 1.0)
        left = None if progress.left is None else progress.left + part.after
        return Update(
            step, part.place + 1, part.count, fraction, progress.words, progress.blocking, left=left, stays=progress.stays
        )

    return passed_on(step.run(stage, settings), shown)


def _require(step: Step, steps: Sequence[Step], stage: Stage) -> None:
    for role in step.needs:
        if not stage.has(role):
            maker = next((other.label for other in steps if role in other.makes), "an earlier step")
            raise SubjectError(f'{step.label} needs the result of {maker}: run "{maker}" first')


__all__ = ["JobError", "Report", "Stage", "Update", "chosen", "finish", "run_job", "stale", "stamp"]
