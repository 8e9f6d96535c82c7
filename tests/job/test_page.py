"""The page: well-formed, escaped, with what it was asked to show."""

from __future__ import annotations

from html.parser import HTMLParser

from blender_addon.job.page import CAUTIONS, Shown, html

VOID = {"meta", "img", "br"}


class Checker(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.images, self.words = [], [], []

    def handle_starttag(self, tag, attrs):
        if tag == "img":
            self.images.append(dict(attrs)["src"])
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def test_the_page_is_well_formed_and_names_everything():
    words = html(
        "Owl <1>", "A lead & more", [Shown("pictures/hero 1.png", "Hero", {"lens": "60 mm"}), Shown("pictures/b.png", "Back")],
        video="turntable.mp4", facts={"Piece": "80 mm"}, done={"intake": "read"}, remarks=["look < here"],
        files=[("a.glb", "glTF")],
    )  # fmt: skip
    checker = Checker()
    checker.feed(words)
    assert checker.open == []
    assert checker.images == ["pictures/hero%201.png", "pictures/b.png"]
    text = " ".join(checker.words)
    for part in ("Owl <1>", "A lead & more", "60 mm", "80 mm", "look < here", "glTF", CAUTIONS[0]):
        assert part in text


def test_a_page_without_pictures_still_stands():
    checker = Checker()
    checker.feed(html("Nothing", "yet", []))
    assert checker.open == [] and checker.images == []
