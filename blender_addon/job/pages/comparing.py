"""A photo beside its render, for the maker's page: side by side, under a dividing line to move, and their differences.

The script takes no words from outside; without it both pictures and the differences are shown all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from urllib.parse import quote

from ...core.records import record

STYLE = """
.wipe { position: relative; cursor: ew-resize; touch-action: pan-y; user-select: none; -webkit-user-select: none; }
.wipe img { display: block; width: 100%; height: auto; background: none; }
.wipe img + img { position: absolute; inset: 0; height: 100%; clip-path: inset(0 0 0 50%); }
figure input[type=range] { width: 100%; margin: 8px 0 0; accent-color: var(--ink); }
"""
"""Added to the page's style."""

SCRIPT = """
(function () {
  "use strict";
  document.querySelectorAll(".wipe").forEach(function (box) {
    var line = box.parentElement.querySelector("input"), above = box.querySelectorAll("img")[1];
    function show() { above.style.clipPath = "inset(0 0 0 " + line.value + "%)"; }
    function follow(event) {
      var edge = box.getBoundingClientRect();
      line.value = String(100 * (event.clientX - edge.left) / edge.width);
      show();
    }
    line.addEventListener("input", show);
    box.addEventListener("pointermove", follow);
    box.addEventListener("pointerdown", follow);
    show();
  });
}());
"""


@record
class Compared:
    """One photo and its render. name: of the shot. render, photo, colour, form: the pictures' paths relative to the page.
    words: figures as sentences. full_colour, full_form: what has the full tone in the pictures of differences, in words."""

    name: str
    render: str
    photo: str
    colour: str
    form: str
    words: Sequence[str]
    full_colour: str
    full_form: str


def comparisons_html(compared: Sequence[Compared]) -> list[str]:
    """The section of the page; nothing where nothing was compared."""
    if not compared:
        return []
    return ["<h2>Photo and render</h2>", *[part for pair in compared for part in _section(pair)]]


def _section(pair: Compared) -> list[str]:
    name = escape(pair.name.capitalize())
    said = "".join(f"<li>{escape(words)}</li>" for words in pair.words)
    slider = f'<input type="range" min="0" max="100" value="50" aria-label="Dividing line between photo and render, {name}">'
    wipe = (
        f'<figure><div class="wipe"><img src="{quote(pair.photo)}" alt="{name}: the photo" draggable="false">'
        f'<img src="{quote(pair.render)}" alt="{name}: the render on the photo" draggable="false"></div>{slider}'
        "<figcaption>Left of the line the photo, right of it the render</figcaption></figure>"
    )
    return [
        f"<h3>{name}</h3><ul>{said}</ul>",
        '<div class="pair">',
        _figure(pair.photo, "The photo", "without its lens's distortion"),
        _figure(pair.render, "The render", "piece and stand alone, with the photo's camera and light, as bright as the photo"),
        "</div>",
        wipe,
        '<div class="pair">',
        _figure(pair.colour, "Difference in colour", f"the deeper, the more; full tone: {pair.full_colour}"),
        _figure(pair.form, "Difference in form", f"of local light and shade; full tone: {pair.full_form}"),
        "</div>",
    ]


def _figure(path: str, title: str, words: str) -> str:
    caption = f"<b>{escape(title)}</b><br>{escape(words)}"
    return f'<figure><img src="{quote(path)}" alt="{escape(title)}"><figcaption>{caption}</figcaption></figure>'
