"""Where do the files of a batch go? Into one folder for each sheet, distinguished by the sheets' folders if names are equal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..errors import SheetError
from .names import cleaned, folded


def folder_names(sheets: Sequence[Path]) -> list[str]:
    """A folder's name for each sheet: the sheet's own, with the names of folders above in front where two are equal.

    `a/job.toml` and `b/job.toml` get `a_job` and `b_job`. Raises SheetError when one sheet is named twice.
    """
    places = [path.resolve() for path in sheets]
    for place, path in zip(places, sheets, strict=True):
        if places.count(place) > 1:
            raise SheetError(f'"{path}" is named twice: a batch runs each sheet once')
    deep = [1] * len(places)
    while True:
        names = [_name(place, depth) for place, depth in zip(places, deep, strict=True)]
        equal = [folded(name) for name in names]
        again = [number for number, name in enumerate(equal) if equal.count(name) > 1]
        able = [number for number in again if deep[number] < len(places[number].parts) - 1]
        if not able:  # they differed only in characters that were cleaned away
            return [name if number not in again else f"{name}_{number + 1}" for number, name in enumerate(names)]
        for number in able:
            deep[number] += 1


def _name(sheet: Path, depth: int) -> str:
    """The last `depth` parts of a sheet's path in one word."""
    return cleaned("_".join([*sheet.parts[:-1][len(sheet.parts) - depth :], sheet.stem]))
