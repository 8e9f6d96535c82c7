"""Names are names: what can't be a file everywhere, or would be two pictures in one file, is refused before anything runs."""

from __future__ import annotations

from pathlib import Path

import pytest

from blender_addon.job.errors import SheetError
from blender_addon.job.files.names import LONGEST, check_apart, check_name, check_template, cleaned, filled, folded, problem
from blender_addon.job.files.places import folder_names

GOOD = ["owl", "Owl of clay (2nd)", "Eule fürs Museum", "梟", "a.b", "detail 2", "console", "com10", "x" * LONGEST]
BAD = [
    "", " ", ".", "..", "../owl", "a/b", "a\\b", "/tmp/owl", "C:owl", "C:\\owl", "CON", "con", "nul.txt", "LPT1", "COM¹.png",
    "aux .x", "owl\n", "owl\x00", "a\x1bb", "owl ", " owl", "owl.", ".owl", "a*", "a?", 'a"b', "a<b", "a|b",
    "x" * (LONGEST + 1), "é" * (LONGEST // 2 + 1), "owl\u202egnp", "\ud800", "a\u2028b", "...",
]  # fmt: skip


@pytest.mark.parametrize("name", GOOD)
def test_plain_words_are_names(name):
    assert check_name("name", name) == name == cleaned(name)


@pytest.mark.parametrize("name", BAD)
def test_what_can_not_be_a_file_everywhere_is_refused(name):
    """The list of Microsoft, "Naming Files, Paths, and Namespaces", and what changes a path or the reading direction."""
    with pytest.raises(SheetError, match=r"name .*: use letters"):
        check_name("name", name)
    assert not problem(cleaned(name)), "a file's own name is made usable"


def test_two_pictures_are_never_one_file():
    check_apart("shots", ["hero", "back", "Detail"])
    with pytest.raises(SheetError, match="two pictures named"):
        check_apart("shots", ["hero", "back", "hero"])
    for first, other in (("hero", "Hero"), ("straße", "STRASSE"), ("caf\u00e9", "cafe\u0301"), ("a\u200db", "ab")):
        assert folded(first) == folded(other)
        with pytest.raises(SheetError, match="one file"):
            check_apart("shots", [first, other])


FIELDS = ("job", "shot", "number")


@pytest.mark.parametrize(
    "template",
    ["{job.__class__}_{shot}", "{shot[0]}", "{nothing}", "{shot!r}", "{shot:>90}", "{number:999999999}", "{",
     "{job}", "picture", "{}_{shot}", "{0}", "{number:{shot}}"],
)  # fmt: skip
def test_templates_that_reach_further_than_their_fields_are_refused(template):
    with pytest.raises(SheetError, match=r"export\.names"):
        check_template("export.names", template, FIELDS, apart=("shot", "number"))


def test_templates_are_filled_in_and_the_outcome_is_a_name():
    template = check_template("export.names", "{job} {number:02} {{a}} {shot}", FIELDS, apart=("shot", "number"))
    assert filled("export.names", template, {"job": "owl", "shot": "hero", "number": 3}) == "owl 03 {a} hero"
    for template in ("../{shot}", "/tmp/{shot}", "{shot}/x", "{shot}."):
        with pytest.raises(SheetError, match=r"export\.names"):
            filled("export.names", template, {"shot": "hero"})


def test_a_batch_gets_a_folder_each():
    names = folder_names([Path("a/job.toml"), Path("b/job.toml"), Path("owl.toml")])
    assert names == ["a_job", "b_job", "owl"]
    clashing = folder_names(
        [Path("a/job.toml"), Path("b/JOB.toml"), Path("x/a/job.toml"), Path("a?/job.toml"), Path("a:/job.toml")]
    )
    assert len({folded(name) for name in clashing}) == 5 and not any(problem(name) for name in clashing)
    with pytest.raises(SheetError, match="named twice"):
        folder_names([Path("a/job.toml"), Path("a/../a/job.toml")])
