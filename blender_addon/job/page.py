"""The page that goes with the pictures: one HTML file that shows them with their optics and says what was done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any
from urllib.parse import quote

from . import page_decisions
from .decisions import Question

STYLE = """
:root { --paper: #f4f1ea; --ink: #26221c; --faint: #857d70; --line: #d9d2c4; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 17px/1.55 Georgia, 'Times New Roman', serif; }
main { max-width: 1120px; margin: 0 auto; padding: 56px 28px 80px; }
h1 { font-weight: normal; font-size: 40px; margin: 0 0 4px; }
h2 { font-weight: normal; font-size: 23px; margin: 56px 0 14px; border-top: 1px solid var(--line); padding-top: 20px; }
p.lead { color: var(--faint); margin: 0 0 36px; }
figure { margin: 0 0 40px; }
figure img, video { display: block; width: 100%; height: auto; background: #000; }
figcaption { margin-top: 10px; color: var(--faint); font-size: 15px; }
figcaption b { color: var(--ink); font-weight: normal; font-style: italic; }
.pair { display: grid; grid-template-columns: 1fr 1fr; gap: 28px; }
@media (max-width: 760px) { .pair { grid-template-columns: 1fr; } }
table { border-collapse: collapse; width: 100%; font-size: 15px; }
td { border-bottom: 1px solid var(--line); padding: 7px 14px 7px 0; vertical-align: top; }
td:first-child { color: var(--faint); width: 11em; }
ul { padding-left: 1.2em; } li { margin: 4px 0; }
small { color: var(--faint); }
"""

CAUTIONS = (
    "Matting spray, powder and clay dust must not be breathed: ventilate, and wear the protection that the product's safety "
    "data sheet names. Many sprays burn.",
    "A borrowed original is dusted only with its owner's written consent and a conservator's advice; a bare scan works too.",
    "Safety data sheets, local rules and licensed practice come before anything said here.",
)


@dataclass(frozen=True)
class Shown:
    """A picture on the page: its path relative to the page, its title, what it was taken with (label to value)."""

    path: str
    title: str
    optics: Mapping[str, str] = field(default_factory=dict)


def html(
    title: str,
    lead: str,
    pictures: Sequence[Shown],
    *,
    video: str = "",
    facts: Mapping[str, str] | None = None,
    done: Mapping[str, str] | None = None,
    remarks: Sequence[str] = (),
    files: Sequence[tuple[str, str]] = (),
    questions: Sequence[Question] = (),
) -> str:
    """The page as text. `facts`: label to value; `done`: step to its sentence; `files`: (path, what it is); `questions`: what
    the tool decided by itself, asked or sure."""
    parts = [
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(title)}</title><style>{STYLE}{page_decisions.STYLE}</style></head><body><main>",
        f'<h1>{escape(title)}</h1><p class="lead">{escape(lead)}</p>',
        *_pictures(pictures),
        *page_decisions.to_check(questions),
    ]
    if video:
        parts += ["<h2>In the round</h2>", f'<video src="{quote(video)}" controls loop muted playsinline></video>']
    if facts:
        parts += ["<h2>The piece</h2>", _table(facts)]
    if done:
        parts += ["<h2>What was done</h2>", _table(done)]
    parts += page_decisions.sure(questions)
    if remarks:
        parts += ["<h2>To look at</h2>", _list([escape(words) for words in remarks])]
    if files:
        parts += [
            "<h2>Files</h2>",
            _list([f'<a href="{quote(path)}">{escape(path)}</a> {escape(what)}' for path, what in files]),
        ]
    parts += ["<h2>Before the next scan</h2>", _list([escape(words) for words in CAUTIONS]), "</main></body></html>\n"]
    return "\n".join(parts)


def _pictures(pictures: Sequence[Shown]) -> list[str]:
    if not pictures:
        return []
    first, rest = pictures[0], pictures[1:]
    return [_figure(first), '<div class="pair">', *[_figure(one) for one in rest], "</div>"]


def _figure(shown: Shown) -> str:
    optics = ", ".join(f"{escape(label)} {escape(value)}" for label, value in shown.optics.items())
    caption = f"<b>{escape(shown.title)}</b>" + (f"<br>{optics}" if optics else "")
    return f'<figure><img src="{quote(shown.path)}" alt="{escape(shown.title)}"><figcaption>{caption}</figcaption></figure>'


def _table(rows: Mapping[str, Any]) -> str:
    cells = "".join(f"<tr><td>{escape(label)}</td><td>{escape(str(value))}</td></tr>" for label, value in rows.items())
    return f"<table>{cells}</table>"


def _list(items: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{item}</li>" for item in items) + "</ul>"
