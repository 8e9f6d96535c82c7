"""Which pictures of a scan did nobody use? Those inside the file and those beside it that seem to be its own."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path, PureWindowsPath
from typing import Any

from ..core.files.texture_names import PICTURES, words_of
from .scan.textures import Textures, picture_folders


def unused_pictures(path: Path, textures: Sequence[Textures], imported: Sequence[Any], *, alone: bool) -> list[str]:
    """Names of pictures that came with a scan and that none of its materials shows, in order.

    imported: the images that the importer made. alone: no other mesh lies in the folder, so that every picture there is taken
    for the scan's own; otherwise those that share a word with its name are.
    """
    used = {image.session_uid for each in textures for image in each.images.values()}
    names = {PureWindowsPath(image.filepath).name for each in textures for image in each.images.values()}
    inside = [image for image in imported if image.session_uid not in used and image.packed_file is not None]
    found = {PureWindowsPath(image.filepath).name or image.name for image in inside} - names
    own = set(words_of(path.name))
    for folder in picture_folders(path):
        try:
            beside = [file.name for file in folder.iterdir() if file.suffix.lower() in PICTURES]
        except OSError:
            continue
        found |= {name for name in beside if name not in names and (alone or own & set(words_of(name)))}
    return sorted(found)
