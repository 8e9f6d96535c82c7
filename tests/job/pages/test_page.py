"""The pages: well-formed, escaped, with what they were asked to show, and without a way for words to become script."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from blender_addon.job.cautions import CAUTIONS
from blender_addon.job.pages.comparing import SCRIPT as COMPARING
from blender_addon.job.pages.comparing import Compared
from blender_addon.job.pages.page import RENDERED, ClientPage, MakersPage, Shown, alt_text, client_page, makers_page
from blender_addon.job.pages.turning import SCRIPT, Turning

VOID = {"meta", "img", "br", "input"}
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'; alert(1); '",
    "</title><script>",
    "a&b",
    "</script>",
    "{{7}}",
)


class Checker(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.images, self.alts, self.words, self.scripts, self.links = [], [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        assert not [name for name in attrs if name.startswith("on")], "no handler stands in the page"
        if tag == "img":
            self.images.append(attrs["src"])
            self.alts.append(attrs["alt"])
        if tag == "a":
            self.links.append(attrs["href"])
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        (self.scripts if self.open and self.open[-1] == "script" else self.words).append(data)


def checked(words):
    checker = Checker()
    checker.feed(words)
    assert checker.open == []
    return checker


PICTURES = [Shown("pictures/hero 1.png", "Hero", alt_text("Owl", "hero"), {"lens": "60 mm"}), Shown("pictures/b.png", "Back")]


def test_the_clients_page_says_what_a_label_says_and_no_more():
    page = ClientPage(
        "Owl <1>",
        "A maker & more",
        PICTURES[:1],
        Turning(24),
        "turntable.mp4",
        {"Size": "80 mm", "Rights": "all"},
        [("a.glb", "glTF")],
    )
    checker = checked(client_page(page))
    assert checker.images == ["pictures/hero%201.png", "page/turn_0001.jpg"] and all(checker.alts)
    text = " ".join(checker.words)
    for part in ("Owl <1>", "A maker & more", "80 mm", "all", "glTF", RENDERED):
        assert part in text
    for part in ("triangles", "What was done", "log.txt", "figures", CAUTIONS[0]):
        assert part not in text
    assert checker.scripts == [SCRIPT]


def test_the_makers_page_says_how_it_was_done():
    page = MakersPage(
        "Owl",
        PICTURES,
        {"intake": "read"},
        ["look < here"],
        {"Intake": {"triangles": 1200, "list": list(range(40))}},
        [("a.glb", "glTF")],
    )
    checker = checked(makers_page(page))
    text = " ".join(checker.words)
    for part in ("60 mm", "read", "look < here", "triangles", "1200", "... (40)", "glTF", *CAUTIONS):
        assert part in text
    assert checker.scripts == []


def _compared(words: str) -> Compared:
    return Compared(words, "c/r.png", "c/p.png", f"c/{words}.png", "c/f.png", (words,), words, words)


def test_a_photo_and_its_render_stand_side_by_side_and_under_a_line():
    checker = checked(makers_page(MakersPage("Owl", compared=[_compared("shelf")])))
    assert checker.images == ["c/p.png", "c/r.png", "c/p.png", "c/r.png", "c/shelf.png", "c/f.png"] and all(checker.alts)
    assert checker.scripts == [COMPARING]
    assert "Photo and render" in " ".join(checker.words)


@pytest.mark.parametrize("words", HOSTILE)
def test_words_never_become_script(words):
    shown = [Shown(f"pictures/{words}.png", words, words, {words: words})]
    client = client_page(ClientPage(words, words, shown, Turning(3), words, {words: words}, [(words, words)]))
    maker = makers_page(MakersPage(words, shown, {words: words}, [words], {words: {words: words}}, [(words, words)]))
    beside = makers_page(MakersPage(words, shown, compared=[_compared(words)]))
    for page, scripts in ((client, [SCRIPT]), (maker, []), (beside, [COMPARING])):
        checker = checked(page)
        assert checker.scripts == scripts, "the page's own script alone"
        assert words in checker.alts
        assert all("<" not in link and '"' not in link for link in checker.links)


def test_the_policy_lets_our_own_script_and_style_alone_run():
    """W3C Content Security Policy, level 3: a digest of the very text between the tags."""
    import base64
    import hashlib

    page = client_page(ClientPage("Owl", turning=Turning(3)))
    for tag, directive in (("script", "script-src"), ("style", "style-src")):
        inside = re.search(f"<{tag}>(.*?)</{tag}>", page, re.DOTALL)[1]
        digest = base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode()
        assert f"{directive} &#x27;sha256-{digest}&#x27;" in page
    assert "default-src &#x27;none&#x27;" in page and "http://" not in page and "https://" not in page


def test_a_page_without_pictures_still_stands():
    for page in (client_page(ClientPage("Nothing")), makers_page(MakersPage("Nothing"))):
        assert checked(page).images == []
