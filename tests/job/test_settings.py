"""Settings: declared once, checked by name, turned into plain values."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from blender_addon.job.errors import SheetError
from blender_addon.job.settings import (
    angle,
    build,
    choice,
    colour,
    file,
    integer,
    label_of,
    length,
    plain,
    point,
    specs,
    switch,
    table,
)


@dataclass(kw_only=True)
class Row:
    file: str = file("", help="a file")
    count: int = integer(1, low=1, high=9, help="how many")


@dataclass(kw_only=True)
class Sample:
    ALIASES = {"thing": "things"}

    height: float | None = length(None, low=0.1, high=100.0, help="height")
    turn: float = angle(0.0, low=-180, high=180, help="turn")
    body: str = choice("wet", [("wet", "Wet", ""), ("dry", "Dry", "")], help="state")
    loud: bool = switch(False, help="loud")
    where: tuple[float, ...] | None = point(None, help="a point")
    tint: tuple[float, float, float] | None = colour(None, help="a colour")
    things: list[Row] = table(Row, help="things", short="file")


def test_defaults_are_kept_and_specs_come_in_order():
    assert list(specs(Sample)) == ["height", "turn", "body", "loud", "where", "tint", "things"]
    assert specs(Sample)["height"].optional and specs(Sample)["height"].unit == "mm"
    assert plain(Sample()) == {
        "height": None, "turn": 0.0, "body": "wet", "loud": False, "where": None, "tint": None, "things": [],
    }  # fmt: skip


def test_a_whole_number_serves_as_a_length_but_a_truth_value_does_not():
    assert build(Sample, {"height": 80}, "sample").height == 80.0
    with pytest.raises(SheetError, match=r"sample\.height must be a number mm, not True"):
        build(Sample, {"height": True}, "sample")


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"height": -1}, r"sample\.height must lie between 0\.1 and 100 mm, not -1"),
        ({"height": 0}, r"sample\.height must lie between"),
        ({"height": float("nan")}, r"sample\.height must be a number"),
        ({"hieght": 80}, r'sample has no setting "hieght" \(did you mean "height"\?\)'),
        ({"body": "wett"}, r'sample\.body must be one of wet, dry, not \'wett\' \(did you mean "wet"\?\)'),
        ({"loud": 1}, r"sample\.loud must be true or false"),
        ({"where": [1, 2]}, r"sample\.where must be a list of 3 numbers"),
        ({"tint": [0.1, 2, 0]}, r"sample\.tint must lie between 0 and 1"),
        ({"things": [{"count": 1.5}]}, r"sample\.things\[1\]\.count must be a whole number"),
        ({"things": 3}, r"sample\.things must be a list of tables"),
    ],
)
def test_what_is_wrong_is_refused_by_name(values, words):
    with pytest.raises(SheetError, match=words):
        build(Sample, values, "sample")


def test_a_bare_string_is_short_for_a_row_also_by_its_alias():
    assert build(Sample, {"thing": "a.obj"}, "sample").things == [Row(file="a.obj")]
    assert build(Sample, {"things": ["a.obj", {"file": "b.obj", "count": 2}]}, "sample").things[1].count == 2


def test_objects_do_not_share_their_tables():
    first, other = Sample(), Sample()
    first.things.append(Row())
    assert other.things == []


@pytest.mark.parametrize(("name", "words"), [("board_width", "Board width"), ("fps", "FPS"), ("glb", "GLB")])
def test_a_name_becomes_words_and_initials_stay_large(name, words):
    assert label_of(name, specs(Sample)["loud"]) == words
