"""What did the tool decide by itself, how sure is it, and what else could it have been? One type for every decision.

A step returns its decisions with its `Result`. The page of a run, the terminal and the window's "To check" list show the same
ones. An answer is written as ordinary settings, so that only the steps that depend on it run again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import field
from typing import Any

from ..core.arrays import Pixels8
from ..core.records import record
from .errors import SheetError

ASK_BELOW = 0.8
"""Confidence under which a decision is asked about. A confidence is meant as the chance of being right, so that of the
decisions just above it one in five may be wrong; `bench decisions` prints how often that is so."""
ASK_BELOW_OF = {"front": 0.69}
"""The same for decisions of some keys. At this confidence four of five fronts are right, which is what `ASK_BELOW` means: a
logistic fit of what was right to its log odds over 46 forms, each of which counts once (13 labelled scans, 13 made-up figures
and 20 sets of the smooth animals of `truth/pieces/animals.py`, as exported and turned), gives 0.69. Drawn again from the forms,
nine fits in ten lie between 0.54 and 0.78, and no fit predicts a form that was left out better than the confidence as it is,
which is why that is not recalibrated. No single scan decides it: the nearest wrong front of a scan comes out at 0.669."""

Picture = Pixels8
"""(height, width, 3) display-encoded sRGB, row 0 on top."""


@record
class Alternative:
    """One way to decide.

    words: what it would mean, as the end of "It could be ..." ('standing on its broad side').
    sets: the settings that would choose it, as on the sheet ({"orientation.up": "y"}); empty where it can't be set.
    picture: how it would look, or None.
    """

    words: str
    sets: Mapping[str, Any] = field(default_factory=dict)
    picture: Picture | None = None

    def lines(self) -> tuple[str, ...]:
        """The lines of the job sheet that would choose it, table by table: '[orientation] up = "y"'."""
        return tuple(f"[{name.split('.')[0]}] {name.split('.', 1)[1]} = {_toml(value)}" for name, value in self.sets.items())


@record
class Decision:
    """What was chosen, what speaks for it, how sure it is, and what else it could be.

    key: what is decided ('up', 'front', 'stand', ...), one a step and key.
    question: as a person would ask it ('Which way is up?').
    choice: what was taken. Where the decision is not sure this is the safe choice, which need not be the likeliest.
    confidence: the chance, 0 to 1, that it is right.
    evidence: what speaks for it and against it, in words.
    alternatives: the other ways, the likeliest first.
    by_hand: whether a setting says so; it is then never asked.
    """

    key: str
    question: str
    choice: Alternative
    confidence: float
    evidence: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    by_hand: bool = False

    def __post_init__(self) -> None:
        if not 0.0 <= self.confidence <= 1.0:
            raise ValueError(f"confidence must lie between 0 and 1, not {self.confidence}")

    @property
    def asked(self) -> bool:
        """Whether the user is asked about it."""
        return not self.by_hand and self.confidence < ASK_BELOW_OF.get(self.key, ASK_BELOW)

    def sentence(self) -> str:
        """The decision in words for the terminal: what was taken and why, and the question where it is not sure."""
        reasons = f" ({'; '.join(self.evidence)})" if self.evidence else ""
        said = f"{self.choice.words}{reasons}"
        if not self.asked:
            return said
        others = [f"{other.words}: {', '.join(other.lines())}" for other in self.alternatives if other.sets]
        return f"{self.question} Not sure: {said}." + (f" Otherwise {' or '.join(others)}." if others else "")

    def as_plain(self) -> dict[str, Any]:
        """The decision without its pictures, as JSON holds it; `from_plain` reads it."""
        return {
            "key": self.key,
            "question": self.question,
            "choice": _plain(self.choice),
            "confidence": round(float(self.confidence), 4),
            "evidence": list(self.evidence),
            "alternatives": [_plain(other) for other in self.alternatives],
            "by_hand": self.by_hand,
            "asked": self.asked,
        }


def from_plain(table: Mapping[str, Any]) -> Decision:
    """The decision that `as_plain` wrote, without pictures. Raises SheetError for any other table."""
    try:
        return Decision(
            key=str(table["key"]),
            question=str(table["question"]),
            choice=_alternative(table["choice"]),
            confidence=float(table["confidence"]),
            evidence=tuple(str(words) for words in table.get("evidence", ())),
            alternatives=tuple(_alternative(other) for other in table.get("alternatives", ())),
            by_hand=bool(table.get("by_hand", False)),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise SheetError(f"A kept decision can't be read ({error}): run its step again") from None


@record
class Question:
    """A kept decision with the step that took it and the names of its pictures: the choice's first, '' where there is none."""

    step: str
    decision: Decision
    pictures: tuple[str, ...]

    @property
    def place(self) -> str:
        """Its name among all decisions of a job: 'orientation.up'."""
        return f"{self.step}.{self.decision.key}"

    def ways(self) -> list[tuple[Alternative, str]]:
        """What was chosen and then the alternatives, each with the name of its picture."""
        return list(zip((self.decision.choice, *self.decision.alternatives), self.pictures, strict=True))


