"""How is a file written so that it appears whole or not at all, and never in place of somebody else's?

A draft in the same folder is written, flushed to disk, checked by its format's own lengths and marks, and renamed. A file that
was there stays until then; when the disk is full, or the process is killed, it stays unchanged.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from ...core.files.whole import damage
from ..errors import OutputError
from .made_files import LOG, MANIFEST, MadeFiles, check_folder, digest_of, known_files


def writable(folder: Path) -> Path:
    """The folder, created and tested by writing to it. Raises OutputError, which says what to do."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as trial:
            trial.write(b"\0" * 65536)
            trial.flush()
            os.fsync(trial.fileno())
    except (FileExistsError, NotADirectoryError):
        there = next((place for place in (folder, *folder.parents) if place.exists() and not place.is_dir()), folder)
        raise OutputError(
            f'Nothing can be written to "{folder}": "{there}" is a file, not a folder; choose another one'
        ) from None
    except ValueError:
        raise OutputError("Nothing can be written to a folder whose path holds a zero byte; choose another one") from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f'Nothing can be written to "{folder}" ({reason}): choose another folder or free some room') from None
    return folder


def begin_folder(folder: Path, *, names: Sequence[str] = (), inputs: Sequence[Path] = ()) -> MadeFiles:
    """The list of the files we made in a job's folder, which is created and tested. Raises OutputError before any
    overwriting."""
    writable(folder)
    check_folder(folder, inputs)
    own = known_files(folder, names)
    own.add(folder / LOG, None)
    _write_list(own)
    return own


def check_free(paths: Sequence[Path]) -> None:
    """Raise OutputError when somebody else's file has one of these names, before the work for them begins."""
    own = MadeFiles.around(paths[0]) if paths else None
    if own is not None:
        for path in paths:
            own.may_write(path)


@contextlib.contextmanager
def whole_file(path: Path, *, holds_old: bool = False) -> Iterator[Path]:
    """A path to write to that takes `path`'s place only when the block ends well: a file appears whole or not at all.

    The draft keeps the suffix, since Blender chooses formats by it. holds_old: the new file holds all that the old one did, as
    a .blend that was opened and is saved again, so that the old one needs no guard. Raises OutputError when the file can't be
    written, when what was written is cut, or when a file of somebody else is in the way.
    """
    draft = path.with_name(f".{path.stem}.draft{path.suffix}")
    with in_words(path):
        try:
            own = MadeFiles.around(path)
            if own is not None and not holds_old:
                own.may_write(path)
            path.parent.mkdir(parents=True, exist_ok=True)
            _drop(draft)
            yield draft
            settle(draft, path, holds_old=holds_old)
        finally:
            _drop(draft)


def settle(draft: Path, path: Path, *, holds_old: bool = False) -> None:
    """Give a finished draft its name: to the disk, checked, listed as ours, renamed. Raises OutputError or OSError."""
    if not draft.is_file():
        raise OutputError(f'"{path}" was not written: is the disk full?')
    to_disk(draft)
    wrong = damage(draft)
    if wrong:
        raise OutputError(f'"{path}" was not written whole (it {wrong}): is the disk full? Free some room and run again')
    own = MadeFiles.around(path)
    if own is not None:
        if not holds_old:
            own.may_write(path)
        if not holds_old and own.changed(path):
            aside = own.name_aside(path)
            path.rename(aside)
            own.aside[own.place(aside)] = own.place(path)
        own.add(path, digest_of(draft))
        _write_list(own)
    os.replace(draft, path)
    folder_to_disk(path.parent)


def write_text(path: Path, words: str) -> None:
    """A text file, whole or not at all."""
    write_bytes(path, words.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """A file of these bytes, whole or not at all."""
    with whole_file(path) as draft:
        draft.write_bytes(data)


def to_disk(path: Path) -> None:
    """Flush a file to disk, so that a loss of power leaves no empty file under its name."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def folder_to_disk(folder: Path) -> None:
    """The same for the names in a folder, on systems that can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def remember(path: Path, digest: str) -> None:
    """Note in the list of the job's folder what a finished picture shows."""
    own = MadeFiles.around(path) or MadeFiles(path.parent)
    own.set_shows(path, digest)
    _write_list(own)


def forget_gone(folder: Path) -> None:
    """At the end of a whole run, drop from the list what was deleted, by us or by hand, and not made again."""
    own = MadeFiles.read(folder)
    gone = [place for place in own.files if not (folder / place).is_file()] if own else []
    if own and gone:
        for place in gone:
            del own.files[place]
        _write_list(own)


def _write_list(own: MadeFiles) -> None:
    path = own.folder / MANIFEST
    draft = path.with_name(f"{MANIFEST}.draft")
    with in_words(path):
        try:
            draft.write_text(own.words(), encoding="utf-8")
            to_disk(draft)
            os.replace(draft, path)
        finally:
            _drop(draft)


@contextlib.contextmanager
def in_words(path: Path) -> Iterator[None]:
    """The system's errors as an OutputError that says what to do."""
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f'"{path}" can\'t be written ({reason}): free some room or choose another folder') from None


def _drop(draft: Path) -> None:
    """Delete a draft, and the one that Blender makes beside a .blend."""
    for path in (draft, draft.with_name(f"{draft.name}@")):
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)
