"""The faces and vertices of any PLY as arrays: text or binary of either order, with lists wherever they stand.

Blender's importer reads PLY files of the plainest kind: it leaves out the places on a picture that a program gave corner by
corner or under names of its own, and refuses lists among the vertices and faces of fewer than three corners.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ...arrays import AnyArray, Floats, Ints
from .ply import PLY_BYTES, FileProblem, PlyHeader, ply_header

CODES = {
    "char": "b", "int8": "b", "uchar": "B", "uint8": "B", "short": "h", "int16": "h", "ushort": "H", "uint16": "H",
    "int": "i", "int32": "i", "uint": "I", "uint32": "I", "float": "f", "float32": "f", "double": "d", "float64": "d",
}  # fmt: skip
"""Types of values to the codes of `struct`."""
CORNERS, PLACES, PICTURE = ("vertex_indices", "vertex_index"), ("texcoord",), ("texnumber",)
UV_NAMES = (("s", "t"), ("u", "v"), ("texture_u", "texture_v"), ("texcoord_u", "texcoord_v"), ("texu", "texv"))
COLOUR_NAMES = (("red", "green", "blue"), ("diffuse_red", "diffuse_green", "diffuse_blue"), ("r", "g", "b"))
KNOWN_COLOURS = ("uchar", "uint8", "float", "float32")
"""Types of vertex colours that Blender's importer reads as they are meant."""
WHOLE = {"uchar": 255.0, "uint8": 255.0, "ushort": 65535.0, "uint16": 65535.0}
"""What stands for full, by the type of a colour; 1 for all others."""
_PICTURES = re.compile(r"(?mi)^[ \t]*comment[ \t]+TextureFile[ \t]+([^\r\n]+)")


@dataclass
class PlyRows:
    """A PLY's content. points (n, 3) float64; uv (n, 2) and colours (n, 3) from 0 to 1 of the vertices, or None; `groups`: the
    faces by their number of corners."""

    points: Floats
    uv: Floats | None = None
    colours: Floats | None = None
    groups: list[PlyFaces] = field(default_factory=list)


@dataclass
class PlyFaces:
    """Faces of k corners: (m, k) points, (m, k, 2) places on the picture or None, (m,) which picture."""

    corners: Ints
    uv: Floats | None
    picture: Ints


def pictures_named(start: bytes) -> list[str]:
    """The pictures that a PLY's header names, as MeshLab's form of the comment has them (common practice)."""
    end = start.find(b"end_header")
    return [name.strip() for name in _PICTURES.findall(start[: max(end, 0)].decode("utf-8", "replace"))]


def read_in_part(header: PlyHeader) -> bool:
    """Whether Blender's importer would leave something out of a file with that header, or refuse it."""
    for name, _, properties in header.elements:
        plain = {kind[-1]: kind[0] for kind in properties if len(kind) == 2}
        lists = {kind[-1] for kind in properties if len(kind) == 3}
        if name == "vertex":
            uv = any({first, second} <= plain.keys() for first, second in UV_NAMES[1:])
            colour = next((names for names in COLOUR_NAMES if set(names) <= plain.keys()), COLOUR_NAMES[0])
            odd = colour != COLOUR_NAMES[0] or any(plain.get(part, "uchar") not in KNOWN_COLOURS for part in colour)
            if lists or uv or odd:
                return True
        elif name == "face" and lists & set(PLACES):
            return True
    return False


def read_rows(path: Path) -> PlyRows:
    """Read a PLY. Raises FileProblem where it ends too soon or names what is not there."""
    with path.open("rb") as file:
        start = file.read(1 << 16)
    header = ply_header(start)
    rows: PlyRows | None = None
    faces: list[Run] = []
    try:
        data = _Text(path, header.length) if header.format == "ascii" else _Binary(path, header)
        for name, count, properties in header.elements:
            runs = _runs(data, max(count, 0), properties)
            if name == "vertex":
                rows = _vertices(runs, {prop[-1]: prop[0] for prop in properties})
            elif name == "face":
                faces = runs
    except (IndexError, ValueError, KeyError, TypeError):
        raise FileProblem("it is cut short or damaged; copy or export the scan again") from None
    if rows is None or not len(rows.points):
        raise FileProblem("it holds no vertices; export the scan again as a mesh")
    rows.groups = [group for run in faces if (group := _faces(run)) is not None]
    for group in rows.groups:
        if group.corners.min() < 0 or group.corners.max() >= len(rows.points):
            raise FileProblem("some of its faces name points that it does not hold; copy or export the scan again")
    if not rows.groups:
        raise FileProblem("it holds points but no faces; export the scan as a mesh, not as a point cloud")
    return rows


# --- what the rows mean ------------------------------------------------------------------------------------------------

Run = dict[str, AnyArray]
"""Rows whose lists are equally long: property to (m,) values, or to (m, k) of a list; `ROW`: their numbers in the file."""
ROW = ""


def _vertices(runs: Sequence[Run], kinds: dict[str, str]) -> PlyRows:
    names = [name for name, values in runs[0].items() if values.ndim == 1]
    order = np.argsort(np.concatenate([run[ROW] for run in runs]))
    columns = {name: np.concatenate([run[name] for run in runs])[order] for name in names}
    rows = PlyRows(np.stack([columns[axis] for axis in "xyz"], 1).astype(float))
    for pair in UV_NAMES:
        if set(pair) <= columns.keys():
            rows.uv = np.stack([columns[name] for name in pair], 1).astype(float)
            break
    for colour in COLOUR_NAMES:
        if set(colour) <= columns.keys():
            values = np.stack([columns[name] for name in colour], 1).astype(float)
            rows.colours = np.clip(np.nan_to_num(values) / WHOLE.get(kinds[colour[0]], 1.0), 0.0, 1.0)
            break
    return rows


