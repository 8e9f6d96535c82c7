"""A subject that shape alone can't settle: a figure on a square tile with a random pattern, dusted and bare, as two files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from ..modelling.fields import box, rotation
from . import stands

TILE = stands.patterned(41, (0.55, 0.40, 0.30), (0.22, 0.12, 0.06), (0.10, 0.28, 0.29))
SHEET = """bozzetto = 1
name = "tile"

[[intake.scans]]
file = "whole.ply"

[[intake.scans]]
file = "tile.ply"
role = "stand"

[orientation]
height = 68.0
"""


def _tile(points: Any) -> Any:
    return box(points, (0, 0, 4.5), (30, 30, 4.5), 0.8)


def write_tile(folder: Path, *, step: float = 1.0) -> None:
    """`whole.ply` in mm, white with dust; `tile.ply` in cm, turned by 90 degrees, in its colours; and `tile.toml`."""
    whole, faces = stands.meshed(lambda points: stands.figure_on(_tile, points), step)
    _ply(folder / "whole.ply", whole, faces, np.full(whole.shape, 0.7))
    tile, faces = stands.meshed(_tile, 0.9 * step, turn=rotation(("x", 17), ("y", 31), ("z", 8)))
    _ply(folder / "tile.ply", 0.1 * tile @ rotation(("z", 90)).T, faces, TILE(tile))
    (folder / "tile.toml").write_text(SHEET, encoding="utf-8")


def _ply(path: Path, vertices: Any, faces: Any, colours: Any) -> None:
    shown = np.rint(255.0 * np.clip(colours, 0.0, 1.0) ** (1 / 2.2)).astype(int)
    names = [f"property float {axis}" for axis in "xyz"] + [f"property uchar {name}" for name in ("red", "green", "blue")]
    lines = ["ply", "format ascii 1.0", f"element vertex {len(vertices)}", *names]
    lines += [f"element face {len(faces)}", "property list uchar int vertex_indices", "end_header"]
    lines += ["{:.5f} {:.5f} {:.5f} {} {} {}".format(*spot, *own) for spot, own in zip(vertices, shown, strict=True)]
    lines += ["3 {} {} {}".format(*face) for face in faces]
    path.write_text("\n".join(lines) + "\n", encoding="ascii")
