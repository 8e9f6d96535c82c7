"""Which of a glTF file's pictures may reach a decoder? Those of a known kind and a usable size in the scan's own folder."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ...records import record
from ..pictures.picture_headers import check_picture, check_picture_bytes, check_room
from .gltf import MESHOPT, Gltf, embedded, is_embedded, view_bytes
from .ply import FileProblem


@record
class GltfPicture:
    """A picture of a glTF file: its name for messages, its own file where it has one, why it is left out ('' where it is
    kept)."""

    name: str
    file: Path | None = None
    refused: str = ""


def pictures(gltf: Gltf) -> list[GltfPicture]:
    """Each of the file's pictures in order, looked at by its header. The file must have passed `check_gltf`."""
    return [_looked_at(gltf, image, number) for number, image in enumerate(gltf.rows("images"))]


def _looked_at(gltf: Gltf, image: dict[str, Any], number: int) -> GltfPicture:
    given = image.get("name")
    name = given[:80] if isinstance(given, str) and given else f"picture {number + 1}"
    uri = image.get("uri")
    try:
        if not isinstance(uri, str):
            view = _view(gltf, image)
            if not set(view.get("extensions") or {}) & set(MESHOPT):
                check_room(check_picture_bytes(view_bytes(gltf, view).tobytes()))
            return GltfPicture(name)
        if is_embedded(uri):
            check_room(check_picture_bytes(embedded(uri)))
            return GltfPicture(name)
        reference = gltf.follow(uri)
        if reference.path is None:
            return GltfPicture(reference.shown, None, reference.refused or "it is missing")
        check_room(check_picture(reference.path))
        return GltfPicture(reference.shown, reference.path)
    except FileProblem as problem:
        return GltfPicture(name, None, str(problem).split(";")[0])


def _view(gltf: Gltf, image: dict[str, Any]) -> dict[str, Any]:
    place, views = image.get("bufferView"), gltf.rows("bufferViews")
    if isinstance(place, bool) or not isinstance(place, int) or not 0 <= place < len(views):
        raise FileProblem("it has no data; export the scan again")
    return views[place]