def _faces(run: Run) -> PlyFaces | None:
    """The faces of a run; None where they have fewer than three corners."""
    corners = next((run[name] for name in CORNERS if name in run), None)
    if corners is None or corners.ndim != 2 or corners.shape[1] < 3:
        return None
    count, most = corners.shape
    places = next((run[name] for name in PLACES if name in run and run[name].shape == (count, 2 * most)), None)
    picture = next((run[name] for name in PICTURE if name in run), np.zeros(count))
    uv = None if places is None else places.reshape(count, most, 2).astype(float)
    return PlyFaces(corners.astype(np.int64), uv, picture.astype(np.int64))


# --- rows as they lie --------------------------------------------------------------------------------------------------

Properties = Sequence[tuple[str, ...]]
FIRST_LOOK = 64
"""Rows that are looked at first for lists of one length; twice as many each time that all were alike."""


def _runs(data: _Binary | _Text, count: int, properties: Properties) -> list[Run]:
    """The rows of an element, those with lists of the same lengths together."""
    pieces: dict[tuple[int, ...], list[Run]] = {}
    look = FIRST_LOOK if any(len(prop) == 3 for prop in properties) else count
    done = 0
    while done < count:
        lengths = data.lengths(properties)
        run, alike = data.take(properties, lengths, min(look, count - done))
        pieces.setdefault(lengths, []).append(run | {ROW: np.arange(done, done + alike)})
        look = 2 * look if alike == look else FIRST_LOOK
        done += alike
    return [{name: np.concatenate([piece[name] for piece in found]) for name in found[0]} for found in pieces.values()]


class _Binary:
    """The bytes of a binary PLY, read from the front."""

    def __init__(self, path: Path, header: PlyHeader):
        self._data = np.memmap(path, np.uint8, "r")
        self._at = header.length
        self._order = ">" if "big" in header.format else "<"
        self._kinds: dict[tuple[tuple[tuple[str, ...], ...], tuple[int, ...]], np.dtype[Any]] = {}

    def lengths(self, properties: Properties) -> tuple[int, ...]:
        """How long the lists of the next row are."""
        found, at = [], self._at
        for prop in properties:
            if len(prop) == 3:
                length = int(np.ndarray((1,), self._order + CODES[prop[0]], self._data, at)[0])
                if not 0 <= length <= len(self._data):
                    raise ValueError("a list of no length")
                found.append(length)
                at += length * PLY_BYTES[prop[1]]
            at += PLY_BYTES[prop[0]]
        return tuple(found)

    def take(self, properties: Properties, lengths: tuple[int, ...], most: int) -> tuple[Run, int]:
        """The next rows, `most` of them, as far as their lists have these lengths; and how many there are."""
        kind = self._kind(tuple(properties), lengths)
        if not kind.itemsize:
            raise ValueError("an element of no properties")
        fits = min(most, (len(self._data) - self._at) // kind.itemsize)
        if fits < 1:
            raise ValueError("the data ends too soon")
        rows: AnyArray = np.ndarray((fits,), kind, self._data, self._at)
        alike = np.ones(fits, bool)
        lists = [prop[-1] for prop in properties if len(prop) == 3]
        for name, length in zip(lists, lengths, strict=True):
            alike &= rows[f"count of {name}"] == length
        count = fits if alike.all() else int(np.argmin(alike))
        self._at += count * kind.itemsize
        return {prop[-1]: np.array(rows[prop[-1]][:count]) for prop in properties}, count

    def _kind(self, properties: tuple[tuple[str, ...], ...], lengths: tuple[int, ...]) -> np.dtype[Any]:
        if (properties, lengths) not in self._kinds:
            form: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
            left = iter(lengths)
            for prop in properties:
                if len(prop) == 3:
                    form.append((f"count of {prop[-1]}", self._order + CODES[prop[0]]))
                    form.append((prop[-1], self._order + CODES[prop[1]], (next(left),)))
                else:
                    form.append((prop[-1], self._order + CODES[prop[0]]))
            self._kinds[properties, lengths] = np.dtype(form)
        return self._kinds[properties, lengths]


class _Text:
    """The numbers of a PLY as text, read from the front."""

    def __init__(self, path: Path, start: int):
        self._numbers = np.array(path.read_bytes()[start:].split(), dtype=np.float64)
        self._at = 0

    def lengths(self, properties: Properties) -> tuple[int, ...]:
        """How long the lists of the next row are."""
        found, at = [], self._at
        for prop in properties:
            if len(prop) == 3:
                found.append(self._count(self._numbers[at]))
                at += found[-1]
            at += 1
        return tuple(found)

    def _count(self, number: float) -> int:
        if not 0 <= number <= len(self._numbers) or number != int(number):
            raise ValueError("a list of no length")
        return int(number)

    def take(self, properties: Properties, lengths: tuple[int, ...], most: int) -> tuple[Run, int]:
        """The next rows, `most` of them, as far as their lists have these lengths; and how many there are."""
        width = len(properties) + sum(lengths)
        fits = min(most, (len(self._numbers) - self._at) // max(width, 1))
        if fits < 1:
            raise ValueError("the data ends too soon")
        rows = self._numbers[self._at : self._at + fits * width].reshape(fits, width)
        alike, column, left, found = np.ones(fits, bool), 0, iter(lengths), {}
        for prop in properties:
            if len(prop) == 3:
                length = next(left)
                alike &= rows[:, column] == length
                found[prop[-1]] = rows[:, column + 1 : column + 1 + length]
                column += length
            else:
                found[prop[-1]] = rows[:, column]
            column += 1
        count = fits if alike.all() else int(np.argmin(alike))
        self._at += count * width
        return {name: values[:count] for name, values in found.items()}, count
