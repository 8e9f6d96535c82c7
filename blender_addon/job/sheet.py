"""How is a job written down? The job sheet: one TOML file with a table a step.

It begins `bozzetto = 1`. Steps and fields that are not written keep their defaults. Paths are relative to the sheet's folder.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from .errors import SheetError
from .settings import SHORT, Spec, build, check, marked, nearest, specs
from .step import Step

FORMAT = 1
"""The number this version writes; newer sheets are refused, older ones migrated."""

MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}
"""From a format number to the function that turns such a sheet's tables into the next format's."""


@dataclass
class JobSheet:
    """All settings of a job: a settings object a step, by step name. `folder` is where relative paths start."""

    name: str
    folder: Path
    settings: dict[str, Any] = field(default_factory=dict)

    def __getitem__(self, step: str) -> Any:
        return self.settings[step]

    def path(self, written: str) -> Path:
        """The absolute path of a file or folder written on the sheet."""
        return (self.folder / Path(written).expanduser()).resolve()


def blank(steps: Sequence[Step], *, name: str = "job", folder: Path | None = None) -> JobSheet:
    """A sheet with every setting at its default."""
    return JobSheet(name, folder or Path.cwd(), {step.name: step.settings() for step in steps})


def read(path: Path, steps: Sequence[Step]) -> JobSheet:
    """The sheet in a file. Raises SheetError with the file's name, the field and what to do."""
    try:
        words = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise SheetError(f'There is no job sheet "{path}"; write one with "bozzetto new"') from None
    except (OSError, UnicodeDecodeError) as error:
        raise SheetError(f'The job sheet "{path}" can\'t be read: {error}') from None
    return parse(words, steps, name=path.stem, folder=path.resolve().parent, where=f'Job sheet "{path.name}": ')


def parse(words: str, steps: Sequence[Step], *, name: str, folder: Path, where: str = "") -> JobSheet:
    """The sheet in a text."""
    try:
        tables = tomllib.loads(words)
    except tomllib.TOMLDecodeError as error:
        raise SheetError(f"{where}not valid TOML: {error}") from None
    try:
        return _from_tables(_migrated(tables), steps, name, folder)
    except SheetError as error:
        raise SheetError(f"{where}{error}") from None


def _migrated(tables: dict[str, Any]) -> dict[str, Any]:
    number = tables.pop("bozzetto", None)
    if number is None:
        raise SheetError('the first line must be "bozzetto = 1"')
    if not isinstance(number, int) or isinstance(number, bool) or number < 1:
        raise SheetError(f"bozzetto must be a sheet number such as {FORMAT}, not {number!r}")
    if number > FORMAT:
        raise SheetError(f"it was written by a newer Bozzetto (sheet {number}, this one reads {FORMAT}); update the add-on")
    while number < FORMAT:
        tables = MIGRATIONS[number](tables)
        number += 1
    return tables


def _from_tables(tables: Mapping[str, Any], steps: Sequence[Step], name: str, folder: Path) -> JobSheet:
    sheet = blank(steps, name=name, folder=folder)
    title = tables.get("name", name)
    sheet.name = check("name", Spec("text", ""), title)
    known = {step.name: step for step in steps}
    for key, values in tables.items():
        if key == "name":
            continue
        if key not in known:
            raise SheetError(f'there is no step "{key}"{nearest(key, list(known))}')
        sheet.settings[key] = build(known[key].settings, values, key)
    return sheet


def override(sheet: JobSheet, assignment: str) -> None:
    """Apply `step.field=value`. The value is TOML; a bare word counts as text."""
    match = re.fullmatch(r"\s*([a-z_]+)\.([a-z_]+)\s*=\s*(.*)", assignment, re.DOTALL)
    if not match:
        raise SheetError(f'"{assignment}" is not of the form step.field=value')
    step, name, written = match.groups()
    if step not in sheet.settings:
        raise SheetError(f'there is no step "{step}"{nearest(step, list(sheet.settings))}')
    settings = sheet.settings[step]
    name = str(getattr(type(settings), "ALIASES", {}).get(name, name))
    known = specs(settings)
    if name not in known:
        raise SheetError(f'{step} has no setting "{name}"{nearest(name, list(known))}')
    value: Any = written
    if known[name].kind not in ("text", "file", "folder", "choice", "object", "collection", "image") or written[:1] in "\"'":
        try:
            value = tomllib.loads(f"value = {written}")["value"]
        except tomllib.TOMLDecodeError:
            value = written
    setattr(settings, name, check(f"{step}.{name}", known[name], value))


