"""Times one recovery in a process of its own, with its own peak: `python -m scripts.bench.relief.timing FILE N`."""

from __future__ import annotations

import json
import statistics
import sys
import time

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.srgb import decode
from blender_addon.core.surface.light import lamplight
from blender_addon.core.surface.relief.recovery import Photographed, recover
from blender_addon.core.surface.texels import typical_texel_mm
from blender_addon.core.surface.textured_surface import read_surface, without
from scripts.bench import peak_mb

FINEST_TEXEL_MM = 0.055  # as the step does


def main(path: str, repeats: int) -> dict[str, float]:
    """Median seconds from arrays to relief, and the peak of this process in MB."""
    with np.load(path) as kept:
        mesh, texture = TriangleMesh(kept["vertices"], kept["faces"], kept["uv"]), kept["texture"]
    times = []
    for _ in range(repeats):
        lamplight._fit_of.cache_clear()  # the fits that are kept would answer at once
        start = time.perf_counter()
        _once(mesh, texture)
        times.append(time.perf_counter() - start)
    return {"seconds": statistics.median(times), "peak_mb": peak_mb()}


def _once(mesh: TriangleMesh, texture: np.ndarray) -> None:
    picture = decode(texture.astype(np.float32) / 255)
    texel = typical_texel_mm(mesh.vertices, mesh.faces, mesh.uv, height=len(picture), width=len(picture))
    while 2 * texel <= FINEST_TEXEL_MM * 1.2:
        picture = 0.25 * (picture[::2, ::2] + picture[1::2, ::2] + picture[::2, 1::2] + picture[1::2, 1::2])
        texel *= 2
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=len(picture), width=len(picture))
    surface = without(surface, surface.texels.shared)
    colours = np.ascontiguousarray(picture.reshape(-1, 3)[surface.texels.index])
    work = recover([Photographed(surface, colours)], largest_mm=3.0)
    for _ in work:
        pass


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(sys.argv[1], int(sys.argv[2]))) + "\n")
