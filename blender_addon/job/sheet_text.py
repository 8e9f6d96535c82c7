"""How is a job sheet's text brought up to date without losing what a person wrote into it?

Values follow the settings; comments, blank lines, the order of things and the way a value was written stay. Only TOML as job
sheets have it is understood: tables, rows of tables, and `key = value`, each beginning on a line of its own.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field

_HEADER = re.compile(r"\s*(\[\[|\[)\s*([^\[\]]+?)\s*(\]\]|\])\s*(#.*)?$")
_KEY = re.compile(r"""\s*([A-Za-z0-9_-]+|"[^"]*"|'[^']*')\s*=""")

Place = tuple[str, int]
"""A table: its dotted name ('' for what stands before all tables) and, for rows of tables, which row, else 0."""


@dataclass
class Entry:
    """One `key = value` with the comments and blank lines before it, and the comment at its end."""

    lead: list[str]
    key: str
    written: str
    remark: str = ""

    def lines(self) -> list[str]:
        """The entry as it stands in the text."""
        return [*self.lead, f"{self.written.rstrip()}  {self.remark}" if self.remark else self.written]


@dataclass
class Table:
    """One table: what stands before its header, the header, its entries, and comments after the last of them."""

    place: Place
    lead: list[str] = field(default_factory=list)
    header: str = ""
    entries: list[Entry] = field(default_factory=list)
    tail: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """The table as it stands in the text."""
        inside = [line for entry in self.entries for line in entry.lines()]
        return [*self.lead, *([self.header] if self.header else []), *inside, *self.tail]

    def remarks(self) -> list[str]:
        """All that a person wrote into the table besides keys and values."""
        found = [*self.lead, *self.tail]
        for entry in self.entries:
            found += [*entry.lead, *_inside(entry), entry.remark]
        if "#" in self.header:
            found.append(self.header[self.header.index("#") :])
        return [line for line in found if line.strip()]


def brought_up_to_date(old: str, new: str) -> str | None:
    """The old text with the values of the new one; None where the old one is not in the understood form."""
    try:
        tables, wanted = _parsed(old), _parsed(new)
        merged = _merged(tables, {table.place: table for table in wanted})
        words = "\n".join(line for table in merged for line in table.lines()).strip("\n") + "\n"
        return words if values_of(words) == values_of(new) else None
    except (tomllib.TOMLDecodeError, ValueError):
        return None


def values_of(words: str) -> dict[str, object]:
    """The values of a sheet, without empty tables. Raises tomllib.TOMLDecodeError where it is no TOML."""
    return {key: value for key, value in tomllib.loads(words).items() if value not in ({}, [])}


def _parsed(words: str) -> list[Table]:
    """The tables of a text in order. Raises ValueError or TOMLDecodeError where it is not of the known form."""
    tomllib.loads(words)
    tables = [Table(("", 0))]
    rows: dict[str, int] = {}
    waiting: list[str] = []
    lines = words.splitlines()
    at = 0
    while at < len(lines):
        line = lines[at]
        at += 1
        if not line.strip() or line.lstrip().startswith("#"):
            waiting.append(line)
            continue
        header = _HEADER.match(line)
        if header:
            name, row = header[2], 0
            if header[1] == "[[":
                row = rows[name] = rows.get(name, -1) + 1
            tables.append(Table((name, row), waiting, line))
            waiting = []
            continue
        key = _KEY.match(line)
        if not key:
            raise ValueError(line)
        chunk = line
        while not _whole(chunk):
            if at == len(lines):
                raise ValueError(line)
            chunk += "\n" + lines[at]
            at += 1
        tables[-1].entries.append(Entry(waiting, key[1].strip("\"'"), *_without_remark(chunk)))
        waiting = []
    tables[-1].tail = waiting
    return tables


def _whole(chunk: str) -> bool:
    try:
        tomllib.loads(chunk)
    except tomllib.TOMLDecodeError:
        return False
    return True


def _without_remark(chunk: str) -> tuple[str, str]:
    """The entry and the comment at its end."""
    start = chunk.rfind("\n") + 1
    while (start := chunk.find("#", start)) >= 0:
        if _whole(chunk[:start]):
            return chunk[:start].rstrip(), chunk[start:]
        start += 1
    return chunk, ""


def _inside(entry: Entry) -> list[str]:
    """The comments between the lines of a value that is written over several."""
    return re.findall("#.*$", entry.written, re.MULTILINE) if "\n" in entry.written else []


def _merged(old: list[Table], wanted: dict[Place, Table]) -> list[Table]:
    found: list[Table] = []
    for table in old:
        new = wanted.pop(table.place, None)
        if new is not None:
            found.append(_with_values_of(table, new))
        elif table.remarks():
            found.append(_without_values(table))
    for place, new in wanted.items():  # a row after the last row of its kind, a table at the end
        last = max((at for at, table in enumerate(found) if table.place[0] == place[0]), default=len(found) - 1)
        if not new.lead:
            new.lead = [""]
        found.insert(last + 1, new)
    return found


def _with_values_of(table: Table, new: Table) -> Table:
    values = {entry.key: entry for entry in new.entries}
    kept: list[Entry] = []
    over: list[str] = []
    for entry in table.entries:
        entry.lead, over = over + entry.lead, []
        fresh = values.pop(entry.key, None)
        if fresh is None:  # at its default again: the value goes, what was written about it stays
            over = [*entry.lead, *_inside(entry), *([entry.remark] if entry.remark else [])]
            continue
        if tomllib.loads(entry.written) != tomllib.loads(fresh.written):
            entry.lead, entry.written = [*entry.lead, *_inside(entry)], fresh.written
        kept.append(entry)
    for fresh in values.values():
        fresh.lead = []
        kept.append(fresh)
    return Table(table.place, table.lead, table.header, kept, over + table.tail)


def _without_values(table: Table) -> Table:
    """A table of which only its comments are left; a row of tables would count as a row, so its header goes too."""
    lead, _, tail = table.lead, table.header, [line for line in table.remarks() if line not in table.lead]
    if table.header.lstrip().startswith("[["):
        return Table((table.place[0] + " (gone)", table.place[1]), lead, "", [], tail)
    return Table(table.place, lead, table.header.split("#")[0].rstrip(), [], tail)
