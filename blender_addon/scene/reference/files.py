"""Where are the pictures of a reference photo beside its render?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from ...core.records import record
from .. import roles

if TYPE_CHECKING:
    import bpy

REFERENCE = "reference"
"""Role of a reference photo's camera; what goes with it has roles that begin so. No other picture shows any of it."""
FOLDER = "comparison"
PARTS = ("photo", "colour", "form")


@record
class Files:
    """The files of one comparison: the render, the photo, and their differences in colour and in form."""

    render: Path
    photo: Path
    colour: Path
    form: Path

    def __iter__(self) -> Iterator[Path]:
        """Render, photo, colour, form."""
        return iter((self.render, self.photo, self.colour, self.form))


def files_of(out: Path, name: str) -> Files:
    """The files of a reference in the job's folder."""
    folder = out / FOLDER
    return Files(folder / f"{name}.png", *(folder / f"{name} {part}.png" for part in PARTS))


def compared_in(scene: bpy.types.Scene, out: Path) -> list[tuple[str, Files]]:
    """(name, files) of the references of the scene's job whose photo and render both exist."""
    found = [str(item[roles.KEY]) for item in roles.players(str(scene.get(roles.JOB, "")), role=REFERENCE, kinds=("objects",))]
    pairs = [(name, files_of(out, name)) for name in found]
    return [(name, files) for name, files in pairs if files.render.is_file() and files.photo.is_file()]
