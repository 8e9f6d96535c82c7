"""Does any text end in a sheet or in a SheetError, and does every sheet that can be written read back the same?"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("hypothesis")

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from blender_addon.job.errors import SheetError
from blender_addon.job.settings import check, specs
from blender_addon.job.sheet import JobSheet, blank, override, parse, read, written
from blender_addon.job.step import Step
from tests.job.every_setting import STEPS

EACH = settings(
    max_examples=150, derandomize=True, deadline=None, database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)  # fmt: skip

WORDS = st.text(st.characters(codec="utf-8"), max_size=40)
"""Any text that a file can hold."""
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**320), 10**320) | st.floats() | WORDS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS, inner, max_size=3),
    max_leaves=8,
)
LINES = st.sampled_from(
    ["bozzetto = 1", "bozzetto = 2", "[every]", "[every", "[[every.rows]]", "file = 'x'", "number = 3", "number = nan",
    "x = 1", "name = 'a'",
     "point = [1, 2, 3]", "rows = ['a', {file = 'b'}]", "choice = 'one'", "= 1", "'' = 1", '"a.b" = 1', "a.b.c = 1"]
)  # fmt: skip


def settings_of(step: Step) -> Any:
    """Settings of a step, each field as it may be set."""
    return st.fixed_dictionaries({name: _value(spec) for name, spec in specs(step.settings).items()})


def _value(spec: Any) -> Any:
    if spec.kind in ("number", "integer"):
        low, high = spec.low, spec.high
        strategy = st.integers(int(low), int(high)) if spec.kind == "integer" else st.floats(low, high)
    elif spec.kind in ("point", "colour"):
        size = 3 if spec.kind == "colour" else spec.size
        strategy = st.tuples(*[st.floats(0.0, 1.0)] * size)
    elif spec.kind == "table":
        strategy = st.lists(st.fixed_dictionaries({name: _value(own) for name, own in specs(spec.row).items()}), max_size=3)
    elif spec.kind == "switch":
        strategy = st.booleans()
    elif spec.kind == "choice":
        strategy = st.sampled_from([key for key, _, _ in spec.choices])
    else:
        strategy = WORDS
    return st.none() | strategy if spec.optional else strategy


def filled(values: dict[str, Any]) -> JobSheet:
    sheet = blank(STEPS, name="any")
    for name, spec in specs(STEPS[0].settings).items():
        setattr(sheet["every"], name, check(f"every.{name}", spec, values[name]))
    return sheet


@EACH
@given(settings_of(STEPS[0]), WORDS, st.booleans(), st.booleans())
@example({"number": -0.0, **dict.fromkeys(["length", "angle"])}, "\x7f\u2028", True, True)
def test_what_is_written_reads_back_the_same(values: dict[str, Any], title: str, everything: bool, comments: bool) -> None:
    values = {name: values.get(name, getattr(STEPS[0].settings(), name)) for name in specs(STEPS[0].settings)}
    sheet = filled(values)
    words = written(sheet, STEPS, everything=everything, comments=comments)
    assert tomllib.loads(words)["bozzetto"] == 1
    assert parse(words, STEPS, name="any", folder=Path("/jobs")).settings == sheet.settings


@EACH
@given(st.one_of(WORDS, st.lists(LINES, max_size=12).map("\n".join), st.binary(max_size=60)))
def test_any_text_is_a_sheet_or_is_refused_in_words(tmp_path: Path, words: str | bytes) -> None:
    data = words if isinstance(words, bytes) else words.encode()
    (tmp_path / "a.toml").write_bytes(data)
    try:
        sheet = read(tmp_path / "a.toml", STEPS)
    except SheetError as error:
        assert 0 < len(str(error)) < 600
    else:
        assert set(sheet.settings) == {"every"}


@EACH
@given(VALUES, st.sampled_from(sorted(specs(STEPS[0].settings))))
def test_any_value_fits_or_is_refused_by_the_fields_name(value: Any, name: str) -> None:
    spec = specs(STEPS[0].settings)[name]
    try:
        kept = check(f"every.{name}", spec, value)
    except SheetError as error:
        assert f"every.{name}" in str(error) and len(str(error)) < 400
    else:
        assert check(f"every.{name}", spec, kept) == kept  # what was taken is taken again


@EACH
@given(WORDS, st.sampled_from([*sorted(specs(STEPS[0].settings)), "nothing"]))
@example("[" * 3000, "number")
@example("9" * 5000, "number")
def test_any_override_is_taken_or_refused(words: str, name: str) -> None:
    sheet = blank(STEPS)
    try:
        override(sheet, f"every.{name}={words}")
    except SheetError as error:
        assert len(str(error)) < 600
    else:
        written(sheet, STEPS)


@EACH
@given(
    st.one_of(
        WORDS, st.text(max_size=30), st.lists(st.sampled_from(["..", ".", "~", "~x", "/", "\0", "a" * 300, "ü"])).map("/".join)
    )
)
def test_any_path_is_one_or_is_refused(tmp_path: Path, words: str) -> None:
    try:
        assert blank(STEPS, folder=tmp_path).path(words).is_absolute()
    except SheetError as error:
        assert "is not a valid path" in str(error) and len(str(error)) < 400
