"""The words of settings: old names are still read, every control says what it does, no name that belongs to one program."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.job.settings import Spec, label_of, specs  # noqa: E402
from blender_addon.job.sheet import override, parse, written  # noqa: E402
from blender_addon.job.step import current_name  # noqa: E402
from blender_addon.steps import catalogue  # noqa: E402

OLD = {
    "cleanup.close": ("fill_holes", False),
    "camera.coverage": ("views", "full"),
    "lighting.bloom": ("glare", 4.0),
    "lighting.lookdev": ("targets", True),
    "material.raised_wear": ("handling_wear", 0.5),
    "delighting.strength": ("strength", 0.5),
}
"""Fields of sheets written by 0.1.0, what they are called now, and a value other than the default."""

TAKEN = re.compile(
    r"\b(delight\w*|swatch\w*|floater\w*|lookdev|bloom|raised wear|coverage|detail map|scatter|rig|look through|close holes)\b",
    re.IGNORECASE,
)
"""Words that a practitioner ties to one program; the wax's own bloom is not a setting."""


@pytest.mark.parametrize("place", OLD)
def test_an_old_sheet_is_read_and_written_with_the_new_name(place: str) -> None:
    step, _, old = place.partition(".")
    new, value = OLD[place]
    shown = {True: "true", False: "false"}.get(value, f'"{value}"' if isinstance(value, str) else str(value))
    sheet = parse(f"bozzetto = 1\n[{step}]\n{old} = {shown}\n", catalogue(), name="old", folder=Path("/jobs"))
    assert getattr(sheet[current_name(step)], new) == value
    assert f"\n{new} = {shown}\n" in written(sheet, catalogue())
    override(sheet, f"{place}={shown}")


def controls() -> Iterator[tuple[str, str, Spec]]:
    """Every setting, rows of tables too: where it is, its label, what it is."""

    def of(where: str, settings: type) -> Iterator[tuple[str, str, Spec]]:
        for name, spec in specs(settings).items():
            yield f"{where}.{name}", label_of(name, spec), spec
            if spec.row is not None:
                yield from of(f"{where}.{name}", spec.row)

    for step in catalogue():
        yield from of(step.name, step.settings)


def test_every_control_says_what_it_does() -> None:
    """A help of one word, or one that only repeats the label, says nothing."""
    short = [where for where, label, spec in controls() if len(spec.help.split()) < 2 or spec.help.lower() == label.lower()]
    assert not short
    unnamed = [where for where, _, spec in controls() for key, label, words in spec.choices if not (key and label and words)]
    assert not unnamed


def test_no_label_leads_to_one_program() -> None:
    taken = []
    for where, label, spec in controls():
        words = [label, spec.help, *(part for choice in spec.choices for part in choice[1:])]
        taken += [f"{where}: {word}" for word in words if TAKEN.search(word)]
    assert not taken
