"""Is a step up to date, or out of date because something changed? In words for a line on screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from .runner import Stage, stale, stamp
from .settings import label_of, plain, specs
from .sheet import JobSheet
from .step import Step, upstream

SEVERAL = 2
"""Most changed settings that are named; more are counted."""


def why_out_of_date(
    steps: Sequence[Step], sheet: JobSheet, stage: Stage, results: Mapping[str, Mapping[str, Any]]
) -> dict[str, str]:
    """The steps that ran and are out of date, name to reason: 'Height changed', 'Orientation changed'.

    results: what each step kept when it ran; with the settings of then under "settings" where it has them.
    """
    late = stale(steps, sheet, stage)
    own = {step.name: _changed(step, sheet, results.get(step.name, {}).get("settings")) for step in steps if step.name in late}
    reasons: dict[str, str] = {}
    for step in (step for step in steps if step.name in late):
        causes = [other for other in _all_upstream(step, steps) if own.get(other.name)]
        if own[step.name]:
            reasons[step.name] = own[step.name]
        elif causes:
            reasons[step.name] = f"{causes[-1].label} changed"
        else:
            reasons[step.name] = "an earlier step ran again"
    return reasons


def first_out_of_date(
    steps: Sequence[Step], sheet: JobSheet, stage: Stage, results: Mapping[str, Mapping[str, object]]
) -> str | None:
    """The first step that has not run with the settings of now, its own and those that it reads; None where all have.

    results: as for `why_out_of_date`.
    """
    for step in steps:
        if stage.stamp(step.name) != stamp(step, sheet, steps, stage) or any(
            _differs(place, sheet, results) for place in step.reads
        ):
            return step.name
    return None


def _differs(place: str, sheet: JobSheet, results: Mapping[str, Mapping[str, object]]) -> bool:
    """Whether a setting, named `step.field`, is not as it was when its step last ran."""
    step, field = place.split(".")
    then = results.get(step, {}).get("settings")
    return isinstance(then, Mapping) and then.get(field) != plain(sheet[step])[field]


def _changed(step: Step, sheet: JobSheet, then: Mapping[str, Any] | None) -> str:
    """Which of a step's own settings differ from those of its last run, in words; '' where none does or that is not known."""
    if then is None:
        return ""
    now, fields = plain(sheet[step.name]), specs(step.settings)
    names = [label_of(name, fields[name]) for name in fields if name in then and then[name] != now[name]]
    if len(names) > SEVERAL:
        return f"{len(names)} settings changed"
    return f"{' and '.join(names)} changed" if names else ""


def _all_upstream(step: Step, steps: Sequence[Step]) -> list[Step]:
    """The steps that it depends on, directly or through others, in their order."""
    found: set[str] = set()
    waiting = [step]
    while waiting:
        for other in upstream(waiting.pop(), steps):
            if other.name not in found:
                found.add(other.name)
                waiting.append(other)
    return [other for other in steps if other.name in found]
