"""What should the user know besides the result? Notes are collected, shown at the end and kept in the log."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ..core.records import record

LEVELS = ("info", "kept", "warning")


def several(count: int, noun: str) -> str:
    """So many of a thing, as a person says it: '1 still', '3 frames of the turn'. Its first word takes the plural's s."""
    first, space, rest = noun.partition(" ")
    return f"{count} {first}{'' if count == 1 else 's'}{space}{rest}"


@record
class Note:
    """One remark: its level, the step it came from, the words.

    Levels are 'info', 'kept' for what the user changed by hand and the run left as it was, and 'warning' for what needs
    attention.
    """

    level: str
    step: str
    words: str

    def __str__(self) -> str:
        mark = "! " if self.level == "warning" else ""
        return f"{mark}{self.step}: {self.words}"


@dataclass
class Notes:
    """The notes of one run, in order; equal ones are kept once. `log` is a file that gets each line as it comes."""

    log: Path | None = None
    _notes: list[Note] = field(default_factory=list)

    def add(self, step: str, words: str, *, level: str = "info") -> None:
        """Keep a note. A log that can't be written is not a reason to stop the work.

        File names may hold bytes that are not text: these become replacement characters.
        """
        words = words.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
        if level not in LEVELS:
            raise ValueError(f"level must be one of {LEVELS}, not {level!r}")
        note = Note(level, step, words)
        if note in self._notes:
            return
        self._notes.append(note)
        self.write(str(note))

    def forget(self, step: str) -> None:
        """Drop the notes of a step that is run once more: it says again what still holds."""
        self._notes = [note for note in self._notes if note.step != step]

    def write(self, line: str) -> None:
        """Append one line to the log file, if there is one."""
        if self.log is None:
            return
        try:
            with self.log.open("a", encoding="utf-8", errors="backslashreplace") as file:
                file.write(line + "\n")
        except (OSError, ValueError):
            self.log = None

    def __iter__(self) -> Iterator[Note]:
        return iter(self._notes)

    def __len__(self) -> int:
        return len(self._notes)

    def warnings(self) -> list[Note]:
        """The notes that need the user's attention."""
        return [note for note in self._notes if note.level == "warning"]

    def kept(self) -> list[Note]:
        """The notes of what the user changed by hand and the run left as it was."""
        return [note for note in self._notes if note.level == "kept"]
