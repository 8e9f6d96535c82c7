"""Which files in a job's folder did we make? Only those are ever overwritten; all others belong to somebody else.

A folder of a job holds `.made.json`: for each file that we wrote its SHA-256 as it was written and, for a picture, the digest
of all that it shows. A file that is not listed is not ours and is never overwritten. A listed one that differs from its digest
was changed by hand, and is renamed before a new one takes its place.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ...core.files.whole import damage
from ..errors import OutputError

MANIFEST = ".made.json"
FORMAT = 1
"""Version of the manifest's form."""
DEEPEST = 4
"""How many levels above a file its job's folder may be."""
LOG, FIGURES, SUMMARY, PAGE, MAKERS_PAGE = "log.txt", "figures.json", "summary.json", "index.html", "maker.html"
TOP = (LOG, FIGURES, SUMMARY, PAGE, MAKERS_PAGE, "contact_sheet.png", "sample_sheet.png", "turntable.mp4", "turntable.webm")
"""Files of every job; beside them `NAME.glb`, `NAME.usdc` and `NAME.blend`."""
FOLDERS = (
    "pictures", "turntable", "hand_over", "relief", "samples", "brackets", "cutouts", "textures", "page",
)  # fmt: skip
"""Folders that a job writes into."""
OLD_LOG = "--- "
"""How the log of a job begins, also one of 0.1.0, which kept no list of its files."""


@dataclass
class MadeFiles:
    """The files made in one folder: place relative to it (with '/') -> what is known of the file.

    `sha256` holds one digest, two while a file is being replaced; an empty list marks a file that grows, such as the log.
    """

    folder: Path
    files: dict[str, dict[str, Any]] = field(default_factory=dict)
    aside: dict[str, str] = field(default_factory=dict)

    @classmethod
    def read(cls, folder: Path) -> MadeFiles | None:
        """The list in a folder; None where there is none that can be read."""
        try:
            table = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return None
        if not isinstance(table, dict) or not isinstance(table.get("bozzetto"), int):
            return None
        files, aside = table.get("files"), table.get("aside")
        known = {
            str(place): entry
            for place, entry in (files.items() if isinstance(files, dict) else ())
            if isinstance(entry, dict) and isinstance(entry.get("sha256"), list)
        }
        moved = {str(new): str(old) for new, old in aside.items()} if isinstance(aside, dict) else {}
        return cls(folder, known, moved)

    @classmethod
    def around(cls, path: Path) -> MadeFiles | None:
        """The list of the job's folder that a file lies in; None where it lies in none."""
        for folder in list(Path(os.path.abspath(path)).parents)[:DEEPEST]:
            if (folder / MANIFEST).is_file() and (found := cls.read(folder)) is not None:
                return found
        return None

    def words(self) -> str:
        """The list as the text of the manifest."""
        table = {"bozzetto": FORMAT, "files": self.files, "aside": self.aside}
        return json.dumps(table, indent=0, sort_keys=True) + "\n"

    def place(self, path: Path) -> str:
        """A file's place relative to the folder. Raises OutputError when it lies outside, also by way of a link."""
        home, parent = self.folder.resolve(), path.absolute().parent.resolve()
        if parent != home and home not in parent.parents:
            raise OutputError(f'"{path}" lies outside of "{self.folder}": remove the link, or choose another folder')
        return "/".join([*parent.relative_to(home).parts, path.name])

    def may_write(self, path: Path) -> None:
        """Raise OutputError when there is a file, or a folder, at that place that is not ours."""
        place = self.place(path)
        if path.is_dir() and not path.is_symlink():
            raise OutputError(f'"{path}" is a folder, and a file must go there: move it, or choose another folder')
        if (path.exists() or path.is_symlink()) and place not in self.files:
            raise OutputError(
                f'"{path}" is there already and was not made by this job, so it stays: move it, or choose another folder'
            )

    def changed(self, path: Path) -> bool:
        """Whether a file of ours was changed by hand: it is whole, and not as we wrote it."""
        entry = self.files.get(self.place(path))
        if entry is None or not entry["sha256"] or not path.is_file():
            return False
        return digest_of(path) not in entry["sha256"] and not damage(path)

    def add(self, path: Path, sha256: str | None) -> None:
        """List a file that is about to get its name; the digest of what is there counts as ours until then. None: it grows."""
        place = self.place(path)
        before = [digest_of(path)] if sha256 and path.is_file() and place in self.files else []
        self.files[place] = {"sha256": [*dict.fromkeys([sha256, *before])] if sha256 else []}

    def shows(self, path: Path) -> str:
        """The digest of what a picture shows; '' when it is not known."""
        words = self.files.get(self.place(path), {}).get("shows", "")
        return words if isinstance(words, str) else ""

    def set_shows(self, path: Path, digest: str) -> None:
        """Remember what a finished picture shows."""
        self.files.setdefault(self.place(path), {"sha256": [digest_of(path)]})["shows"] = digest

    def name_aside(self, path: Path) -> Path:
        """A free name for a file that was changed by hand and whose place is needed: 'hero.yours1.png'."""
        number = 1
        while (target := path.with_name(f"{path.stem}.yours{number}{path.suffix}")).exists():
            number += 1
        return target


def digest_of(path: Path) -> str:
    """SHA-256 of a file's bytes. Raises OSError."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while part := file.read(1 << 20):
            digest.update(part)
    return digest.hexdigest()


def check_folder(folder: Path, inputs: Iterable[Path]) -> None:
    """Raise OutputError when a job's folder holds the job's own inputs, which a file of ours could be named like."""
    home = folder.resolve()
    for path in inputs:
        there = path.resolve()
        if there.parent == home or (home in there.parents and there.relative_to(home).parts[0] in FOLDERS):
            raise OutputError(
                f'"{folder}" holds "{path.name}", which the job reads: give the pictures a folder of their own, such as '
                f'"{folder / "pictures"}"'
            )


def known_files(folder: Path, names: Sequence[str]) -> MadeFiles:
    """The list of a job's folder, begun where there is none. `names`: what files at its top are called beside `TOP`.

    A folder of an earlier version, known by its log, has its files taken over. Raises OutputError when a file at the top has a
    name that will be needed and is not ours.
    """
    own = MadeFiles.read(folder)
    if own is None:
        own = MadeFiles(folder)
        if _is_a_jobs(folder):
            _take_over(own, names)
    for name in (*TOP, *names):
        own.may_write(folder / name)
    return own


def _is_a_jobs(folder: Path) -> bool:
    try:
        with (folder / LOG).open(encoding="utf-8") as log:
            return log.readline(4096).startswith(OLD_LOG)
    except (OSError, ValueError):
        return False


def _take_over(own: MadeFiles, names: Sequence[str]) -> None:
    found = [own.folder / name for name in (*TOP, *names)]
    for name in FOLDERS:
        found += sorted((own.folder / name).rglob("*"))
    for path in found:
        if path.is_file() and not path.is_symlink():
            own.files[own.place(path)] = {"sha256": [] if path.name == LOG else [digest_of(path)]}