def picture_names(step: str, decision: Decision) -> tuple[str, ...]:
    """File names of the pictures of choice and alternatives, 'orientation-up-0.png' and so on; '' for one without."""
    ways = (decision.choice, *decision.alternatives)
    return tuple(f"{step}-{decision.key}-{number}.png" if way.picture is not None else "" for number, way in enumerate(ways))


def as_kept(step: str, decision: Decision) -> dict[str, Any]:
    """The decision as the scene's state and figures.json hold it: `as_plain` with the names of its pictures."""
    return decision.as_plain() | {"pictures": list(picture_names(step, decision))}


def questions_in(step: str, kept: Iterable[Mapping[str, Any]]) -> list[Question]:
    """The decisions that `as_kept` wrote. Raises SheetError where one can't be read."""
    found = []
    for table in kept:
        decision = from_plain(table)
        names = [str(name) for name in table.get("pictures", ())]
        ways = 1 + len(decision.alternatives)
        found.append(Question(step, decision, tuple((names + [""] * ways)[:ways])))
    return found


def is_answered(question: Question, settings: Callable[[str], object], accepted: Mapping[str, str]) -> bool:
    """Whether a question has been answered.

    settings: the value of a setting by 'step.field'. accepted: choices that have no setting of their own and that the user
    said are right, by the question's place.
    """
    decision = question.decision
    if not decision.asked or accepted.get(question.place) == decision.choice.words:
        return True
    ways = (decision.choice, *decision.alternatives)
    return any(way.sets and all(_same(settings(name), value) for name, value in way.sets.items()) for way in ways)


def _same(held: object, wanted: object) -> bool:
    """Whether a setting holds a value; lists and tuples alike, numbers to the precision of the screen."""
    if isinstance(held, (list, tuple)) and isinstance(wanted, (list, tuple)):
        return len(held) == len(wanted) and all(_same(entry, other) for entry, other in zip(held, wanted, strict=True))
    if isinstance(wanted, Mapping):  # a row of a table; what it leaves out does not matter
        row = held if isinstance(held, Mapping) else vars(held) if hasattr(held, "__dict__") else {}
        return all(_same(row.get(name), value) for name, value in wanted.items())
    if isinstance(held, (int, float)) and isinstance(wanted, (int, float)) and not isinstance(wanted, bool):
        return math.isclose(held, wanted, rel_tol=1e-4, abs_tol=1e-6)
    return bool(held == wanted)


def _plain(alternative: Alternative) -> dict[str, Any]:
    return {"words": alternative.words, "sets": dict(alternative.sets)}


def _alternative(table: Mapping[str, Any]) -> Alternative:
    return Alternative(str(table["words"]), dict(table.get("sets", {})))


def _toml(value: object) -> str:
    """A setting's value as a job sheet writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(part)}" for key, part in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(part) for part in value) + "]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{name} = {_toml(part)}" for name, part in value.items()) + "}"
    return f"{value:g}" if isinstance(value, float) else str(value)
