"""Make the demo scans again: `python -m scripts.truth.demo [--out FOLDER] [--size 2048] [--samples 256] [--check]`.

A stoneware barn owl on an offcut of speckled terrazzo, scanned twice as with a phone: dusted (owl and stone, white with
speckle) and bare (the stone in its own colours, the owl cropped at its legs). The truth is made from the seed; its hash and
the transforms from each scan to the truth are written beside the scans.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, unit

from .light import cycles_bake, lights
from .modelling.fields import Noise, rotation
from .pieces.owl import HEIGHT, SLAB, owl, stand, terrazzo
from .pieces.shape import Shape, joined
from .scan import charts, scanned
from .scan.camera import Camera, photographed, speckles
from .scan.texels import Texels, mixed, texels

SEED = 7
STANDS_AT = np.array([-2.5, 1.5, SLAB[2] - 0.15])
"""mm, where on the stone (bottom on z = 0) the owl's feet are; pressed in a little."""
HOME = Path(__file__).resolve().parents[2] / "assets_demo"
POWDER = 0.78
SAMPLES = 256
"""Samples a texel of the light. With 12 the path tracer's noise was three times what the bench's simulated camera leaves (0.029
of the logarithm from texel to texel, against 0.010): no phone's texture, which joins many photos, looks like that."""


def truths(seed: int = SEED) -> tuple[Shape, Shape]:
    """The owl and the stone in place: mm, stone's bottom on z = 0, front towards -Y."""
    piece, stone = owl(seed), stand(seed)
    return (
        Shape("owl", piece.vertices + STANDS_AT, piece.faces, piece.albedo),
        Shape("stand", stone.vertices + [0, 0, SLAB[2]], stone.faces, stone.albedo),
    )


def pose(scale: float, turn: Any, shift: Any) -> Any:
    """(4, 4) similarity from the truth's millimetres to a scan's own units."""
    matrix = np.eye(4)
    matrix[:3, :3] = scale * turn
    matrix[:3, 3] = shift
    return matrix


POSES = {
    "owl_dusted": pose(0.02683, rotation(("z", 41.0), ("x", 31.0), ("y", -8.0), ("z", 17.0)), (0.83, -1.92, 0.47)),
    "stand_bare": pose(0.00914, rotation(("x", -24.0), ("z", 128.0), ("y", 9.0)), (-0.21, 0.36, 1.12)),
}
"""Phones know neither size nor up."""


def moved(matrix: Any, points: Any) -> Any:
    """Points (n, 3) through a (4, 4) matrix."""
    return points @ matrix[:3, :3].T + matrix[:3, 3]


def scraps(mesh: TriangleMesh, count: int, seed: int) -> TriangleMesh:
    """The mesh with loose pieces round it: small crumpled lumps such as reconstructions leave in empty air."""
    rng = np.random.default_rng(seed)
    noise = Noise(seed + 1)
    vertices, faces = [mesh.vertices], [mesh.faces]
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    for _ in range(count):
        rows, columns = int(rng.integers(4, 9)), int(rng.integers(6, 12))
        theta, phi = np.meshgrid(np.linspace(0.15, 2.9, rows), 2 * np.pi * np.arange(columns) / columns, indexing="ij")
        ball = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], -1).reshape(-1, 3)
        lump = (
            ball
            * rng.uniform(0.5, 2.2)
            * rng.uniform(0.4, 1.0, 3)
            * (1 + 0.3 * noise(ball + rng.uniform(0, 50, 3), 0.9)[:, None])
        )
        way = unit(rng.normal(size=3) * (1, 1, 0.6))
        spot = 0.5 * (low + high) + way * np.linalg.norm(high - low) * rng.uniform(0.42, 0.62)
        i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns), indexing="ij")
        a, b = i * columns + j, i * columns + (j + 1) % columns
        start = sum(len(part) for part in vertices)
        faces.append(
            start
            + np.concatenate(
                [np.stack([a, a + columns, b], -1).reshape(-1, 3), np.stack([b, a + columns, b + columns], -1).reshape(-1, 3)]
            )
        )
        vertices.append(lump + spot * (1, 1, 1) + (0, 0, max(0.0, 3.0 - spot[2])))
    return TriangleMesh(np.concatenate(vertices), np.concatenate(faces))


