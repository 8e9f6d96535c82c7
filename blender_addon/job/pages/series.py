"""The two pages of a series: for the client a card for each piece, for the maker what went well, what failed, what to check."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from urllib.parse import quote

from ...core.records import record
from ..files.made_files import MAKERS_PAGE, PAGE
from ..notes import several
from .page import RENDERED, whole_page

STYLE = """
.cards { display: grid; grid-template-columns: repeat(auto-fill, minmax(260px, 1fr)); gap: 36px 28px; }
.cards { list-style: none; padding: 0; }
.cards a { color: inherit; text-decoration: none; display: block; }
.cards a:focus-visible { outline: 2px solid var(--ink); outline-offset: 6px; }
.cards img { display: block; width: 100%; height: auto; background: #000; }
.cards b { display: block; font-weight: normal; font-style: italic; margin-top: 10px; }
.cards span { color: var(--faint); font-size: 15px; display: block; }
"""

ANSWERS = (
    "What a question offers in brackets is answered for one piece by a column of pieces.csv: [orientation] front = 88.4 by a "
    "column orientation.front with 88.4 in that piece's line. Then run the series again: the others stay as they are."
)


@record
class Card:
    """A piece on the pages of its series: the name of its folder, its title, a line under it, its picture (relative to the
    series' page) with words for those who can't see it; for the maker what is to be checked, and what went wrong."""

    folder: str
    title: str
    line: str = ""
    picture: str = ""
    alt: str = ""
    check: Sequence[str] = ()
    failed: str = ""


def series_page(title: str, maker: str, cards: Sequence[Card], rights: Sequence[str] = ()) -> str:
    """The page for the client: the pieces whose pictures are there.

    title: of the page. maker: the maker's name, or ''. rights: lines for the end of the page.
    """
    items = [_card(card) for card in cards if card.picture]
    lead = ", ".join(filter(None, (maker, several(len(items), "piece"))))
    end = "<br>".join(escape(line) for line in (*filter(None, rights), RENDERED))
    parts = [
        f'<h1>{escape(title)}</h1><p class="lead">{escape(lead)}</p>', f'<ul class="cards">{"".join(items)}</ul>',
        f"<footer>{end}</footer>",
    ]  # fmt: skip
    return whole_page(title, parts, style=STYLE)


def _card(card: Card) -> str:
    picture = f'<img src="{quote(card.picture)}" alt="{escape(card.alt or card.title)}">'
    line = f"<span>{escape(card.line)}</span>" if card.line else ""
    return f'<li><a href="{quote(f"{card.folder}/{PAGE}")}">{picture}<b>{escape(card.title)}</b>{line}</a></li>'


def makers_series_page(title: str, cards: Sequence[Card]) -> str:
    """The page for the maker: the failures first, then what asks for a look, then what is done."""
    failed = [card for card in cards if card.failed]
    asking = [card for card in cards if card.check and not card.failed]
    done = [card for card in cards if not card.failed and not card.check]
    parts = [f"<h1>{escape(title)}</h1>", f'<p class="lead">{escape(counted(cards))}</p>']
    if failed:
        rows = "".join(f"<tr><td>{escape(card.title)}</td><td>{escape(card.failed)}</td></tr>" for card in failed)
        parts += ["<h2>Failed</h2>", f"<table>{rows}</table>"]
    if asking:
        parts += ["<h2>To check</h2>", f'<p class="lead">{escape(ANSWERS)}</p>']
        for card in asking:
            parts += [f"<h3>{_link(card)}</h3>", "<ul>", *(f"<li>{escape(words)}</li>" for words in card.check), "</ul>"]
    if done:
        parts += ["<h2>Nothing to check</h2>", "<ul>", *(f"<li>{_link(card)}</li>" for card in done), "</ul>"]
    return whole_page(f"{title}: how it went", parts)


def _link(card: Card) -> str:
    return f'<a href="{quote(f"{card.folder}/{MAKERS_PAGE}")}">{escape(card.title)}</a>'


def counted(cards: Sequence[Card]) -> str:
    """How a series went, in one line."""
    failed = sum(bool(card.failed) for card in cards)
    asking = sum(bool(card.check) and not card.failed for card in cards)
    words = [several(len(cards), "piece"), f"{len(cards) - failed} made"]
    words += [f"{failed} failed"] if failed else []
    words += [f"{asking} to check"] if asking else []
    return ", ".join(words)