def answer(sheet: JobSheet, sets: Mapping[str, Any]) -> None:
    """Write the settings that choose one way of a decision ({"orientation.up": "y"}). Raises SheetError for an unknown one."""
    for place, value in sets.items():
        step, _, name = place.partition(".")
        if step not in sheet.settings or name not in specs(sheet.settings[step]):
            raise SheetError(f'there is no setting "{place}" to answer with')
        setattr(sheet.settings[step], name, check(place, specs(sheet.settings[step])[name], value))


def written(sheet: JobSheet, steps: Sequence[Step], *, everything: bool = False, comments: bool = False) -> str:
    """The sheet as TOML text: what differs from the defaults, or everything; `comments` adds each field's help."""
    lines = [f"bozzetto = {FORMAT}", f"name = {_value(sheet.name)}"]
    for step in steps:
        body = _table(step.name, sheet.settings[step.name], everything, comments)
        if body or comments:
            lines += ["", *([f"# {step.help}"] if comments else []), f"[{step.name}]", *body]
    return "\n".join(lines) + "\n"


def short(sheet: JobSheet, steps: Sequence[Step]) -> str:
    """A job sheet of the few lines that matter: the fields marked `SHORT` and the tables' rows, each line with its help.

    A field that is automatic stands there as a comment, ready to be filled in.
    """
    lines = [f"bozzetto = {FORMAT}", f"name = {_value(sheet.name)}"]
    for step in steps:
        settings = sheet[step.name]
        fields = specs(settings)
        body: list[str] = []
        for name in marked(settings, SHORT):
            value = getattr(settings, name)
            line = f"# {name} =" if value is None else f"{name} = {_value(value)}"
            body.append(f"{line:<24}  # {_explained(fields[name])}")
        rows = [name for name, spec in fields.items() if spec.kind == "table"]
        more = [line for name in rows for row in getattr(settings, name) for line in _row(f"{step.name}.{name}", row)]
        if body or more:
            lines += ["", *([f"[{step.name}]", *body] if body else []), *(more if body else more[1:])]
    return "\n".join(lines) + "\n"


def _row(path: str, row: Any) -> list[str]:
    """One row of a table: its texts, numbers and choices that are filled in."""
    filled = {name: getattr(row, name) for name in specs(row) if getattr(row, name) not in (None, "")}
    default = type(row)()
    kept = {
        name: value for name, value in filled.items() if value != getattr(default, name) or specs(row)[name].kind == "choice"
    }
    return ["", f"[[{path}]]", *[f"{name} = {_value(value)}" for name, value in kept.items()]]


def _table(path: str, settings: Any, everything: bool, comments: bool) -> list[str]:
    default = type(settings)()
    lines: list[str] = []
    later: list[str] = []
    for name, spec in specs(settings).items():
        value = getattr(settings, name)
        changed = value != getattr(default, name)
        if spec.kind == "table":
            for row in value:
                later += ["", f"[[{path}.{name}]]", *_table(f"{path}.{name}", row, everything, False)]
            continue
        if comments:
            lines.append(f"# {_explained(spec)}")
        if value is None:
            if comments:
                lines.append(f"# {name} =")
        elif changed or everything:
            lines.append(f"{name} = {_value(value)}")
        elif comments:
            lines.append(f"# {name} = {_value(value)}")
    return lines + later


def _explained(spec: Spec) -> str:
    words = spec.help + (f", {spec.unit}" if spec.unit else "")
    if spec.kind == "choice":
        words += ": " + ", ".join(key for key, _, _ in spec.choices)
    elif spec.low is not None and spec.high is not None and spec.kind != "colour":
        words += f" ({spec.low:g} to {spec.high:g})"
    return words


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)  # a JSON string is a TOML basic string
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(part) for part in value) + "]"
    return str(value)
