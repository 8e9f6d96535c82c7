"""How much of the lost relief comes back, and how much of the light goes? Against known truth, beside the usual high-pass.

These shapes are the set that the method, its constants and the net were tuned on: the bench is frozen and shows whether a
change made something worse, not how well unseen pieces do. For that there are `bench decisions --cases relief` (real forms with
measured normals), `bench likeness` and `scripts/photos`. Yardsticks are measured beside each figure: the high-pass is masked
to the islands and has the width and strength that are best for the truth.

Cases are shape/light. The first run bakes each shape's transport for a minute or two; later runs take it from the cache.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh
from scripts.truth.scanner import baked_scan, truth_case

from .. import ROOT, Options, Record
from .finest import SIZE, TRIANGLES

SHAPES = ("owl", "sharp", "folds", "smooth")
LIGHTS = ("window", "lamps", "overcast", "travelling", "tent")
PIGMENTED = (
    ("owl", "painted"), ("folds", "printed"), ("sharp", "wood"), ("smooth", "wood"), ("plain", "wood"), ("plain", "printed"),
)  # fmt: skip
AT_ONCE = 2  # processes of some 2 GB; each uses two cores for half of its time


def run(record: Record, options: Options) -> None:
    """All metrics of relief.json: the cases side by side, two at a time, then the timing alone."""
    shapes, lights = (("owl",), ("window", "tent")) if options.fast else (SHAPES, LIGHTS)
    apart = [(shape, f"several {shape}") for shape in (() if options.fast else SHAPES) if options.wants(f"{shape}/window")]
    jobs: dict[str, list[str]] = {}
    for shape in shapes:
        if wanted := [light for light in lights if options.wants(f"{shape}/{light}")]:
            jobs.setdefault(shape, []).append(" ".join(("lit", shape, *wanted)))
    for shape, paint in PIGMENTED[: 1 if options.fast else None]:
        if options.wants(f"{shape}/{paint}"):
            jobs.setdefault(shape, []).append(f"albedo {shape} {paint}")
    apart += [(shape, " + ".join(work)) for shape, work in jobs.items()]
    apart += [(shape, f"thinned {shape}") for shape in ("owl", "sharp") if options.wants(f"{shape}/thinned")]
    finest = [light for light, name in (("window", "8k"), ("lamps", "8k/lamps")) if options.wants(name) and not options.fast]
    if finest:
        baked_scan("engraved", size=SIZE, triangles=TRIANGLES)
        apart += [("engraved", " + ".join(f"finer {light}" for light in finest))]
    if options.wants("plain/window"):
        apart.append(("plain", "without_detail"))
    for shape in dict.fromkeys(shape for shape, _ in apart if shape != "engraved"):
        baked_scan(shape)  # before the processes part, that no two bake the same
    with ThreadPoolExecutor(AT_ONCE) as pool:
        for rows in pool.map(lambda item: _apart("cases", options.out, *item[1].split(), threads="1"), apart):
            for row in rows:
                record.add(**row)
    if options.wants("timing"):
        _timing(record, options)


def _timing(record: Record, options: Options) -> None:
    case = truth_case("owl", "window")
    for size, metric, repeats, floor, goal in (
        (2048, "seconds_2k", 3, "<= 25", "<= 10"),
        (4096, "seconds_4k", 1, "<= 60", "<= 20"),
    ):
        mesh, texture = case.scan, case.texture
        if size == 4096:
            mesh, texture = _quartered(_quartered(mesh)), np.repeat(np.repeat(texture, 2, axis=0), 2, axis=1)
        path = (options.out / f"timing_{size}.npz").resolve()
        np.savez(path, vertices=mesh.vertices, faces=mesh.faces, uv=mesh.uv, texture=texture)
        timing = _apart("timing", path, 1 if options.fast else repeats)
        path.unlink()
        record.add(metric, timing["seconds"], case="owl", unit="s", floor=floor, goal=goal)
    record.add("peak_mb_4k", timing["peak_mb"], case="owl", unit="MB", floor="<= 3000", goal="<= 3000")


def _apart(module: str, *words: Any, threads: str = "") -> Any:
    """What a module beside this one prints at its end when a process of its own runs it. threads: OpenBLAS's own; those of
    several processes would wait for each other."""
    command = [sys.executable, "-m", f"scripts.bench.relief.{module}", *map(str, words)]
    surroundings = os.environ | ({"OPENBLAS_NUM_THREADS": threads} if threads else {})
    done = subprocess.run(command, cwd=ROOT, env=surroundings, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{module} {words}: {done.stderr[-2000:]}")
    return json.loads(done.stdout.strip().splitlines()[-1])


def _quartered(mesh: TriangleMesh) -> TriangleMesh:
    """Each triangle cut into four at the middles of its edges."""
    pairs = np.sort(np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]]), axis=1)
    unique, number = np.unique(pairs, axis=0, return_inverse=True)
    middle = (number.reshape(3, -1) + len(mesh.vertices)).T
    vertices = np.concatenate([mesh.vertices, mesh.vertices[unique].mean(axis=1)])
    (a, b, c), (ab, bc, ca) = mesh.faces.T, middle.T
    faces = np.concatenate([np.stack(corners, axis=1) for corners in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    p, q, r = (mesh.uv[:, k] for k in range(3))
    pq, qr, rp = (p + q) / 2, (q + r) / 2, (r + p) / 2
    uv = np.concatenate([np.stack(corners, axis=1) for corners in ((p, pq, rp), (pq, q, qr), (rp, qr, r), (pq, qr, rp))])
    return TriangleMesh(vertices, faces.astype(np.int32), uv)
