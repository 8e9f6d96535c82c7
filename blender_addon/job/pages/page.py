"""The two pages that go with the pictures: one for the client, one for whoever made them.

`index.html` shows the pictures and says what a label beside the piece would say. `maker.html` says what was done, with what
optics, what was measured and what is to be checked. Each is one file that works from a disk and needs no network.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from html import escape
from urllib.parse import quote

from ...core.records import record
from ..cautions import CAUTIONS
from ..decisions import Question
from . import comparing, page_decisions
from .turning import SCRIPT, Turning, policy, turning_html

STYLE = """
:root { --paper: #f4f1ea; --ink: #26221c; --faint: #6f685c; --line: #d9d2c4; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 17px/1.55 Georgia, 'Times New Roman', serif; }
main { max-width: 1120px; margin: 0 auto; padding: 56px 28px 80px; }
h1 { font-weight: normal; font-size: 40px; margin: 0 0 4px; }
h2 { font-weight: normal; font-size: 23px; margin: 56px 0 14px; border-top: 1px solid var(--line); padding-top: 20px; }
h3 { font-weight: normal; font-size: 18px; margin: 28px 0 6px; }
p.lead { color: var(--faint); margin: 0 0 36px; }
figure { margin: 0 0 40px; }
figure img, video { display: block; width: 100%; height: auto; background: #000; }
figcaption { margin-top: 10px; color: var(--faint); font-size: 15px; }
a { color: inherit; text-underline-offset: 3px; text-decoration-color: var(--faint); }
figure a { display: block; } figure a:focus-visible { outline: 2px solid var(--ink); outline-offset: 4px; }
figcaption b { color: var(--ink); font-weight: normal; font-style: italic; }
.pair { display: grid; grid-template-columns: 1fr 1fr; gap: 28px; }
@media (max-width: 760px) { .pair { grid-template-columns: 1fr; } }
table { border-collapse: collapse; width: 100%; font-size: 15px; }
td { border-bottom: 1px solid var(--line); padding: 7px 14px 7px 0; vertical-align: top; overflow-wrap: anywhere; }
td:first-child { color: var(--faint); width: 11em; }
ul { padding-left: 1.2em; } li { margin: 4px 0; }
small, footer { color: var(--faint); } footer { margin-top: 56px; font-size: 15px; }
#turn { cursor: grab; touch-action: pan-y; user-select: none; -webkit-user-select: none; }
#turn:active { cursor: grabbing; } #turn:focus-visible { outline: 2px solid var(--ink); outline-offset: 4px; }
"""

WHOLE_STYLE = STYLE + page_decisions.STYLE + comparing.STYLE

RENDERED = "Rendered from a scan of the piece; these pictures are no photographs."
VIEWS = {
    "hero": "three-quarter view", "left": "seen from its left", "right": "seen from its right", "back": "seen from behind",
    "top": "seen from above", "scale": "beside a rule", "detail": "close look", "turntable": "turning",
}  # fmt: skip
"""What a kind of shot shows, for those who can't see it."""


@record
class Shown:
    """A picture on a page: its path relative to the page, its title, its words for those who can't see it, its optics, and
    the larger picture that a click opens, '' for none."""

    path: str
    title: str
    alt: str = ""
    optics: Mapping[str, str] = field(default_factory=dict)
    opens: str = ""


@record
class ClientPage:
    """What the client reads. `label`: what to value, as on a museum's label (maker, size, material, rights ...)."""

    title: str
    lead: str = ""
    pictures: Sequence[Shown] = ()
    turning: Turning | None = None
    video: str = ""
    label: Mapping[str, str] = field(default_factory=dict)
    files: Sequence[tuple[str, str]] = ()
    proof: str = ""
    """A remark on pictures that are not final yet; '' for none."""


@record
class MakersPage:
    """What the maker reads. `done`: step to sentence; `check`: what asks for a look; `figures`: a table a step; `questions`:
    what the tool decided by itself, asked or sure."""

    title: str
    pictures: Sequence[Shown] = ()
    done: Mapping[str, str] = field(default_factory=dict)
    check: Sequence[str] = ()
    figures: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    files: Sequence[tuple[str, str]] = ()
    questions: Sequence[Question] = ()
    versions: Sequence[Sequence[Shown]] = ()
    """For each shot its earlier pictures beside the current one, the oldest first."""
    compared: Sequence[comparing.Compared] = ()
    """Photos of the real piece beside their renders."""


def as_title(name: str) -> str:
    """A file's name as a title."""
    return name.replace("_", " ").replace("-", " ").capitalize()


def alt_text(title: str, kind: str, caption: str = "") -> str:
    """What a picture shows, in one line: the piece, from where, and that it is no photograph."""
    view = VIEWS.get(kind, caption or kind)
    return f"{title}, {view}; rendered from a scan" if view else f"{title}; rendered from a scan"


def client_page(page: ClientPage) -> str:
    """The page for the client as text."""
    lead = escape(page.lead) + (f"<br>{escape(page.proof)}" if page.proof else "")
    parts = [f'<h1>{escape(page.title)}</h1><p class="lead">{lead}</p>', *_pictures(page.pictures)]
    if page.turning is not None:
        parts += ["<h2>In the round</h2>", turning_html(page.turning, f"{page.title}, to turn")]
    elif page.video:
        parts += ["<h2>In the round</h2>", f'<video src="{quote(page.video)}" controls loop muted playsinline></video>']
    if page.label:
        parts += ["<h2>The piece</h2>", _table(page.label)]
    parts += _files(page.files)
    parts.append(f"<footer>{escape(RENDERED)}</footer>")
    return whole_page(page.title, parts, script=SCRIPT if page.turning is not None else "")


def makers_page(page: MakersPage) -> str:
    """The page for the maker as text."""
    parts = [f"<h1>{escape(page.title)}</h1>", '<p class="lead">How these pictures were made</p>']
    parts += page_decisions.to_check(page.questions)
    if page.check:
        parts += ["<h2>To look at</h2>", _list([escape(words) for words in page.check])]
    if page.done:
        parts += ["<h2>What was done</h2>", _table(page.done)]
    parts += page_decisions.sure(page.questions)
    parts += comparing.comparisons_html(page.compared)
    if page.versions:
        parts.append("<h2>Versions</h2>")
        for shot in page.versions:
            parts += ['<div class="pair">', *[_figure(picture) for picture in shot], "</div>"]
    if page.pictures:
        parts += ["<h2>Optics</h2>", '<div class="pair">', *[_figure(picture) for picture in page.pictures], "</div>"]
    if page.figures:
        parts.append("<h2>Figures</h2>")
        for step, table in page.figures.items():
            parts += [f"<h3>{escape(step)}</h3>", _table(table)]
    parts += _files(page.files)
    parts += ["<h2>Before the next scan</h2>", _list([escape(words) for words in CAUTIONS])]
    return whole_page(f"{page.title}: how it was made", parts, script=comparing.SCRIPT if page.compared else "")


def whole_page(title: str, parts: Sequence[str], *, script: str = "", style: str = "") -> str:
    """A page as text: its title, its parts as HTML, a script and more of a style that are ours."""
    styles = WHOLE_STYLE + style
    head = [
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{escape(policy(styles, script))}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="referrer" content="no-referrer">',
        f"<title>{escape(title)}</title><style>{styles}</style></head><body><main>",
    ]
    tail = ["</main>", *([f"<script>{script}</script>"] if script else []), "</body></html>\n"]
    return "\n".join([*head, *parts, *tail])


def _pictures(pictures: Sequence[Shown]) -> list[str]:
    if not pictures:
        return []
    first, rest = pictures[0], pictures[1:]
    more = ['<div class="pair">', *[_figure(picture) for picture in rest], "</div>"] if rest else []
    return [_figure(first), *more]


def _figure(shown: Shown) -> str:
    optics = ", ".join(f"{escape(label)} {escape(value)}" for label, value in shown.optics.items())
    caption = f"<b>{escape(shown.title)}</b>" + (f"<br>{optics}" if optics else "")
    picture = f'<img src="{quote(shown.path)}" alt="{escape(shown.alt or shown.title)}">'
    if shown.opens:
        picture = f'<a href="{quote(shown.opens)}">{picture}</a>'
    return f"<figure>{picture}<figcaption>{caption}</figcaption></figure>"


def _files(files: Sequence[tuple[str, str]]) -> list[str]:
    if not files:
        return []
    items = [f'<a href="{quote(path)}">{escape(path)}</a> {escape(what)}' for path, what in files]
    return ["<h2>Files</h2>", _list(items)]


def _table(rows: Mapping[str, object]) -> str:
    cells = "".join(f"<tr><td>{escape(label)}</td><td>{escape(_words(value))}</td></tr>" for label, value in rows.items())
    return f"<table>{cells}</table>"


def _words(value: object) -> str:
    """A figure for people: numbers short, long lists cut."""
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, (list, tuple)):
        shown = ", ".join(_words(part) for part in value[:12])
        return f"{shown}, ... ({len(value)})" if len(value) > 12 else shown
    words = str(value)
    return words if len(words) <= 600 else f"{words[:600]}..."


def _list(items: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{item}</li>" for item in items) + "</ul>"
