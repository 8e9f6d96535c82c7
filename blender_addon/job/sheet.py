"""How is a job written down? The job sheet: one TOML file with a table for each step.

It begins `bozzetto = 1`. Steps and fields that are not written keep their defaults. Paths are relative to the sheet's folder.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import stat
import textwrap
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from .cautions import IN_SHORT
from .errors import SheetError
from .files.names import check_name, cleaned
from .settings import SHORT, Spec, build, check, marked, migrated, nearest, shown, specs
from .step import MOVED, Step, current_name

FORMAT = 1
"""The number this version writes; newer sheets are refused, older ones migrated."""

LONGEST = 4_000_000
"""Most bytes of a sheet; one with every setting explained has some 20,000."""

MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}
"""From a format number to the function that turns such a sheet's tables into the next format's."""


@dataclass
class JobSheet:
    """All settings of a job: a settings object for each step, by step name. `folder` is where relative paths start; `file` the
    sheet's own file, None when it has none; `place` the job's number in a batch, None outside of one."""

    name: str
    folder: Path
    settings: dict[str, Any] = field(default_factory=dict)
    file: Path | None = None
    place: int | None = None

    def __getitem__(self, step: str) -> Any:
        return self.settings[step]

    def path(self, written: str) -> Path:
        """The absolute path of a file or folder written on the sheet. Raises SheetError for what is not a valid path.

        Links are followed, except where they lead nowhere or to a name without a suffix: then the name as written is kept,
        whose suffix is needed.
        """
        try:
            place = self.folder / Path(written).expanduser()
            path = place.resolve()
            ends_nowhere = place.is_symlink() and not (path.suffix and path.exists())
        except (OSError, RuntimeError, ValueError) as error:
            raise SheetError(f"{_shown(written)} is not a valid path ({_reason(error)}); write another one") from None
        return Path(os.path.abspath(place)) if ends_nowhere else path

    def named_files(self) -> frozenset[Path]:
        """All files that the sheet itself names, links followed; what is not a valid path is left out."""
        return frozenset(path for settings in self.settings.values() for path in self._files_of(settings))

    def _files_of(self, settings: Any) -> Iterator[Path]:
        for name, spec in specs(settings).items():
            value = getattr(settings, name)
            if spec.kind == "table":
                for row in value:
                    yield from self._files_of(row)
            elif spec.kind == "file" and value:
                with contextlib.suppress(SheetError, OSError, RuntimeError):
                    yield self.path(value).resolve()


def blank(steps: Sequence[Step], *, name: str = "job", folder: Path | None = None) -> JobSheet:
    """A sheet with every setting at its default."""
    return JobSheet(name, folder or Path.cwd(), {step.name: step.settings() for step in steps})


def read(path: Path, steps: Sequence[Step]) -> JobSheet:
    """The sheet in a file. Raises SheetError with the file's name, the field and what to do."""
    try:
        words = _text_of(path)
        folder = path.resolve().parent
    except FileNotFoundError:
        raise SheetError(f'There is no job sheet "{path}"; write one with "bozzetto new"') from None
    except UnicodeDecodeError as error:
        raise SheetError(f'The job sheet "{path}" can\'t be read: {error}; save it as UTF-8') from None
    except (OSError, RuntimeError, ValueError) as error:
        raise SheetError(f"The job sheet {_shown(str(path))} can't be read: {_reason(error)}") from None
    sheet = parse(words, steps, name=cleaned(path.stem), folder=folder, where=f'Job sheet "{path.name}": ')
    sheet.file = path.resolve()
    return sheet


def _text_of(path: Path) -> str:
    """The text of a sheet: a plain file of a sensible length, in UTF-8, with or without a byte-order mark."""
    found = path.stat()  # first: opening a named pipe would wait without end
    if not stat.S_ISREG(found.st_mode):
        what = "a folder; name the .toml file in it" if stat.S_ISDIR(found.st_mode) else "no plain file"
        raise ValueError(f"it is {what}")
    if found.st_size > LONGEST:
        raise ValueError(f"it has {found.st_size / 1e6:.0f} MB, and a sheet is a page of text: is it the right file?")
    return path.read_text(encoding="utf-8-sig")


def _shown(written: str) -> str:
    """A path in quotes, cut to what a person reads."""
    plain = written.replace("\0", "\\0")
    return f'"{plain}"' if len(plain) <= 120 else f'"{plain[:100]}..." ({len(plain)} letters)'


def _reason(error: Exception) -> str:
    return str(getattr(error, "strerror", None) or error)


def parse(words: str, steps: Sequence[Step], *, name: str, folder: Path, where: str = "") -> JobSheet:
    """The sheet in a text.

    words: TOML. name: the job's where the text gives none. folder: that relative paths start at. where: how an error begins.
    Raises SheetError.
    """
    try:
        tables = tomllib.loads(words.removeprefix("\ufeff"))
    except RecursionError:
        raise SheetError(f"{where}not valid TOML: its brackets are nested too deep") from None
    except tomllib.TOMLDecodeError as error:
        raise SheetError(f"{where}not valid TOML: {error}") from None
    except ValueError:  # Python's own limit on the digits of a whole number
        raise SheetError(f"{where}not valid TOML: a number in it has thousands of digits") from None
    try:
        return _from_tables(_migrated(tables), steps, name, folder)
    except SheetError as error:
        raise SheetError(f"{where}{error}") from None
    except (ValueError, RecursionError) as error:  # a number too long to be shown, tables within tables without end
        raise SheetError(f"{where}a value can't be used: {error}") from None


