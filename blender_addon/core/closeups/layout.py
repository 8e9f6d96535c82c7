"""How are all close-ups mapped onto the piece? By one more UV layer and one picture each of normals, weight and colour.

Each set's pixels keep their places beside each other, so that nothing is resampled: a face's UVs are where its corners lie on
the photo, moved to the set's cell of the atlas. A face belongs to the set that shows it best; one that no set shows lies in an
empty corner, where the weight is 0."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats, Ints
from ..records import record
from ..surface.atlas import Atlas, assembled, packed
from ..surface.normal_maps import encode, tangent_frames, tangent_space
from ..surface.texels import extend
from .camera import PhotoCamera
from .photo_set import Reading
from .seen import Form, flat_uv

CORNER = 8
"""Edge of the empty cell in texels."""
GROWN = 4
"""Texels that the maps are grown past what is covered."""
LEAST = 0.02
"""Mean weight below which a face is left to the scan."""


@record
class Layout:
    """uv: (m, 3, 2) float32 of all faces of the form. normal (h, w, 3), weight (h, w), colour (h, w, 3), row 0 at v = 0; colour
    linear. owner: (m,) which set shows a face, -1 for none."""

    uv: Floats
    normal: Floats
    weight: Floats
    colour: Floats
    owner: Ints


def laid_out(form: Form, readings: Sequence[tuple[PhotoCamera, Reading]]) -> Layout:
    """The UV layer and the pictures for sets, each with its camera at the working size."""
    owner, crops, flat = _owners(form, readings)
    sizes = [(right - left, top - bottom) for left, bottom, right, top in crops]
    atlas = packed([*sizes, (CORNER, CORNER)])
    uv = np.zeros((len(form.faces), 3, 2), np.float32)
    empty = atlas.cells[-1]
    uv[:] = ((empty.column + empty.width / 2) / atlas.width, (empty.row + empty.height / 2) / atlas.height)
    pictures = []
    for number, (_, reading) in enumerate(readings):
        mine = np.flatnonzero(owner == number)
        uv[mine] = _in_cell(flat[number][form.faces[mine]], crops[number], reading, atlas, number)
        pictures.append(_pictures(form, reading, flat[number], crops[number]))
    pictures.append(np.broadcast_to(np.array([0.5, 0.5, 1, 0, 0, 0, 0], np.float32), (CORNER, CORNER, 7)))
    whole = assembled(atlas, pictures, np.array([0.5, 0.5, 1, 0, 0, 0, 0], np.float32))
    return Layout(uv, whole[..., :3].copy(), whole[..., 3].copy(), whole[..., 4:].copy(), owner)


Crop = tuple[int, int, int, int]
"""Left, bottom, right and top in pixels of a photo."""


def _owners(form: Form, readings: Sequence[tuple[PhotoCamera, Reading]]) -> tuple[Ints, list[Crop], list[Floats]]:
    """(m,) set of each face, the crop of each set, UVs (v, 2) of the vertices in each."""
    owner = np.full(len(form.faces), -1)
    best = np.full(len(form.faces), 0.0)
    flat = []
    for number, (camera, reading) in enumerate(readings):
        uv, _ = flat_uv(camera, form.vertices)
        flat.append(uv)
        face = reading.faces[reading.pixels.face]
        total = np.bincount(face, reading.weight, len(form.faces))
        count = np.bincount(face, minlength=len(form.faces))
        mean = total / np.maximum(count, 1)
        worth = np.where((count > 0) & (mean > LEAST), mean / reading.pixel_mm, 0)
        owner[worth > best] = number
        best = np.maximum(best, worth)
    crops = []
    for number, (_, reading) in enumerate(readings):
        height, width = reading.pixels.shape
        corners = flat[number][form.faces[owner == number]].reshape(-1, 2) * (width, height)
        if not len(corners):
            crops.append((0, 0, CORNER, CORNER))
            continue
        left, bottom = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0)
        right, top = np.ceil(corners.max(axis=0)).astype(int) + 2
        crops.append((int(left), int(bottom), int(min(right, width)), int(min(top, height))))
    return owner, crops, flat


def _in_cell(uv: Floats, crop: tuple[int, int, int, int], reading: Reading, atlas: Atlas, number: int) -> Floats:
    height, width = reading.pixels.shape
    cell = atlas.cells[number]
    share = (uv * (width, height) - crop[:2]) / (crop[2] - crop[0], crop[3] - crop[1])
    placed = np.array([cell.column, cell.row]) + share * np.array([cell.width, cell.height])
    return np.asarray(placed / (atlas.width, atlas.height), np.float32)


def _pictures(form: Form, reading: Reading, uv: Floats, crop: tuple[int, int, int, int]) -> Floats:
    """(h, w, 7): encoded tangent-space normal, weight, linear colour, cropped."""
    faces = form.faces[reading.faces]
    frames = tangent_frames(form.vertices, faces, uv[faces], form.normals)
    encoded = encode(tangent_space(reading.pixels, frames, reading.normal, reading.slope))
    mask = reading.pixels.mask()
    raster = reading.pixels.scatter(np.concatenate([encoded, reading.weight[:, None], reading.albedo], axis=1))
    raster[~mask, :3] = (0.5, 0.5, 1.0)
    left, bottom, right, top = crop
    part, known = raster[bottom:top, left:right], mask[bottom:top, left:right]
    grown = extend(part, known, GROWN)
    grown[..., 3] = np.where(known, part[..., 3], 0)
    return grown
