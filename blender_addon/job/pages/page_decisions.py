"""What does the page of a run say about the tool's decisions? Those to check with their pictures, the sure ones folded away."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from urllib.parse import quote

from ..decisions import Alternative, Question

STYLE = """
.ways { display: flex; flex-wrap: wrap; gap: 18px; margin: 10px 0 34px; }
.ways figure { width: 200px; margin: 0; }
.ways figure img { width: 200px; border: 1px solid var(--line); background: none; }
.ways figcaption { font-size: 14px; }
.ways .taken img { border: 3px solid var(--ink); margin: -2px; }
code { font-size: 13px; overflow-wrap: anywhere; }
details summary { cursor: pointer; color: var(--faint); }
"""
"""Added to the page's style."""


def to_check(questions: Sequence[Question], folder: str = "decisions") -> list[str]:
    """The section of what the tool was not sure of, as parts of the page; none where all was sure."""
    asked = [question for question in questions if question.decision.asked]
    if not asked:
        return []
    lead = "<p>The tool was not sure here and took the safe way. A line of the job sheet decides it by hand.</p>"
    return ["<h2>To check</h2>", lead, *[part for question in asked for part in _asked(question, folder)]]


def sure(questions: Sequence[Question]) -> list[str]:
    """The other decisions, folded away: what was taken, what speaks for it, how sure it is."""
    rest = [question for question in questions if not question.decision.asked]
    if not rest:
        return []
    items = "".join(f"<li>{_sure(question)}</li>" for question in rest)
    return [f"<details><summary>Decided without asking ({len(rest)})</summary><ul>{items}</ul></details>"]


def _asked(question: Question, folder: str) -> list[str]:
    decision = question.decision
    reasons = f" ({escape('; '.join(decision.evidence))})" if decision.evidence else ""
    said = f"<h3>{escape(decision.question)}</h3><p>Taken: {escape(decision.choice.words)}{reasons}.</p>"
    figures = [_way(way, picture, folder, taken=place == 0) for place, (way, picture) in enumerate(question.ways())]
    return [said, '<div class="ways">', *figures, "</div>"]


def _way(way: Alternative, picture: str, folder: str, *, taken: bool) -> str:
    """One way as a figure with its picture and the lines of the job sheet that choose it."""
    words = escape(way.words)
    shown = f'<img src="{quote(f"{folder}/{picture}")}" alt="{words}">' if picture else ""
    lines = "".join(f"<br><code>{escape(line)}</code>" for line in way.lines())
    mark = ' class="taken"' if taken else ""
    return f"<figure{mark}>{shown}<figcaption><b>{words}</b>{' (taken)' if taken else ''}{lines}</figcaption></figure>"


def _sure(question: Question) -> str:
    decision = question.decision
    how = "set by hand" if decision.by_hand else f"sure to {100.0 * decision.confidence:.0f} %"
    reasons = f": {'; '.join(decision.evidence)}" if decision.evidence else ""
    return escape(f"{decision.question} {decision.choice.words[:1].upper()}{decision.choice.words[1:]} ({how}){reasons}")
