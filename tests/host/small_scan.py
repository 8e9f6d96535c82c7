"""A small scan for the host tests: a turned drawer knob on a square plate, with a texture lit from one side."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

AROUND, ALONG = 48, 28
HEIGHT_MM = 42.0


def write_knob(folder: Path) -> Path:
    """Write knob.obj, .mtl and .png (metres, y up as phones write it) and return the OBJ's path."""
    v = np.linspace(0.0, 1.0, ALONG)
    radius = 0.006 + 0.009 * np.sin(np.pi * np.clip(v * 1.02, 0.0, 1.0)) ** 0.6 * (0.6 + 0.4 * v)
    radius[-1] = 0.0006
    angle = np.linspace(0.0, 2.0 * np.pi, AROUND + 1)
    ring = np.stack([np.cos(angle), np.zeros_like(angle), np.sin(angle)], axis=1)
    knob = radius[:, None, None] * ring[None] + np.array([0.0, 1.0, 0.0]) * (0.004 + 0.038 * v)[:, None, None]
    uv = np.stack(np.meshgrid(angle / (2.0 * np.pi) * 0.8, 0.02 + 0.96 * v), axis=-1)
    lines = ["mtllib knob.mtl", "o knob", "usemtl knob"]
    lines += [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in knob.reshape(-1, 3)]
    lines += [f"vt {a:.5f} {b:.5f}" for a, b in uv.reshape(-1, 2)]
    for row in range(ALONG - 1):
        for column in range(AROUND):
            a = row * (AROUND + 1) + column + 1
            b, c, d = a + 1, a + AROUND + 1, a + AROUND + 2
            lines.append("f " + " ".join(f"{i}/{i}" for i in (a, c, d, b)))
    lines += _plate(len(knob.reshape(-1, 3)), len(uv.reshape(-1, 2)))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "knob.obj").write_text("\n".join(lines) + "\n", encoding="ascii")
    (folder / "knob.mtl").write_text("newmtl knob\nKd 0.8 0.8 0.8\nmap_Kd knob.png\n", encoding="ascii")
    _texture(folder / "knob.png")
    return folder / "knob.obj"


def _plate(first: int, first_uv: int) -> list[str]:
    """A closed square plate, 36 x 36 x 4 mm, under the knob."""
    half, lines = 0.018, []
    corners = [(x, y, z) for y in (0.0, 0.004) for x, z in ((-half, -half), (half, -half), (half, half), (-half, half))]
    lines += [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in corners]
    lines += [f"vt {u:.5f} {w:.5f}" for u, w in ((0.85, 0.1), (0.97, 0.1), (0.97, 0.4), (0.85, 0.4))]
    for face in ((0, 1, 2, 3), (7, 6, 5, 4), (0, 4, 5, 1), (1, 5, 6, 2), (2, 6, 7, 3), (3, 7, 4, 0)):
        lines.append("f " + " ".join(f"{first + i + 1}/{first_uv + k + 1}" for k, i in enumerate(face)))
    return lines


def _texture(path: Path) -> None:
    """Clay, brighter on one side, with fine grooves round the knob that the mesh does not have."""
    size = 256
    u, v = np.meshgrid((np.arange(size) + 0.5) / size, (np.arange(size) + 0.5) / size)
    light = 0.62 + 0.22 * np.cos(2.0 * np.pi * u / 0.8) + 0.08 * np.sin(2.0 * np.pi * v * 30.0)
    grain = np.random.default_rng(3).normal(0.0, 0.012, light.shape)
    colour = np.clip((light + grain)[..., None] * np.array([0.92, 0.72, 0.56]), 0.0, 1.0)
    Image.fromarray(np.round(colour[::-1] * 255.0).astype(np.uint8)).save(path)


QUICK_SHEET = """\
bozzetto = 1

[intake]
scan = "knob.obj"

[orientation]
height = 42.0

[render]
size = 96
samples = 4
frames = 3
turntable_size = 64
"""
"""The whole job with pictures as small as they can be."""
FEW_THINGS = """
[tabletop]
props = 1

[debris]
count = 60
powder = 60
"""
"""More of a sheet: each step of the set makes little, for tests that run all of them and look at something else."""


def run_until(folder: Path, step: str) -> Any:
    """The knob's job in the installed add-on, run until that step; its scene."""
    import bpy

    write_knob(folder)
    (folder / "knob.toml").write_text(QUICK_SHEET, encoding="utf-8")
    bpy.ops.bozzetto.read_sheet(filepath=str(folder / "knob.toml"))
    bpy.context.scene.bozzetto.output = str(folder / "out")
    assert bpy.ops.bozzetto.run_job(last=step) == {"FINISHED"}
    return bpy.context.scene
