"""What is a setting? Each step's `Settings` is a dataclass whose fields carry unit, limits and help.

The job sheet, the command line, Blender's property groups, the panels and the reference are all made from these
declarations. On the sheet and in a step's code lengths are in mm and angles in degrees; only `ui/properties.py` converts
to Blender's units.

The functions that declare a field (`length`, `angle`, `number` ... `data`) share their keywords. default: None makes the
setting optional: automatic. low, high: limits of a number. help: what the setting does and when to change it. unit: of a
number, shown behind it. label: the name on screen, by default made from the field's. more: shown among the rarer settings.
choices: (key, label, help) of each. short: the field of a table's row that a bare string fills.

    @dataclass(kw_only=True)
    class Settings:
        height: float | None = length(None, low=0.1, high=5000.0, help="Height of the piece; without it size is assumed")
        keep_lean: bool = switch(False, help="Keep an intended lean")
"""

from __future__ import annotations

import dataclasses
import math
import types
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

from ..core.records import record
from .errors import SheetError

_KEY = "bozzetto"


@record
class Spec:
    """What a field is.

    `kind` is one of number, integer, switch, choice, text, file, folder, point, colour, table, object, collection, image.
    `unit` is 'mm', 'deg', '%', 'stops', 'K', 's', 'px' or ''. `optional` fields may be None: automatic. `choices` are
    (key, label, help). `when` lists (field, values): the field matters, and is shown, only while one of those fields has one of
    those values. `row` is the dataclass of a table's rows; `short` names the row field that a bare string fills. `place`: a
    point is a place, which can be picked in the view, and no direction.
    """

    kind: str
    help: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    optional: bool = False
    choices: tuple[tuple[str, str, str], ...] = ()
    row: type | None = None
    short: str = ""
    label: str = ""
    more: bool = False
    size: int = 3
    place: bool = True
    when: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def automatic(self) -> str:
        """What is done while the setting is not set, as its help says behind "auto:"; '' where nothing takes its place."""
        return self.help.partition("uto: ")[2]


def _declare(default: object, spec: Spec) -> Any:
    if spec.optional is False and default is None:
        spec = dataclasses.replace(spec, optional=True)
    if isinstance(default, list):
        return dataclasses.field(default_factory=lambda: list(default), metadata={_KEY: spec})
    return dataclasses.field(default=default, metadata={_KEY: spec})


def length(default: float | None, *, low: float, high: float, help: str, label: str = "", more: bool = False) -> Any:
    """A length in mm. A default of None makes the setting optional."""
    return _declare(default, Spec("number", help, "mm", low, high, label=label, more=more))


def angle(default: float | None, *, low: float, high: float, help: str, label: str = "", more: bool = False) -> Any:
    """An angle in degrees."""
    return _declare(default, Spec("number", help, "deg", low, high, label=label, more=more))


def number(
    default: float | None, *, low: float, high: float, help: str, unit: str = "", label: str = "", more: bool = False
) -> Any:
    """A plain number."""
    return _declare(default, Spec("number", help, unit, low, high, label=label, more=more))


def integer(default: int | None, *, low: int, high: int, help: str, unit: str = "", label: str = "", more: bool = False) -> Any:
    """A whole number."""
    return _declare(default, Spec("integer", help, unit, low, high, label=label, more=more))


def switch(default: bool | None, *, help: str, label: str = "", more: bool = False) -> Any:
    """On or off."""
    return _declare(default, Spec("switch", help, label=label, more=more))


def choice(
    default: str | None, choices: Sequence[tuple[str, str, str]], *, help: str, label: str = "", more: bool = False
) -> Any:
    """One of several named ways: (key, label, help) each."""
    return _declare(default, Spec("choice", help, choices=tuple(choices), label=label, more=more))


def text(default: str | None, *, help: str, label: str = "", more: bool = False) -> Any:
    """Words."""
    return _declare(default, Spec("text", help, label=label, more=more))


def file(default: str | None, *, help: str, label: str = "", more: bool = False) -> Any:
    """A file; on a sheet relative paths start at the sheet's folder."""
    return _declare(default, Spec("file", help, label=label, more=more))


def folder(default: str | None, *, help: str, label: str = "", more: bool = False) -> Any:
    """A folder; on a sheet relative paths start at the sheet's folder."""
    return _declare(default, Spec("folder", help, label=label, more=more))


