"""A sheet's text brought up to date: values follow, what a person wrote stays."""

from __future__ import annotations

import tomllib

import pytest

from blender_addon.job.sheet_text import brought_up_to_date, values_of

OLD = """\
# The heron for the spring show.
bozzetto = 1
name = "heron"  # as the owner calls it

# Seen from the left it looks best.
[orientation]
# measured with callipers
height = 80.0  # mm, to the crest
front = 12.0

[relief]
# 0.6 looked weak
strength = 0.6

[[camera.shots]]
# for the cover
name = "cover"
fill = 60.0

[[camera.shots]]
name = "eye"
focus = [
  1.0, # from the left
  2.0,
  3.0,
]

# ask about the base
"""


def test_an_unchanged_sheet_stays_as_it_is_to_the_letter() -> None:
    new = 'bozzetto = 1\nname = "heron"\n\n[orientation]\nheight = 80.0\nfront = 12.0\n\n[relief]\nstrength = 0.6\n\n'
    new += '[[camera.shots]]\nname = "cover"\nfill = 60.0\n\n[[camera.shots]]\nname = "eye"\nfocus = [1.0, 2.0, 3.0]\n'
    assert brought_up_to_date(OLD, new) == OLD


NEW = {
    "a value changes": {"orientation": {"height": 84.0, "front": 12.0}, "relief": {"strength": 0.6}},
    "a value goes": {"orientation": {"front": 12.0}},
    "a table goes": {"camera": {"fill": 60.0}},
    "values come": {"orientation": {"height": 80.0, "keep_lean": True}, "lighting": {"setup": "soft"}},
    "all goes": {},
}


def toml(tables: dict) -> str:
    lines = ["bozzetto = 1", 'name = "heron"']
    for name, fields in tables.items():
        lines += [
            "",
            f"[{name}]",
            *(f"{key} = {str(value).lower() if value is True else value!r}" for key, value in fields.items()),
        ]
    return "\n".join(lines).replace("'", '"') + "\n"


@pytest.mark.parametrize("case", NEW)
def test_values_follow_and_every_comment_stays(case: str) -> None:
    new = toml(NEW[case])
    words = brought_up_to_date(OLD, new)
    assert words is not None
    assert values_of(words) == values_of(new)
    for line in OLD.splitlines():
        if line.lstrip().startswith("#"):
            assert line in words.splitlines(), line
    assert "# from the left" in words
    assert words.count("# as the owner calls it") == 1
    assert ("# mm, to the crest" in words) and words.index("callipers") < words.index("crest")


def test_a_row_that_comes_stands_with_its_kind() -> None:
    old = 'bozzetto = 1\n\n[[camera.shots]]\nname = "a" # first\n\n[render]\nsize = 96\n'
    new = 'bozzetto = 1\n[[camera.shots]]\nname = "a"\n[[camera.shots]]\nname = "b"\n[render]\nsize = 96\n'
    words = brought_up_to_date(old, new)
    assert words is not None and tomllib.loads(words) == tomllib.loads(new)
    assert words.index('"b"') < words.index("[render]") and '"a"  # first' in words


@pytest.mark.parametrize("old", ["no [sheet", "a.b = 1\n", "x = { y = 1 }\nbozzetto = 1\n[x.z]\n"])
def test_what_is_no_sheet_is_not_touched(old: str) -> None:
    assert brought_up_to_date(old, "bozzetto = 1\n") is None


def test_a_hash_inside_a_value_is_no_comment() -> None:
    old = 'bozzetto = 1\nname = "no. #3" # the third\n'
    assert brought_up_to_date(old, 'bozzetto = 1\nname = "no. #4"\n') == 'bozzetto = 1\nname = "no. #4"  # the third\n'