def dusted(piece: Shape, stone: Shape, *, size: int, samples: int) -> tuple[TriangleMesh, Any, Any]:
    """The first scan: mesh in the truth's frame, texture, piece (0) or stand (1) a vertex, -1 for loose pieces."""
    whole = joined(piece, stone)
    mesh = scanned.scan_mesh(whole, triangles=56_000, webbing=0.12, noise=0.025, seed=SEED, open_below=1.5)
    count = len(mesh.vertices)
    mesh, _ = charts.unwrapped(scraps(mesh, 7, SEED + 40), islands=1100, texels=size, seed=SEED)
    part = texels(mesh, whole.vertices, whole.faces, size)
    white = [
        Shape(shape.name, shape.vertices, shape.faces, np.full((len(shape.vertices), 3), POWDER)) for shape in (piece, stone)
    ]
    light = light_of(white, mesh, lights.light("window", SEED), part, size, samples)
    camera = Camera(blur=0.09)
    factor = speckles(part, camera.speckle, np.random.default_rng(SEED + 60), texel_area=texel_mm(mesh, size) ** 2)
    powder = 1.0 + camera.powder * Noise(SEED + 61)(part.position, 4.0, octaves=2)
    picture = photographed(
        light * POWDER * (factor * powder)[:, None], part, camera, mm_a_texel=texel_mm(mesh, size), seed=SEED
    )
    return mesh, picture, labels(mesh, piece, stone, count)


def bare(piece: Shape, stone: Shape, *, size: int, samples: int) -> tuple[TriangleMesh, Any, Any]:
    """The second scan: the stone in its own colours, with what of the owl came into the pictures, cropped above the legs."""
    whole = joined(piece, stone)
    mesh = scanned.scan_mesh(
        whole, triangles=64_000, sigma=0.75, webbing=0.14, noise=0.03, step=0.41, seed=SEED + 1, open_below=1.5
    )
    centre = mesh.vertices[mesh.faces].mean(axis=1)
    crop = centre @ unit(np.array([0.10, -0.06, 1.0])) + 0.7 * Noise(SEED + 70)(centre, 5.0) < 28.0
    mesh = scanned.kept(mesh, crop & (centre[:, 0] + 0.3 * centre[:, 1] > -41.5))
    count = len(mesh.vertices)
    mesh, _ = charts.unwrapped(scraps(mesh, 4, SEED + 41), islands=600, texels=size, seed=SEED + 1)
    part = texels(mesh, whole.vertices, whole.faces, size)
    light = light_of([piece, stone], mesh, lights.turned(lights.light("window", SEED + 3), 100.0), part, size, samples)
    corners = whole.faces[np.maximum(part.truth_face, 0)]
    spot = mixed(whole.vertices, corners, part.truth_weights)
    colour = mixed(whole.albedo, corners, part.truth_weights)
    on_stone = part.truth_face >= len(piece.faces)
    colour[on_stone] = terrazzo(spot[on_stone] - [0, 0, SLAB[2]], SEED)
    picture = photographed(
        light * colour, part, Camera(speckle=0, blur=0.10, level=0.55), mm_a_texel=texel_mm(mesh, size), seed=SEED + 1
    )
    return mesh, picture, labels(mesh, piece, stone, count)


def light_of(truth: list[Shape], mesh: TriangleMesh, room: lights.Light, part: Texels, size: int, samples: int) -> Any:
    """(t, 3) light that Cycles finds; where it found none (loose pieces, torn borders) the average."""
    light = cycles_bake.light_on(truth, mesh, room, size=size, samples=samples).reshape(-1, 3)[part.place].astype(float)
    missed = (light.max(axis=1) <= 0) | (part.truth_face < 0)
    light[missed] = np.median(light[~missed], axis=0) * np.clip(0.7 + 0.4 * part.normal[missed, 2:], 0.3, 1.2)
    return light


def texel_mm(mesh: TriangleMesh, size: int) -> float:
    """The edge of a square texel in mm, as the mesh is laid out in its texture of `size`."""
    a, b, c = (mesh.uv[:, k] for k in range(3))
    flat = 0.5 * np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]).sum()
    p, q, r = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    return float(np.sqrt(0.5 * np.linalg.norm(np.cross(q - p, r - p), axis=1).sum() / flat) / size)


