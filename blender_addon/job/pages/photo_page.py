"""The page and the list of a set of photographs that was looked over: which to keep, to take again, to leave out, and why.

One file that works from a disk and asks nothing of a network: the small pictures are in it, and the photos stay where they are.
"""

from __future__ import annotations

import base64
import textwrap
from collections import Counter
from collections.abc import Mapping, Sequence
from html import escape

from ...core.photos.folder_content import Other
from ...core.photos.photo_set import Judged, SetReport
from ...core.photos.remarks import ADVICE, LEAVE_OUT, RETAKE
from ..cautions import LAMPS, PIECE, SPRAY
from .page import whole_page

PHOTO_STYLE = """
.set { display: grid; grid-template-columns: repeat(auto-fill, minmax(190px, 1fr)); gap: 26px 18px; }
.set figure { margin: 0; }
.set .frame { height: 190px; display: flex; align-items: center; justify-content: center; background: #e9e4d8; }
.set img { max-width: 100%; max-height: 190px; width: auto; background: none; }
.set figcaption { font-size: 14px; line-height: 1.4; overflow-wrap: anywhere; }
.set .again img { outline: 3px solid var(--ink); outline-offset: 2px; }
.set .out img { opacity: 0.35; }
"""

HEADINGS = ((RETAKE, "Take again"), (LEAVE_OUT, "Leave out"), ("keep", "Keep"))
PRIVATE = "The photos were read on this machine alone and not changed; nothing was sent anywhere."


def photo_page(title: str, report: SetReport, thumbs: Mapping[str, bytes], others: Sequence[Other] = ()) -> str:
    """The page as text.

    title: of the page. thumbs: name of a photo to its small picture as JPEG. others: files of the folder that are no photos.
    """
    parts = [f"<h1>{escape(title)}</h1>", f'<p class="lead">{escape(in_short(report))}. {escape(PRIVATE)}</p>']
    parts += _section("The set", report.said)
    parts += _section("What to do", to_do(report))
    parts += _section("What could not be judged", report.unknown)
    for verdict, heading in HEADINGS:
        chosen = [judged for judged in report.photos if judged.verdict == verdict]
        if chosen:
            figures = [_figure(judged, thumbs.get(judged.photo.name, b"")) for judged in chosen]
            parts += [f"<h2>{heading} ({len(chosen)})</h2>", '<div class="set">', *figures, "</div>"]
    parts += _section("Other files in the folder", [f"{other.name}: {other.why}" for other in others])
    parts += _section("With lamps and spray", [LAMPS, SPRAY, PIECE])
    return whole_page(title, parts, style=PHOTO_STYLE)


def photo_list(title: str, report: SetReport, others: Sequence[Other] = ()) -> str:
    """The same as plain text, one photo a line: its verdict, its name, the reasons."""
    lines = [title, "", f"{in_short(report)}. {PRIVATE}"]
    for heading, sentences in (
        ("The set", report.said),
        ("What to do", to_do(report)),
        ("What could not be judged", report.unknown),
    ):
        if sentences:
            lines += ["", heading, *[_wrapped(sentence) for sentence in sentences]]
    for verdict, heading in HEADINGS:
        chosen = [judged for judged in report.photos if judged.verdict == verdict]
        if chosen:
            lines += [
                "",
                f"{heading} ({len(chosen)})",
                *[f"{_plain(judged.photo.name)}{_reasons(judged)}" for judged in chosen],
            ]
    if others:
        lines += ["", "Other files in the folder", *[f"{_plain(other.name)}: {other.why}" for other in others]]
    return "\n".join(lines) + "\n"


def in_short(report: SetReport) -> str:
    """One sentence about the whole set."""
    counted = [f"{report.count(verdict)} to {words}" for verdict, words in
               (("keep", "keep"), (RETAKE, "take again"), (LEAVE_OUT, "leave out"))]  # fmt: skip
    return f"{len(report.photos)} photo{'' if len(report.photos) == 1 else 's'}: {', '.join(counted)}"


def to_do(report: SetReport) -> list[str]:
    """What to do about what was found, the commonest first, each once."""
    kinds = Counter(kind for judged in report.photos for kind in {remark.kind for remark in judged.remarks})
    return [f"{ADVICE[kind]} ({count} photo{'' if count == 1 else 's'})" for kind, count in kinds.most_common()]


def _section(heading: str, sentences: Sequence[str]) -> list[str]:
    if not sentences:
        return []
    return [f"<h2>{heading}</h2>", "<ul>", *[f"<li>{escape(_plain(sentence))}</li>" for sentence in sentences], "</ul>"]


def _figure(judged: Judged, thumb: bytes) -> str:
    name = escape(_plain(judged.photo.name))
    source = base64.b64encode(thumb).decode("ascii")
    picture = f'<img src="data:image/jpeg;base64,{source}" alt="{name}">' if thumb else ""
    mark = {RETAKE: ' class="again"', LEAVE_OUT: ' class="out"'}.get(judged.verdict, "")
    words = "".join(f"<br>{escape(_plain(remark.words))}" for remark in judged.remarks)
    sharp = f"<br>edges {judged.width:.1f} pixels" if judged.width == judged.width else ""
    return f'<figure{mark}><div class="frame">{picture}</div><figcaption><b>{name}</b>{sharp}{words}</figcaption></figure>'


def _reasons(judged: Judged) -> str:
    return f": {'; '.join(_plain(remark.words) for remark in judged.remarks)}" if judged.remarks else ""


def _wrapped(sentence: str) -> str:
    return textwrap.fill(_plain(sentence), 110, initial_indent="- ", subsequent_indent="  ")


def _plain(words: str) -> str:
    """Words without what would break a line, or is not text at all: a file's name may hold anything."""
    clean = words.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in clean)
