"""A PLY of any form rewritten so that Blender's importer reads all of it: with its places on the picture, and all its faces."""

from __future__ import annotations

from pathlib import Path
from typing import TextIO

import numpy as np

from ...arrays import Floats, Ints
from .file_coordinates import FAR, far_origin
from .ply_rows import PlyRows

MATERIAL = "picture {}"
"""The name of the material that shows a scan's picture of that number."""


def picture_count(rows: PlyRows) -> int:
    """How many pictures the faces lie on."""
    return 1 + max((int(group.picture.max(initial=0)) for group in rows.groups), default=0)


def write_plain(rows: PlyRows, target: Path) -> None:
    """Write a binary PLY with a vertex for each point and each place on the picture."""
    point, uv, groups = _split(rows)
    form = [(name, "<f4") for name in ("x", "y", "z", *(("s", "t") if uv is not None else ()))]
    form += [(name, "u1") for name in ("red", "green", "blue")] if rows.colours is not None else []
    vertices = np.zeros(len(point), form)
    vertices["x"], vertices["y"], vertices["z"] = _sound(rows.points)[point].T
    if uv is not None:
        vertices["s"], vertices["t"] = uv.T
    if rows.colours is not None:
        vertices["red"], vertices["green"], vertices["blue"] = np.round(255.0 * rows.colours[point]).T
    head = ["ply", "format binary_little_endian 1.0", f"element vertex {len(vertices)}"]
    head += [f"property {'uchar' if kind == 'u1' else 'float'} {name}" for name, kind in form]
    head += [f"element face {sum(map(len, groups))}", "property list uint int vertex_indices", "end_header"]
    with target.open("wb") as out:
        out.write(("\n".join(head) + "\n").encode() + vertices.tobytes())
        for corners in groups:
            faces = np.zeros(len(corners), [("n", "<u4"), ("v", "<i4", (corners.shape[1],))])
            faces["n"], faces["v"] = corners.shape[1], corners
            out.write(faces.tobytes())


def write_obj(rows: PlyRows, target: Path) -> None:
    """Write an OBJ whose faces wear a material for each picture, called `MATERIAL`."""
    point, uv, groups = _split(rows)
    columns = [_sound(rows.points)[point], *([rows.colours[point]] if rows.colours is not None else [])]
    with target.open("w", encoding="ascii") as out:
        _write_lines(out, "v", np.hstack(columns))
        _write_lines(out, "vt", np.zeros((len(point), 2)) if uv is None else uv)
        for group, corners in zip(rows.groups, groups, strict=True):
            for number in np.unique(group.picture):
                out.write(f"usemtl {MATERIAL.format(max(int(number), 0))}\n")
                form = "f" + " %d/%d" * corners.shape[1] + "\n"
                own = np.repeat(corners[group.picture == number] + 1, 2, axis=1)
                out.writelines(form % tuple(row) for row in own.tolist())


def _write_lines(out: TextIO, word: str, rows: Floats) -> None:
    form = word + " %.9g" * rows.shape[1] + "\n"
    out.writelines(form % tuple(row) for row in rows.tolist())


def _sound(points: Floats) -> Floats:
    """The points, near zero, those that are not numbers set FAR away, where the importing step drops them."""
    near = points - np.array(far_origin(points) or (0.0, 0.0, 0.0))
    return np.where(np.isfinite(near) & (np.abs(near) < float(FAR)), near, float(FAR))


def _split(rows: PlyRows) -> tuple[Ints, Floats | None, list[Ints]]:
    """Vertices that have one place on the picture each: (n,) the point of each, (n, 2) its place or None, and the corners of
    each group of faces."""
    if all(group.uv is None for group in rows.groups):
        return np.arange(len(rows.points)), rows.uv, [group.corners for group in rows.groups]
    points = np.concatenate([group.corners.ravel() for group in rows.groups])
    places = np.concatenate([_places(rows, group.uv, group.corners).reshape(-1, 2) for group in rows.groups])
    whole = np.nan_to_num(places.astype(np.float32), posinf=0.0, neginf=0.0) + np.float32(0.0)  # one zero, not two
    keys = np.column_stack([points.astype(np.int64), np.ascontiguousarray(whole).view(np.int32)])
    _, first, number = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    number = number.reshape(-1)
    ends = np.cumsum([group.corners.size for group in rows.groups])[:-1]
    groups = [part.reshape(group.corners.shape) for part, group in zip(np.split(number, ends), rows.groups, strict=True)]
    return points[first], whole[first].astype(float), groups


def _places(rows: PlyRows, uv: Floats | None, corners: Ints) -> Floats:
    """(m, k, 2) the places of faces' corners: their own, else their points', else 0."""
    if uv is not None:
        return uv
    return np.zeros((*corners.shape, 2)) if rows.uv is None else rows.uv[corners]
