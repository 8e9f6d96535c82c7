"""Is the reference of all settings whole? It is made from the steps' declarations; its rows are read back and compared."""

from __future__ import annotations

import re

import pytest

from blender_addon.job.settings import specs
from blender_addon.job.settings_reference import as_markdown
from blender_addon.steps import catalogue


def _rows(markdown: str) -> dict[str, list[str]]:
    """The cells of each row of the first table, by the setting's name."""
    table = markdown.split("\n\nEach row of")[0]
    lines = [line for line in table.splitlines() if line.startswith("| `")]
    cells = [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines]
    return {row[0].strip("`"): row for row in cells}


@pytest.mark.parametrize("step", catalogue(), ids=lambda step: step.name)
def test_the_reference_says_of_each_setting_what_the_schema_says(step) -> None:
    rows, declared, usual = _rows(as_markdown([step])), specs(step.settings), step.settings()
    assert list(rows) == list(declared)
    for name, (_, default, limits, words) in rows.items():
        spec, value = declared[name], getattr(usual, name)
        assert words == spec.help.strip() and words
        if spec.kind != "table":
            shown = f"`{str(value).lower()}`" if isinstance(value, bool) else f"`{value}`"
            assert default == ("auto" if value is None else "empty" if value == "" else shown)
        assert all(key in limits for key, *_ in spec.choices or ())


def test_each_choice_is_explained() -> None:
    words = as_markdown(catalogue())
    declared = [
        (name, *choice) for step in catalogue() for name, spec in specs(step.settings).items() for choice in spec.choices
    ]
    assert declared
    assert not [(name, label) for name, _, label, help_text in declared if help_text in ("", label)], "a name says nothing new"
    assert all(f"- `{name} = {key}`: {label}. {meaning}\n" in words for name, key, label, meaning in declared)


def test_limits_are_written_without_exponents() -> None:
    assert not re.search(r"\de[+-]\d", as_markdown(catalogue()))


def test_each_step_has_its_section_in_the_order_of_the_work() -> None:
    assert re.findall(r"^## (\w+)$", as_markdown(catalogue()), re.MULTILINE) == [step.name for step in catalogue()]
