"""Scan the hound as with a phone: `python -m scripts.truth.hound_scan --out FOLDER [--size 2048] [--samples 12]`.

Dusted with matting spray (walnut is dark and oiled, and scans badly bare), lit by a window. The scan is not kept in
the project: the gallery makes it when it shows the hound.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh

from . import demo
from .light import lights
from .modelling.fields import Noise, rotation
from .pieces.hound import hound
from .pieces.shape import Shape
from .scan import charts, scanned
from .scan.camera import Camera, photographed, speckles
from .scan.texels import texels

SEED = 21
POSE = demo.pose(0.0173, rotation(("z", 63.0), ("x", -22.0), ("y", 12.0)), (-0.4, 1.1, 0.2))
"""A phone knows neither size nor up."""


def write_scan(folder: Path, *, size: int = 2048, samples: int = 12) -> Path:
    """Write hound.obj with its material and texture, and a job sheet; returns the sheet's path."""
    folder.mkdir(parents=True, exist_ok=True)
    piece = hound(SEED)
    mesh = scanned.scan_mesh(piece, triangles=52_000, webbing=0.10, noise=0.025, seed=SEED, open_below=1.2)
    mesh, _ = charts.unwrapped(demo.scraps(mesh, 4, SEED + 40), islands=900, texels=size, seed=SEED)
    part = texels(mesh, piece.vertices, piece.faces, size)
    white = Shape("hound", piece.vertices, piece.faces, np.full((len(piece.vertices), 3), demo.POWDER))
    light = demo.light_of([white], mesh, lights.light("window", SEED), part, size, samples)
    camera, texel = Camera(blur=0.09), demo.texel_mm(mesh, size)
    specks = speckles(part, camera.speckle, np.random.default_rng(SEED + 60), texel_area=texel**2)
    powder = 1.0 + camera.powder * Noise(SEED + 61)(part.position, 4.0, octaves=2)
    picture = photographed(light * demo.POWDER * (specks * powder)[:, None], part, camera, mm_a_texel=texel, seed=SEED)
    demo.write_obj(folder, "hound", TriangleMesh(demo.moved(POSE, mesh.vertices), mesh.faces, mesh.uv), picture)
    sheet = folder / "hound.toml"
    height = float(np.ptp(piece.vertices[:, 2]))
    lines = ["bozzetto = 1", "[intake]", 'scan = "hound.obj"', "[orientation]", f"height = {height:.2f}"]
    sheet.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return sheet


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--size", type=int, default=2048)
    parser.add_argument("--samples", type=int, default=12)
    chosen = parser.parse_args()
    print(write_scan(chosen.out, size=chosen.size, samples=chosen.samples))