def _migrated(tables: dict[str, Any]) -> dict[str, Any]:
    number = tables.pop("bozzetto", None)
    if number is None:
        raise SheetError('the first line must be "bozzetto = 1"')
    if not isinstance(number, int) or isinstance(number, bool) or number < 1:
        raise SheetError(f"bozzetto must be a sheet number such as {FORMAT}, not {shown(number)}")
    if number > FORMAT:
        raise SheetError(
            f"it was written by a newer Bozzetto (sheet {shown(number)}, this one reads {FORMAT}); update the add-on"
        )
    while number < FORMAT:
        tables = MIGRATIONS[number](tables)
        number += 1
    for before, now in MOVED.items():
        (step, name), (other, other_name) = before.split("."), now.split(".")
        if isinstance(tables.get(step), dict) and name in tables[step] and isinstance(tables.get(other, {}), dict):
            tables.setdefault(other, {}).setdefault(other_name, tables[step].pop(name))
    return tables


def _from_tables(tables: Mapping[str, Any], steps: Sequence[Step], name: str, folder: Path) -> JobSheet:
    sheet = blank(steps, name=name, folder=folder)
    title = tables.get("name", name)
    sheet.name = check("name", Spec("text", ""), title)
    known = {step.name: step for step in steps}
    for key, values in tables.items():
        if key == "name":
            continue
        step = current_name(key)
        if step not in known:
            raise SheetError(f'there is no step "{key}"{nearest(key, list(known))}')
        if step != key and step in tables:
            raise SheetError(f"[{key}] is the former name of [{step}], and the sheet has both: move its settings to [{step}]")
        sheet.settings[step] = build(known[step].settings, values, step)
    check_names(sheet)
    return sheet


def check_names(sheet: JobSheet) -> None:
    """Raise SheetError when a name on the sheet can't be that of a file, or two pictures would be one file.

    The settings of a step that names files say so by a method `check_names`.
    """
    check_name("name", sheet.name)
    for settings in sheet.settings.values():
        if hasattr(settings, "check_names"):
            settings.check_names()


def input_files(sheet: JobSheet) -> list[Path]:
    """The files that a job reads: the sheet itself and all that it names."""
    return [*([sheet.file] if sheet.file is not None else []), *named_paths(sheet, "file")]


def named_paths(sheet: JobSheet, kind: str) -> Iterator[Path]:
    """What the sheet's settings of a kind name, 'file' or 'folder', also within tables."""
    waiting = list(sheet.settings.values())
    while waiting:
        settings = waiting.pop()
        for name, spec in specs(settings).items():
            value = getattr(settings, name)
            if spec.kind == "table":
                waiting += value
            elif spec.kind == kind and value:
                yield sheet.path(value)


def override(sheet: JobSheet, assignment: str) -> None:
    """Apply `step.field=value`. The value is TOML; a bare word counts as text."""
    match = re.fullmatch(r"\s*([a-z_]+)\.([a-z_]+)\s*=\s*(.*)", assignment, re.DOTALL)
    if not match:
        raise SheetError(f'"{assignment}" is not of the form step.field=value')
    step, name, written = match.groups()
    step, name = MOVED.get(f"{step}.{name}", f"{step}.{name}").split(".")
    step = current_name(step)
    if step not in sheet.settings:
        raise SheetError(f'there is no step "{step}"{nearest(step, list(sheet.settings))}')
    settings = sheet.settings[step]
    name = str(getattr(type(settings), "ALIASES", {}).get(name, name))
    known = specs(settings)
    if name not in known:
        older = migrated(type(settings), {name: _toml(written)})
        if name in older:
            raise SheetError(f'{step} has no setting "{name}"{nearest(name, list(known))}')
        for other, changed in older.items():
            setattr(settings, other, check(f"{step}.{other}", known[other], changed))
        return
    value: object = written
    if known[name].kind not in ("text", "file", "folder", "choice", "object", "collection", "image") or written[:1] in "\"'":
        value = _toml(written)
    setattr(settings, name, check(f"{step}.{name}", known[name], value))


def _toml(written: str) -> Any:
    """A value as TOML has it; a bare word counts as text."""
    try:
        return tomllib.loads(f"value = {written}")["value"]
    except (ValueError, KeyError, RecursionError):  # not TOML, digits or brackets without end
        return written


def answer(sheet: JobSheet, sets: Mapping[str, Any]) -> None:
    """Write the settings that choose one way of a decision ({"orientation.up": "y"}). Raises SheetError for an unknown one."""
    for place, value in sets.items():
        step, _, name = place.partition(".")
        step = current_name(step)
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

    An automatic field appears as a comment, ready to be filled in.
    """
    lines = [
        *(f"# {words}" for words in textwrap.wrap(f"{IN_SHORT}.", 110)),
        f"bozzetto = {FORMAT}",
        f"name = {_value(sheet.name)}",
    ]
    for step in steps:
        settings = sheet[step.name]
        fields = specs(settings)
        body: list[str] = []
        for name in marked(step.settings, SHORT):
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


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # A JSON string is a TOML basic string, but that TOML wants the character DEL escaped.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(part) for part in value) + "]"
    return str(value)
