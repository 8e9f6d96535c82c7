"""A turntable to drag, for the page: frames that follow pointer and arrow keys, in plain script without any library.

The script takes no words from outside: the frames' names are numbers, their count and direction stand in data attributes. A
policy in the page lets this script alone run, known by its digest (W3C Content Security Policy, level 3).
"""

from __future__ import annotations

import base64
import hashlib
from html import escape
from urllib.parse import quote

from ...core.records import record

SCRIPT = """
(function () {
  "use strict";
  var box = document.getElementById("turn");
  if (!box) { return; }
  var picture = box.querySelector("img");
  var count = Number(box.dataset.count), way = Number(box.dataset.way);
  var frames = [], now = 0, held = null;
  for (var number = 1; number <= count; number += 1) {
    var frame = new Image();
    frame.src = box.dataset.folder + "turn_" + String(number).padStart(4, "0") + ".jpg";
    frames.push(frame);
  }
  function show(wanted) {
    now = ((Math.round(wanted) % count) + count) % count;
    picture.src = frames[now].src;
    box.setAttribute("aria-valuenow", String(now + 1));
    box.setAttribute("aria-valuetext", "view " + (now + 1) + " of " + count);
  }
  box.addEventListener("pointerdown", function (event) {
    held = { x: event.clientX, from: now };
    box.setPointerCapture(event.pointerId);
    box.focus({ preventScroll: true });
    event.preventDefault();
  });
  box.addEventListener("pointermove", function (event) {
    if (held) { show(held.from + way * (event.clientX - held.x) / box.clientWidth * count); }
  });
  function release() { held = null; }
  box.addEventListener("pointerup", release);
  box.addEventListener("pointercancel", release);
  box.addEventListener("lostpointercapture", release);
  var far = Math.round(count / 4);
  var steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: far, PageDown: -far };
  box.addEventListener("keydown", function (event) {
    if (event.altKey || event.ctrlKey || event.metaKey) { return; }
    if (event.key === "Home") { show(0); } else if (event.key === "End") { show(count - 1); }
    else if (Object.prototype.hasOwnProperty.call(steps, event.key)) { show(now + way * steps[event.key]); }
    else { return; }
    event.preventDefault();
  });
}());
"""


@record
class Turning:
    """A full turn as JPEG files `FOLDERturn_0001.jpg` and on; `clockwise` as seen from above."""

    count: int
    folder: str = "page/"
    clockwise: bool = False


def turning_html(turning: Turning, words: str) -> str:
    """The figure on the page; without a script it shows its first frame."""
    first = f"{turning.folder}turn_0001.jpg"
    way = -1 if turning.clockwise else 1
    return (
        f'<figure><div id="turn" role="slider" tabindex="0" aria-label="{escape(words)}" aria-valuemin="1" '
        f'aria-valuemax="{turning.count}" aria-valuenow="1" aria-valuetext="view 1 of {turning.count}" '
        f'data-count="{turning.count}" data-way="{way}" data-folder="{escape(quote(turning.folder))}">'
        f'<img src="{quote(first)}" alt="{escape(words)}" draggable="false"></div>'
        "<figcaption>Drag to turn it, or use the arrow keys</figcaption></figure>"
    )


def policy(style: str, script: str = "") -> str:
    """The page's policy: files beside it, this style and this script, and nothing else."""
    scripts = f"script-src {_digest(script)}" if script else "script-src 'none'"
    return (
        f"default-src 'none'; img-src 'self' file: data:; media-src 'self' file:; style-src {_digest(style)}; {scripts}; "
        "base-uri 'none'; form-action 'none'"
    )


def _digest(words: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(words.encode()).digest()).decode()}'"
