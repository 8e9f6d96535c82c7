"""Finds out which results of the last run in a folder are still valid, so that the same command repeats no work.

A run records what it started from (the settings, the files that it may have read, this program) and the .blend and files that
it left. If all of that is unchanged, there is nothing to do. If only settings have changed, the first step that depends on them
is the first to run. If the .blend or a file was changed by hand, every step runs, so that each can take the change into
account.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from itertools import chain, islice
from pathlib import Path

from ..core.files.texture_names import PICTURES
from ..core.records import record
from ..job.files.made_files import FIGURES, FOLDERS, LOG, MANIFEST, SUMMARY, TOP, MadeFiles, digest_of
from ..job.files.whole_files import write_text
from ..job.settings import plain
from ..job.sheet import JobSheet, input_files, named_paths
from ..job.status import first_out_of_date
from ..job.step import Step
from ..scene.compat import RELEASE
from ..scene.stage import Stage

NOTE = ".last_run.json"
DELIVERY = "delivery"
"""The folder of the steps that only write files and change nothing in the pictures."""
BESIDE_SCANS = (*PICTURES, ".mtl", ".bin")
"""Suffixes of files that a scan may refer to."""
MODELS = (".glb", ".usdc")
"""Suffixes of the piece's own models, which the last steps write."""
MOST_FILES = 20_000
"""With more files than this around the scans they are not checked, and every step runs."""
PACKAGE = Path(__file__).resolve().parents[1]


@record
class Note:
    """What a run records for the next one.

    settings: digest of all settings. world: digest of everything read besides them. blend: size and time of the .blend.
    reached: the last step whose results the .blend holds for these settings, '' for none. files: digest of the files made, ''
    until a run has ended.
    """

    settings: str = ""
    world: str = ""
    blend: tuple[int, int] = (0, 0)
    reached: str = ""
    files: str = ""


class LastRun:
    """The last run in the folder `out`, compared with a run of `sheet` up to the step `last` (None: the end) in `blend`."""

    def __init__(self, out: Path, blend: Path, sheet: JobSheet, steps: Sequence[Step], last: str | None):
        self._out, self._blend, self._sheet, self._steps = out, blend, sheet, steps
        self._names = [step.name for step in steps]
        self._last = last or self._names[-1]
        self._note = _read(out)
        self._whole_before = False
        self._before = ""
        self._settings, self._world = _settings_of(sheet, self._last), _world_of(sheet, out)
        self._holds = bool(self._world) and self._note.world == self._world and self._note.blend == _signature(blend)

    def nothing_changed(self) -> bool:
        """Whether a run would produce nothing new."""
        note = self._note
        return (
            self._holds and note.settings == self._settings and bool(note.files)
            and note.files == _made_digest(self._out) and not _changed(self._out)
        )  # fmt: skip

    def first(self, stage: Stage) -> str | None:
        """The step to begin with in the opened .blend; None where all must run."""
        if not self._holds or self._note.reached not in self._names:
            return None
        changed = _changed(self._out)
        if any(not _is_delivered(place) for place in changed):
            return None
        late = [self._names.index(self._note.reached) + 1]
        found = first_out_of_date(self._steps, self._sheet, stage, stage.results())
        late += [] if found is None else [self._names.index(found)]
        late += [self._delivery()] if changed or self._note.files != _made_digest(self._out) or not self._note.files else []
        first = min(late)
        return self._names[first] if 0 < first <= self._names.index(self._last) else None

    def begin(self, first: str | None) -> None:
        """Record that a run begins with a step, so that the next one does not trust partial results if this one is killed."""
        start = self._names.index(first) if first else 0
        self._whole_before = start == 0 or (self._holds and self._reached() >= start - 1)
        self._before = self._names[start - 1] if start else ""
        kept = min(self._reached(), self._delivery() - 1) if self._holds else -1
        if self._note != Note():
            self._write(replace(self._note, reached=self._names[kept] if kept >= 0 else "", files=""))

    def saved(self, done: str) -> None:
        """Record that the .blend was saved after the step `done`, the last one of this run so far ('' for none)."""
        reached = (done or self._before) if self._whole_before else ""
        self._write(Note(self._settings, self._world, _signature(self._blend), reached))

    def ended(self) -> None:
        """Record that the run has ended and all its files are written."""
        if self._note.reached == self._last:
            self._write(replace(self._note, files=_made_digest(self._out)))

    def _reached(self) -> int:
        return self._names.index(self._note.reached) if self._note.reached in self._names else -1

    def _delivery(self) -> int:
        return next(place for place, step in enumerate(self._steps) if step.folder == DELIVERY)

    def _write(self, note: Note) -> None:
        self._note = note
        write_text(self._out / NOTE, json.dumps(asdict(note), sort_keys=True) + "\n")


