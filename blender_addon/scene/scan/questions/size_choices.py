"""Decisions on the unit of a scan file and the size of the piece."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....core.scan.units import MM_PER_UNIT, PLAUSIBLE_MM, UnitGuess, unit_chances
from ....job.decisions import Alternative, Decision

if TYPE_CHECKING:
    from ....job.sheet import JobSheet

NAMES = {"m": "metres", "cm": "centimetres", "mm": "millimetres", "in": "inches"}
LENGTHS = ("height", "width", "stand_length", "disc", "distance")
"""Settings of the step Orientation that give a known length, so that the unit no longer matters."""
QUESTION = "How large is it?"
KNOWN, NO_UNIT, EITHER = 0.98, 0.5, 0.5
"""Confidence in a size by a known length, in an open unit, and in a height of what lies flat: guesses."""
FLAT = 3.0
"""Longest side over the height beyond which a given height may have been meant as the longest side (a guess)."""


def length_is_known(sheet: JobSheet) -> bool:
    """Whether the job sheet gives a known length, which determines the size whatever the unit is."""
    try:
        settings = sheet["orientation"]
    except KeyError:
        return False
    return any(getattr(settings, name, None) is not None for name in LENGTHS)


def unit_decision(longest: float, guess: UnitGuess, given: str, *, in_metres: bool, known: bool) -> Decision:
    """The decision on the unit of a scan whose longest side is `longest` units.

    given: 'auto' or the unit in the settings. known: a length is known, so that the unit has no effect.
    in_metres: the file's format is written in metres by its specification.
    """
    if given != "auto":
        return Decision("unit", "In what unit is the file?", _unit(given, longest), 1.0, ("the setting says so",), by_hand=True)
    chances = unit_chances(longest, metres_by_format=in_metres)
    evidence = [f"its longest side is {longest:.4g} units"]
    if in_metres:
        evidence.append("the format is written in metres by its specification")
    if known:
        evidence.append("a known length decides the size, whatever the unit")
    if not guess.unit:
        choice = Alternative("no usual unit fits, so the file's unit is left open", {})
        evidence.append(f"none makes it {PLAUSIBLE_MM[0]:.0f} to {PLAUSIBLE_MM[1]:.0f} mm long")
        chances = dict.fromkeys(("mm", "cm", "m"), 0.0)
    else:
        choice = _unit(guess.unit, longest)
    others = sorted((unit for unit in chances if unit != guess.unit), key=lambda unit: -chances[unit])
    sure = KNOWN if known else chances.get(guess.unit, NO_UNIT)
    return Decision(
        "unit", "In what unit is the file?", choice, sure, tuple(evidence), tuple(_unit(other, longest) for other in others)
    )  # fmt: skip


def _unit(unit: str, longest: float) -> Alternative:
    return Alternative(f"{NAMES[unit]}: {longest * MM_PER_UNIT[unit]:.4g} mm long", {"intake.unit": unit})


def size_decision(
    how: str, assumed: bool, size_mm: tuple[float, float, float], *, unit_guessed: bool, of: str = ""
) -> Decision:  # fmt: skip
    """The decision on the size: from a known length, from the file's unit, or assumed.

    Where the size depends on a guessed unit, only the unit is asked about. What lies flat is asked about where its height was
    given: as often as not a medal's or a relief's longest side was measured.

    how: where the size comes from, in words. size_mm: width, depth, height as it stands. unit_guessed: the file's unit is a
    guess. of: what the given height is of, as `orientation.of` says; '' where none decides the size.
    """
    height, longest = size_mm[2], max(size_mm)
    words = f"{height:.1f} mm high, {'assumed: ' if assumed else 'by '}{how}"
    if of == "longest":
        return Decision("size", QUESTION, Alternative(words, {"orientation.of": of}), 1.0, (how,), by_hand=True)
    if of == "whole" and longest > FLAT * height:
        choice = Alternative(f"{words} as it lies, so that it is {longest:.0f} mm long", {})
        other = Alternative(f"{height:.4g} mm long: its longest side was measured", {"orientation.of": "longest"})
        return Decision("size", QUESTION, choice, EITHER, ("it lies flat; a given width leaves no doubt",), (other,))
    sure = 0.4 if assumed and not unit_guessed else 0.85 if assumed else KNOWN
    others = (Alternative("any other size: give its height", {}),) if assumed else ()
    return Decision("size", QUESTION, Alternative(words, {}), sure, (how,), others)
