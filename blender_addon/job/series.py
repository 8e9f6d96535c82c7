"""Which pieces are in a folder of scans, and which settings does each have? One job sheet is the look of all.

A scan that lies in the folder is a piece, named as its file. A folder in it that holds one scan is a piece, named as the
folder; of two scans in it the one with "stand" in its name shows the bare stand. What differs from piece to piece, its height
above all, stands in a table `pieces.csv` beside the scans: a column `piece`, and a column for each setting, such as `height`
or `export.title`. A problem is reported for its piece alone, so that the others go on.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from ..core.files.meshes.mesh_files import FORMATS
from ..core.records import record
from .errors import InputError, JobError, SheetError
from .files.names import cleaned, folded
from .settings import nearest, specs
from .sheet import blank, override
from .step import Step

TABLE = "pieces.csv"
PIECE = "piece"
STAND = "stand"
MOST = 5000
"""Most pieces in a folder; more means that a wrong folder was given."""
LONGEST_TABLE = 4_000_000
"""Bytes of the table at most: 800 a piece for the most pieces."""
_COMMA = re.compile(r"-?\d+,\d+")


@record
class Piece:
    """A piece of a series: its name, its scans (the first shows the piece), the settings that are its own, and what is wrong
    with it, '' when it can be run."""

    name: str
    scans: tuple[Path, ...] = ()
    sets: tuple[str, ...] = ()
    problem: str = ""


def pieces_in(folder: Path, steps: Sequence[Step]) -> list[Piece]:
    """The pieces of a folder by name. Raises InputError when there is none, or the table can't be read."""
    try:
        entries = sorted(folder.iterdir(), key=lambda entry: entry.name.casefold())
    except OSError as error:
        raise InputError(f'The folder of scans "{folder}" can\'t be read: {error.strerror or error}') from None
    found = [piece for piece in map(_piece_of, entries) if piece is not None]
    if not found:
        raise InputError(f'There is no scan in "{folder}": put the scans there ({", ".join(FORMATS)}), or a folder for each')
    if len(found) > MOST:
        raise InputError(f'"{folder}" holds {len(found)} scans, and a series has {MOST} at most: is it the right folder?')
    return _with_table(_with_names_apart(found), folder / TABLE, steps)


def _piece_of(entry: Path) -> Piece | None:
    """The piece that a file or a folder holds, None when it is none."""
    if entry.name.startswith("."):
        return None
    if entry.is_file():
        return Piece(cleaned(entry.stem), (entry,)) if entry.suffix.lower() in FORMATS else None
    if not entry.is_dir():
        return None
    try:
        inside = sorted(path for path in entry.iterdir() if path.suffix.lower() in FORMATS and not path.name.startswith("."))
    except OSError as error:
        return Piece(cleaned(entry.name), problem=f'"{entry}" can\'t be read: {error.strerror or error}')
    stands = [path for path in inside if STAND in path.stem.lower()]
    wholes = [path for path in inside if path not in stands]
    if not inside:
        return None
    if len(wholes) == 1 and len(stands) <= 1:
        return Piece(cleaned(entry.name), (*wholes, *stands))
    names = ", ".join(path.name for path in inside)
    return Piece(
        cleaned(entry.name),
        problem=f'"{entry.name}" holds {names}: leave one scan of the piece there, and at most one with "{STAND}" in its name',
    )


def _with_names_apart(pieces: Iterable[Piece]) -> list[Piece]:
    """The pieces; of two with the same name the second has a problem, since both would share a folder."""
    seen: set[str] = set()
    apart = []
    for piece in pieces:
        name, number = piece.name, 2
        while folded(name) in seen:
            name, number = f"{piece.name}_{number}", number + 1
        seen.add(folded(name))
        same = f'two pieces are called "{piece.name}": rename one of the scans'
        apart.append(piece if name == piece.name else Piece(name, piece.scans, problem=same))
    return apart


def _with_table(pieces: list[Piece], table: Path, steps: Sequence[Step]) -> list[Piece]:
    """The pieces with what the table says of each; without a table, as they are."""
    rows = _rows(table)
    named = {folded(piece.name): piece for piece in pieces}
    unknown = [name for name in rows if folded(cleaned(name)) not in named]
    if unknown:
        raise InputError(
            f'{TABLE} names the piece "{unknown[0]}", and there is no scan of it{nearest(unknown[0], [p.name for p in pieces])}'
        )
    said = {folded(cleaned(name)): values for name, values in rows.items()}
    return [_with_settings(piece, said.get(folded(piece.name), {}), steps) for piece in pieces]


def _with_settings(piece: Piece, values: Mapping[str, str], steps: Sequence[Step]) -> Piece:
    sets = []
    trial = blank(steps)
    try:
        for column, value in values.items():
            place = _setting(column, steps)
            written = value.replace(",", ".") if _COMMA.fullmatch(value) else value
            override(trial, f"{place}={written}")  # what can't be a value of this setting is said before anything runs
            sets.append(f"{place}={written}")
    except JobError as error:
        return Piece(piece.name, piece.scans, piece.sets, piece.problem or f"{TABLE}: {error}")
    return Piece(piece.name, piece.scans, tuple(sets), piece.problem)


def _setting(column: str, steps: Sequence[Step]) -> str:
    """A column's name as `step.field`; a field's name alone will do where one step alone has it. Raises SheetError."""
    if "." in column:
        return column
    owners = [step.name for step in steps if column in specs(step.settings)]
    if len(owners) == 1:
        return f"{owners[0]}.{column}"
    if owners:
        raise SheetError(f'the column "{column}" could be {" or ".join(f"{owner}.{column}" for owner in owners)}: write which')
    raise SheetError(f'there is no setting "{column}"{nearest(column, [name for s in steps for name in specs(s.settings)])}')


def _rows(table: Path) -> dict[str, dict[str, str]]:
    """Piece to its filled-in cells, by column. Raises InputError."""
    if not table.is_file():
        return {}
    try:
        if table.stat().st_size > LONGEST_TABLE:
            raise InputError(f'"{table}" is too large for a table of pieces')
        words = table.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f'"{table}" can\'t be read ({error}): save it as CSV in UTF-8') from None
    first = words.split("\n", 1)[0]
    divided = max(",;\t", key=first.count)  # as spreadsheets of different languages write it
    rows: dict[str, dict[str, str]] = {}
    try:
        for number, row in enumerate(csv.reader(io.StringIO(words), delimiter=divided)):
            cells = [cell.strip() for cell in row]
            if number == 0:
                head = _head(cells, table)
            elif any(cells):
                _add_row(rows, head, cells, number + 1)
    except csv.Error as error:
        raise InputError(f'"{table}" is not a table: {error}') from None
    return rows


def _head(cells: Sequence[str], table: Path) -> list[str]:
    if PIECE not in cells:
        raise InputError(f'The first line of "{table}" names the columns, and one must be "{PIECE}", not {", ".join(cells)!r}')
    return list(cells)


def _add_row(rows: dict[str, dict[str, str]], head: Sequence[str], cells: Sequence[str], line: int) -> None:
    if len(cells) > len(head) and any(cells[len(head) :]):
        raise InputError(f"{TABLE}, line {line}: it has more cells than the first line has columns")
    filled = dict(zip(head, cells, strict=False))
    name = filled.pop(PIECE, "")
    if not name:
        raise InputError(f"{TABLE}, line {line}: the piece is not named")
    if name in rows:
        raise InputError(f'{TABLE}, line {line}: "{name}" stands there twice')
    rows[name] = {column: value for column, value in filled.items() if column and value}