def _read(out: Path) -> Note:
    try:
        kept = json.loads((out / NOTE).read_text(encoding="utf-8"))
        size, time = kept["blend"]
        return Note(str(kept["settings"]), str(kept["world"]), (int(size), int(time)), str(kept["reached"]), str(kept["files"]))
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return Note()


def _signature(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return (0, 0)
    return found.st_size, found.st_mtime_ns


def _digest(content: object) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True, default=str).encode()).hexdigest()[:20]


def _settings_of(sheet: JobSheet, last: str) -> str:
    return _digest([last, {step: plain(values) for step, values in sheet.settings.items()}])


# --- inputs besides the settings -----------------------------------------------------------------------------------------


def _world_of(sheet: JobSheet, out: Path) -> str:
    """A digest of the job's name and place, the files that it may read, and this program; '' for too many files."""
    files = [path for path in input_files(sheet) if path != sheet.file]
    seen = {str(path): _signature(path) for path in files}
    around = {*(path.parent for path in files), *named_paths(sheet, "folder")}
    found = list(islice(chain.from_iterable(_below(folder, out) for folder in sorted(around)), MOST_FILES + 1))
    if len(found) > MOST_FILES:
        return ""
    seen |= {str(path): _signature(path) for path in found if path.suffix.lower() in BESIDE_SCANS}
    program = {str(path.relative_to(PACKAGE)): _signature(path) for path in _below(PACKAGE, out)}
    return _digest([sheet.name, sheet.place, str(sheet.folder), seen, program, RELEASE])


def _below(folder: Path, out: Path) -> Iterator[Path]:
    """The files below a folder, without folders of this or another job, and without following links."""
    for place, folders, names in os.walk(folder):
        if Path(place) == out or MANIFEST in names:
            folders.clear()
            continue
        folders[:] = [name for name in folders if name != "__pycache__" and not name.startswith(".")]
        yield from (Path(place, name) for name in names)


# --- files made by the run -----------------------------------------------------------------------------------------------


def _entries(out: Path) -> dict[str, Mapping[str, object]]:
    """The list of files made, without those that a run writes at its end."""
    files = MadeFiles.read(out)
    return {place: entry for place, entry in (files.files if files else {}).items() if place not in (NOTE, SUMMARY, LOG)}


def _made_digest(out: Path) -> str:
    return _digest(_entries(out))


def _changed(out: Path) -> list[str]:
    """The files made by the run that are missing or changed; files that grow (logs) are not checked."""
    found = []
    for place, entry in _entries(out).items():
        try:
            known = entry["sha256"]
            if isinstance(known, list) and known and digest_of(out / place) not in known:
                found.append(place)
        except OSError:
            found.append(place)
    return found


def _is_delivered(place: str) -> bool:
    """Whether a file is made by the delivery steps."""
    if "/" in place:
        return place.split("/")[0] in (*FOLDERS, "moves")
    return (place in TOP and place != FIGURES) or place.endswith(MODELS)


__all__ = ["NOTE", "LastRun", "Note"]