def point(
    default: tuple[float, ...] | None,
    *,
    help: str,
    unit: str = "mm",
    size: int = 3,
    place: bool = True,
    label: str = "",
    more: bool = False,
) -> Any:
    """A point of `size` numbers, in `unit`. place: whether it can be picked in the view; False for a direction."""
    return _declare(default, Spec("point", help, unit, size=size, place=place, label=label, more=more))


def colour(default: tuple[float, float, float] | None, *, help: str, label: str = "", more: bool = False) -> Any:
    """A linear Rec. 709 colour, three numbers 0 to 1."""
    return _declare(default, Spec("colour", help, "", 0.0, 1.0, label=label, more=more))


def table(row: type, *, help: str, short: str = "", label: str = "", more: bool = False) -> Any:
    """A list of rows, each a dataclass of settings itself."""
    return _declare([], Spec("table", help, row=row, short=short, label=label, more=more))


def data(kind: str, *, help: str, label: str = "", more: bool = False) -> Any:
    """The name of something in the .blend: kind 'object', 'collection' or 'image'."""
    return _declare(None, Spec(kind, help, optional=True, label=label, more=more))


def only_when(field: Any, **others: str | Sequence[str]) -> Any:
    """The field, shown only while one of the other fields has one of the given values (its value is used all the same)."""
    when = tuple((name, (values,) if isinstance(values, str) else tuple(values)) for name, values in others.items())
    spec = dataclasses.replace(field.metadata[_KEY], when=when)
    field.metadata = types.MappingProxyType({**field.metadata, _KEY: spec})
    return field


FIRST, SHORT, DEFAULT, LIVE = "first", "short", "default", "live"
"""Marks of a field: it is asked on the first panel; it stands in a short job sheet; the preferences hold its default for new
jobs; the scene follows it at once, without a run."""


@cache
def marked(settings: type, mark: str) -> tuple[str, ...]:
    """The names of the fields with a mark; a settings class lists marks as `MARKS`, by the field's name."""
    marks: Mapping[str, Sequence[str]] = getattr(settings, "MARKS", {})
    return tuple(name for name in specs(settings) if mark in marks.get(name, ()))


@record
class AskedRow:
    """One row of a table of files, asked on the first panel as if it were a setting of its own.

    It is the first row of `table` whose field `by` has one of `values`; its field `field` holds the file. A settings class
    lists them as `ASKED`. needed: nothing can be run without it.
    """

    name: str
    label: str
    help: str
    table: str
    field: str
    by: str
    values: tuple[str, ...]
    needed: bool = False


def matters(spec: Spec, values: Callable[[str], object]) -> bool:
    """Whether a field matters, given a function from field names to values."""
    return not spec.when or any(values(name) in wanted for name, wanted in spec.when)


def specs(settings: type | Any) -> dict[str, Spec]:
    """The fields of a settings class, or of an object of it, in order: name to `Spec`. The mapping is shared: do not change
    it."""
    return _specs(settings if isinstance(settings, type) else type(settings))


@cache
def _specs(settings: type) -> dict[str, Spec]:
    return {field.name: field.metadata[_KEY] for field in dataclasses.fields(settings) if _KEY in field.metadata}


_INITIALS = ("dpi", "fps", "glb", "usd")


def label_of(name: str, spec: Spec) -> str:
    """The words shown for a field: its label, or its name as words."""
    if spec.label:
        return spec.label
    first, *rest = (word.upper() if word in _INITIALS else word for word in name.split("_"))
    return " ".join([first if first.isupper() else first.capitalize(), *rest])


def nearest(word: str, known: Sequence[str]) -> str:
    """' (did you mean "x"?)' for the known word nearest to `word`, or ''."""
    import difflib  # only for words about a mistake, and Blender's start need not

    close = difflib.get_close_matches(word[:80], known, 1, 0.5)
    return f' (did you mean "{close[0]}"?)' if close else ""


def check(name: str, spec: Spec, value: object) -> Any:
    """`value` as the type the field holds; raises SheetError, which names the field, when it can't be."""
    if value is None:
        if spec.optional:
            return None
        raise SheetError(f"{name} needs a value")
    checked: Callable[[str, Spec, Any], Any] = _CHECKS.get(spec.kind, _check_text)
    return checked(name, spec, value)