def labels(mesh: TriangleMesh, piece: Shape, stone: Shape, count: int) -> Any:
    """(n,) 0 where the nearest truth is the piece, 1 the stand, -1 from vertex `count` on (loose pieces)."""
    import bpy  # noqa: F401 - mathutils can be imported only after bpy
    from mathutils.bvhtree import BVHTree

    trees = [
        BVHTree.FromPolygons(shape.vertices.tolist(), shape.faces.tolist(), all_triangles=True) for shape in (piece, stone)
    ]
    found = np.full(len(mesh.vertices), -1, np.int8)
    for row, point in enumerate(mesh.vertices[:count].tolist()):
        away = [tree.find_nearest(point)[3] for tree in trees]
        found[row] = int(away[1] < away[0])
    return found


def write_obj(folder: Path, name: str, mesh: TriangleMesh, picture: Any) -> None:
    """NAME.obj, NAME.mtl and NAME.jpg; UVs shared inside islands."""
    from PIL import Image

    Image.fromarray(picture[::-1]).save(folder / f"{name}.jpg", quality=90, subsampling=0)
    (folder / f"{name}.mtl").write_text(f"newmtl {name}\nKd 1.0 1.0 1.0\nKs 0.0 0.0 0.0\nmap_Kd {name}.jpg\n")
    pairs = np.round(mesh.uv.reshape(-1, 2) * 1e5).astype(np.int64)
    _, first, index = np.unique(pairs[:, 0] * 200_000 + pairs[:, 1], return_index=True, return_inverse=True)
    corner = index.reshape(-1, 3) + 1
    lines = [f"mtllib {name}.mtl", f"o {name}"]
    lines += [f"v {x:.5f} {y:.5f} {z:.5f}" for x, y, z in mesh.vertices.tolist()]
    lines += [f"vt {u:.5f} {v:.5f}" for u, v in (pairs[first] / 1e5).tolist()]
    lines += [f"usemtl {name}"]
    lines += [
        f"f {a}/{d} {b}/{e} {c}/{f}" for (a, b, c), (d, e, f) in zip((mesh.faces + 1).tolist(), corner.tolist(), strict=True)
    ]
    (folder / f"{name}.obj").write_text("\n".join(lines) + "\n")


def write_scans(folder: Path, *, size: int = 2048, samples: int = SAMPLES) -> None:
    """Write both scans and what is true of them."""
    folder.mkdir(parents=True, exist_ok=True)
    piece, stone = truths()
    record: dict[str, Any] = {
        "seed": SEED,
        "owl": {"sha256": piece.digest(), "triangles": len(piece.faces), "height_mm": HEIGHT},
        "stand": {
            "sha256": stone.digest(),
            "triangles": len(stone.faces),
            "size_mm": [round(x, 3) for x in np.ptp(stone.vertices, axis=0).tolist()],
        },
        "whole_height_mm": round(float(piece.vertices[:, 2].max() - stone.vertices[:, 2].min()), 4),
        "frame": "millimetres, the stand's bottom on z = 0, the owl looks towards -Y",
        "scans": {},
    }
    for name, maker in (("owl_dusted", dusted), ("stand_bare", bare)):
        mesh, picture, label = maker(piece, stone, size=size, samples=samples)
        shown = TriangleMesh(moved(POSES[name], mesh.vertices), mesh.faces, mesh.uv)
        write_obj(folder, name, shown, picture)
        np.savez_compressed(folder / f"{name}_labels.npz", label=label)
        back = np.linalg.inv(POSES[name])
        record["scans"][name] = {
            "to_truth": back.tolist(),
            "mm_a_unit": float(np.cbrt(np.linalg.det(back[:3, :3]))),
            "triangles": len(mesh.faces),
            "labels": f"{name}_labels.npz: 0 piece, 1 stand, -1 loose piece, a vertex of the OBJ",
        }
        sys.stdout.write(f"{name}: {len(mesh.faces)} triangles\n")
    (folder / "truth.json").write_text(json.dumps(record, indent=1) + "\n")


def agrees(folder: Path) -> bool:
    """Whether the truth made now from the seed is the one that the committed scans were made of."""
    record = json.loads((folder / "truth.json").read_text())
    return all(truth.digest() == record[truth.name]["sha256"] for truth in truths(record["seed"]))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=HOME)
    parser.add_argument("--size", type=int, default=2048)
    parser.add_argument("--samples", type=int, default=SAMPLES)
    parser.add_argument("--check", action="store_true")
    chosen = parser.parse_args()
    if chosen.check:
        sys.exit(0 if agrees(chosen.out) else "the truth made now is not the one that the scans were made of")
    write_scans(chosen.out, size=chosen.size, samples=chosen.samples)
