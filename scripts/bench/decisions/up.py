"""Does each scan stand upright with its front to the camera, and was it asked about where it does not?

Also whether a stand was asked about, since a scan counts as asked with any of the three questions.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from .. import Options, Record
from .._processes import Part
from .scans import Outcome, Truth, cases_of, made_truths, outcomes, scan_truths

UPRIGHT_DEG, FRONT_DEG = 10.0, 35.0
SECONDS = 5.0
LIMITS = {
    "up_right_percent": ((">= 99", ">= 92"), (">= 90", ">= 75")),
    "up_wrong_unasked_percent": (("<= 0", "<= 3"), ("<= 1", "<= 6")),
    "front_right_percent": ((">= 95", ">= 80"), (">= 85", ">= 60")),
    "front_wrong_unasked_percent": (("<= 2", "<= 8"), ("<= 2", "<= 8")),
    "asked_percent": (("<= 10", "<= 20"), ("<= 25", "<= 40")),
}
"""Goal and floor of each rate: as exported or with the other up axis, and turned at random."""
BINS = (0.0, 0.5, 0.65, 0.8, 0.9, 0.97, 1.0 + 1e-9)
QUESTIONS = ("up", "front", "stand")


@dataclass(frozen=True)
class Verdict:
    """What came of one case: how far up and front are off in degrees (front None: none is labelled or up is wrong), the
    decisions by key with what each was sure of, and the processor seconds after intake."""

    up_off: float
    front_off: float | None
    confidence: dict[str, float]
    asked: frozenset[str]
    seconds: float

    @property
    def up_right(self) -> bool:
        return self.up_off <= UPRIGHT_DEG

    @property
    def front_right(self) -> bool:
        return self.front_off is not None and self.front_off <= FRONT_DEG


Found = list[tuple[str, str, Verdict]]
"""Group, name and verdict of cases."""


def parts(record: Record, options: Options) -> list[Part]:
    """A part for every scan and every made-up figure with the cases asked for."""
    truths = []
    try:
        truths += scan_truths()
    except FileNotFoundError as missing:
        record.fail(str(missing))
    truths += made_truths()
    return [Part("up", measured, (truth, options)) for truth in truths if cases_of(truth, options)]


def measured(truth: Truth, options: Options) -> Found:
    """Decide on one scan in all its poses."""
    return [(outcome.case.group, outcome.case.name, judged(outcome)) for outcome in outcomes(truth, options)]


def report(record: Record, found: list[Found]) -> None:
    """A row a case, then the rates of each group, then how well calibrated the confidences are."""
    groups: dict[str, list[Verdict]] = defaultdict(list)
    for group, name, verdict in sorted((entry for part in found for entry in part), key=lambda entry: entry[:2]):
        groups[group].append(verdict)
        _add_case(record, name, verdict)
    for group, verdicts in groups.items():
        add_group(record, group, verdicts)
    _add_reliability(record, [verdict for verdicts in groups.values() for verdict in verdicts])


def judged(outcome: Outcome) -> Verdict:
    """Compare a case with its truth."""
    truth = outcome.case.truth
    up_off = _degrees(outcome.in_upright(truth.up), np.array([0.0, 0.0, 1.0]))
    front_off = None
    if truth.front is not None and up_off <= UPRIGHT_DEG:
        seen = outcome.in_upright(truth.front)
        front_off = _degrees(np.array([seen[0], seen[1], 0.0]), np.array([0.0, -1.0, 0.0]))
    decisions = [
        decision for result in outcome.report.results.values() for decision in result.decisions if decision.key in QUESTIONS
    ]
    return Verdict(
        up_off,
        front_off,
        {decision.key: decision.confidence for decision in decisions},
        frozenset(decision.key for decision in decisions if decision.asked),
        outcome.seconds,
    )


def _degrees(first: Any, second: Any) -> float:
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(first, second)), first @ second)))


def _add_case(record: Record, name: str, verdict: Verdict) -> None:
    record.add("case_up_off_deg", verdict.up_off, case=name, unit="deg")
    record.add("case_up_confidence", verdict.confidence.get("up", 1.0), case=name)
    if verdict.front_off is not None:
        record.add("case_front_off_deg", verdict.front_off, case=name, unit="deg")
    record.add("case_front_confidence", verdict.confidence.get("front", 1.0), case=name)
    for key in sorted(verdict.asked):
        record.add(f"case_{key}_asked", 1.0, case=name)
    record.add("case_seconds", verdict.seconds, case=name, unit="s")


def add_group(record: Record, group: str, verdicts: list[Verdict]) -> None:
    """The rates of one group, in percent of its cases; beside what is wrong and was not asked about, what the confidences
    themselves would let through."""
    turned = group.endswith("turned")
    fronts = [verdict for verdict in verdicts if verdict.front_off is not None]
    rates = {
        "up_right_percent": _percent([verdict.up_right for verdict in verdicts]),
        "up_wrong_unasked_percent": _percent([not verdict.up_right and "up" not in verdict.asked for verdict in verdicts]),
        "front_right_percent": _percent([front.front_right for front in fronts]),
        "front_wrong_unasked_percent": _percent([not front.front_right and "front" not in front.asked for front in fronts]),
        "asked_percent": _percent([bool(verdict.asked) for verdict in verdicts]),
    }
    asked = {f"{key}_asked_percent": _percent([key in verdict.asked for verdict in verdicts]) for key in QUESTIONS}
    doubts = {"up_wrong_unasked_percent": _expected("up", verdicts), "front_wrong_unasked_percent": _expected("front", fronts)}
    for metric, value in rates.items():
        goal, floor = LIMITS[metric][turned]
        record.add(metric, value, case=group, unit="%", yardstick=doubts.get(metric), goal=goal, floor=floor)
    for metric, value in asked.items():
        record.add(metric, value, case=group, unit="%")
    slowest = max(verdict.seconds for verdict in verdicts)
    record.add("seconds", slowest, case=group, unit="s", goal=f"<= {SECONDS:g}", floor="<= 8")


def _expected(key: str, verdicts: list[Verdict]) -> float:
    """The percent of cases that would be wrong and not asked about if the confidences were exact."""
    doubts = [0.0 if key in verdict.asked else 1.0 - verdict.confidence.get(key, 1.0) for verdict in verdicts]
    return 100.0 * float(np.mean(doubts)) if doubts else float("nan")


def _percent(holds: list[bool]) -> float:
    return 100.0 * float(np.mean(holds)) if holds else float("nan")


def _add_reliability(record: Record, verdicts: list[Verdict]) -> None:
    """How often decisions of a confidence are right, beside the mean of that confidence: equal where it is calibrated."""
    for key in ("up", "front"):
        pairs = []
        for verdict in verdicts:
            if key not in verdict.confidence or (key == "front" and verdict.front_off is None):
                continue
            pairs.append((verdict.confidence[key], verdict.up_right if key == "up" else verdict.front_right))
        for low, high in pairwise(BINS):
            inside = [pair for pair in pairs if low <= pair[0] < high]
            if inside:
                sure, right = np.array(inside, float).T
                case = f"{key}/{low:.2f}-{min(high, 1.0):.2f}/{len(inside)} cases"
                record.add("reliability_percent", 100.0 * right.mean(), case=case, unit="%", yardstick=100.0 * sure.mean())