def _check_number(name: str, spec: Spec, value: object) -> float | int:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not _is_finite(value):
        raise SheetError(f"{name} must be a number{_in(spec)}, not {shown(value)}")
    if spec.kind == "integer" and value != int(value):
        raise SheetError(f"{name} must be a whole number, not {shown(value)}")
    low, high = spec.low, spec.high
    if (low is not None and value < low) or (high is not None and value > high):
        raise SheetError(f"{name} must lie between {low:g} and {high:g}{_in(spec)}, not {value:g}")
    return int(value) if spec.kind == "integer" else float(value)


def _is_finite(value: float) -> bool:
    """Whether a number fits into a float: integers of hundreds of digits don't."""
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def shown(value: object) -> str:
    """A value as an error message shows it: any value, shortened where it is long."""
    try:
        words = repr(value)
    except (ValueError, RecursionError):  # Python prints no whole number of more than some thousand digits
        words = f"a {type(value).__name__} too large to be shown"
    return words if len(words) <= 80 else words[:76] + " ..."


def _in(spec: Spec) -> str:
    return f" {spec.unit}" if spec.unit else ""


def _check_switch(name: str, spec: Spec, value: object) -> bool:
    if not isinstance(value, bool):
        raise SheetError(f"{name} must be true or false, not {shown(value)}")
    return value


def _check_choice(name: str, spec: Spec, value: object) -> str:
    keys = [key for key, _, _ in spec.choices]
    if value not in keys:
        hint = nearest(str(value), keys)
        raise SheetError(f"{name} must be one of {', '.join(keys)}, not {shown(value)}{hint}")
    return value


def _check_text(name: str, spec: Spec, value: object) -> str:
    if not isinstance(value, str):
        raise SheetError(f"{name} must be text in quotes, not {shown(value)}")
    return value


def _check_point(name: str, spec: Spec, value: object) -> tuple[float, ...]:
    size = 3 if spec.kind == "colour" else spec.size
    if not isinstance(value, (list, tuple)) or len(value) != size:
        raise SheetError(f"{name} must be a list of {size} numbers, not {shown(value)}")
    return tuple(float(_check_number(name, dataclasses.replace(spec, kind="number"), part)) for part in value)


def _check_table(name: str, spec: Spec, value: object) -> list[Any]:
    assert spec.row is not None
    if isinstance(value, (str, Mapping)):
        value = [value]
    if not isinstance(value, list):
        raise SheetError(f"{name} must be a list of tables, not {shown(value)}")
    rows = []
    for place, entry in enumerate(value):
        if isinstance(entry, spec.row):
            rows.append(entry)
            continue
        if isinstance(entry, str) and spec.short:
            entry = {spec.short: entry}
        rows.append(build(spec.row, entry, f"{name}[{place + 1}]"))
    return rows


_CHECKS: dict[str, Callable[[str, Spec, Any], Any]] = {
    "number": _check_number,
    "integer": _check_number,
    "switch": _check_switch,
    "choice": _check_choice,
    "point": _check_point,
    "colour": _check_point,
    "table": _check_table,
}


def build(settings: type, values: Any, where: str) -> Any:
    """A settings object from a mapping of a sheet; unknown or wrong fields raise SheetError by name.

    A class may give `ALIASES`, short names for its fields (`scan` for a table `scans` of one row), and `migrated`, a function
    from the fields of an older sheet to today's.
    """
    if not isinstance(values, Mapping):
        raise SheetError(f"{where} must be a table of settings, not {values!r}")
    values = migrated(settings, values)
    known = specs(settings)
    aliases: Mapping[str, str] = getattr(settings, "ALIASES", {})
    built = settings()
    for name, value in values.items():
        name = aliases.get(name, name)
        if name not in known:
            raise SheetError(f'{where} has no setting "{name}"{nearest(name, list(known))}')
        setattr(built, name, check(f"{where}.{name}", known[name], value))
    return built


def migrated(settings: type, values: Mapping[str, object]) -> Mapping[str, object]:
    """The fields of an older sheet as today's; what the class knows nothing of stays as it is."""
    change: Callable[[Mapping[str, object]], Mapping[str, object]] | None = getattr(settings, "migrated", None)
    return values if change is None else change(values)


def plain(settings: Any) -> dict[str, object]:
    """The settings as plain numbers, strings, lists and dicts, with None for automatic; what stamps are made of."""
    out: dict[str, object] = {}
    for name, spec in specs(settings).items():
        value = getattr(settings, name)
        if spec.kind == "table":
            value = [plain(row) for row in value]
        elif isinstance(value, tuple):
            value = list(value)
        out[name] = value
    return out
