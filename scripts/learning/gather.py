"""Training tiles from random pieces under random lights: `python -m scripts.learning.gather OUT FIRST LAST`.

Each piece of `scripts.truth.practice.pieces` is scanned and photographed by the same made-up scanner and camera as the
bench's, dusted and painted, with the camera and the room varied; its tiles are cut exactly as the recovery cuts them. None of
the bench's shapes and none of its paints is used. In most cases light goes from vertex to vertex
(`scripts.truth.light.fine_transport`), as on a real piece; in the others it is the bench's.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.triangles import face_areas
from blender_addon.core.srgb import luminance
from blender_addon.core.surface.light.lamplight import fit_surface_light
from blender_addon.core.surface.patches import PATCH, Cloud, Patches, filled, lay_patches, splat
from blender_addon.core.surface.relief.inversion import blind_spectrum, gather_signal
from blender_addon.core.surface.relief.recovery import cell_mm, evidence_of, mean_tangential
from blender_addon.job.runner import finish
from scripts.bench.relief.measures import Ready, ready
from scripts.truth.light import lights, transport
from scripts.truth.light.fine_transport import finely_baked
from scripts.truth.practice.paint import coat
from scripts.truth.practice.pieces import practice
from scripts.truth.scan import charts, scanned
from scripts.truth.scan.camera import Camera
from scripts.truth.scan.texels import texels
from scripts.truth.scanner import POWDER, BakedScan, BakedShape, made_case

TILES_A_CASE = 100
CASES_A_PIECE = 5  # every second one painted
FINE_CASES = 3  # of them, those with fine light
STEEP = 2.5
"""Slopes are kept as int8 of 127 sign(g) sqrt(|g| / STEEP): fine near zero, where most are."""


def main(out: Path, first: int, last: int) -> None:
    """One file a piece."""
    out.mkdir(parents=True, exist_ok=True)
    for seed in range(first, last):
        path = out / f"practice{seed}.npz"
        if not path.exists():
            tiles = piece_tiles(seed)
            np.savez_compressed(path.with_suffix(".part.npz"), **tiles)
            path.with_suffix(".part.npz").replace(path)
            sys.stdout.write(f"{path.name}: {len(tiles['closed'])} tiles\n")
            sys.stdout.flush()


def piece_tiles(seed: int) -> dict[str, Floats]:
    """All tiles of one piece."""
    rng = np.random.default_rng(seed)
    truth = practice(seed)
    normals = truth.normals
    coarse = BakedShape(truth, transport.baked(truth.vertices, normals), "")
    fine = BakedShape(truth, finely_baked(truth.vertices, truth.faces, normals), "")
    area = float(face_areas(truth.vertices, truth.faces).sum())
    mesh = scanned.scan_mesh(
        truth, triangles=int(5.5 * area), seed=seed, open_below=0.6, sigma=rng.uniform(0.45, 0.8), noise=rng.uniform(0.01, 0.03)
    )
    mesh, island = charts.unwrapped(mesh, islands=max(40, len(mesh.faces) // 60), texels=1024, seed=seed)
    part = texels(mesh, truth.vertices, truth.faces, 1024)
    flat = np.concatenate([mesh.uv.reshape(-1, 2), np.zeros((3 * len(mesh.faces), 1))], 1)
    shown = face_areas(flat, np.arange(len(flat)).reshape(-1, 3)).sum()
    texel = float(np.sqrt(face_areas(mesh.vertices, mesh.faces).sum() / shown) / 1024)
    scan = BakedScan(mesh, island, part, texel)
    bodies = [fine] * FINE_CASES + [coarse] * (CASES_A_PIECE - FINE_CASES)
    cases = [_case_tiles(body, scan, rng, painted=bool((number + seed) % 2)) for number, body in enumerate(bodies)]
    return {name: np.concatenate([case[name] for case in cases]) for name in cases[0]}


def _case_tiles(body: BakedShape, scan: BakedScan, rng: np.random.Generator, *, painted: bool) -> dict[str, Floats]:
    name = rng.choice(lights.NAMES, p=(0.36, 0.30, 0.12, 0.14, 0.08))
    room = lights.turned(lights.light(name, int(rng.integers(1 << 20))), rng.uniform(0, 360))
    camera = Camera(
        speckle=rng.choice([0.0, 1.0]) * rng.uniform(0.3, 3.0) if rng.random() < 0.3 else rng.uniform(0.7, 2.2),
        powder=rng.uniform(0.0, 0.03), patches=rng.uniform(0.0, 0.09), blur=rng.uniform(0.04, 0.13),
        noise=rng.uniform(0.003, 0.010), level=rng.uniform(0.45, 0.7), phone_tone=bool(rng.random() < 0.2),
        sharpening=rng.uniform(0.2, 0.7) if rng.random() < 0.2 else 0.0, jpeg=int(rng.integers(85, 96)),
    )  # fmt: skip
    albedo = np.full((len(body.truth.vertices), 3), POWDER * rng.uniform(0.85, 1.05))
    if painted:
        camera = replace(camera, speckle=0.0, powder=0.0)
        albedo = coat(body.truth.vertices, int(rng.integers(1 << 20)))
    case = made_case(body, scan, room, albedo, camera, shape=body.truth.name, turn=0.0, seed=int(rng.integers(1 << 20)))
    tiles = tiles_of(ready(case), rng)
    return {**tiles, "painted": np.full(len(tiles["known"]), painted, np.int8)}


def tiles_of(part: Ready, rng: np.random.Generator) -> dict[str, Floats]:
    """Tiles of a case in the frame of the light: x along its mean tangential light.

    closed, raw: (k, C, C) int8 of 120 and of 55 log residual, specks closed over and as it was. paint: (k, 4, C, C) int16 of
    4000 log level, hue and level estimated without tint. known: (k, C, C) 0 where no texel lies, 2 where the truth is known
    too.
    tangential: (k, 2, COARSE, COARSE) int8 of 80 times the tangential light. form: (k, 4, FORM, FORM) int16 of 4000 times the
    scan's slopes, log irradiance and spread. target: (k, 3, C, C) int8, companded true slopes and log of the true light over
    the fitted. ratio: (k, RINGS)
    log of noise over signal.
    """
    surface = part.surface
    patches, cloud = lay_patches(surface.position, surface.normal, cell_mm=cell_mm(surface), seed=1)
    lit = fit_surface_light(surface, part.photographed.colours)
    evidence = evidence_of(part.photographed, lit)
    frame = patches.led_by(mean_tangential(cloud, evidence.tangential, patches))
    signal = finish(gather_signal(frame, cloud, evidence))
    spectrum = blind_spectrum(frame, signal)
    curve = np.log(np.clip(spectrum.noise / np.maximum(spectrum.signal, 1e-12), 1e-3, 1e4))
    full = np.flatnonzero(signal.share > 0.5)
    chosen = np.sort(rng.choice(full, size=min(TILES_A_CASE, len(full)), replace=False))
    lit_frame = Patches(frame.cell_mm, *(part[chosen] for part in (frame.centre, frame.normal, frame.along, frame.across)))
    cosine = np.maximum(np.einsum("ij,ij->i", part.true_normal, surface.normal), 0.2)[:, None]
    slope = np.where(part.known[:, None], surface.normal - part.true_normal / cosine, 0)
    shade = np.log(np.maximum(luminance(part.true_light), 1e-4)) - np.log(evidence.irradiance)
    shade -= np.median(shade[part.known])
    runs = [_truth_of_run(lit_frame, cloud, run, slope, shade * part.known, part.known) for run in lit_frame.runs()]
    true, sure = (np.concatenate([run[place] for run in runs]) for place in (0, 1))
    return {
        "closed": _int8(120 * signal.closed[chosen]),
        "raw": _int8(55 * signal.raw[chosen]),
        "paint": _int16(
            4000 * (np.zeros((len(chosen), 4, PATCH.cells, PATCH.cells)) if signal.paint is None else signal.paint[chosen])
        ),
        "known": signal.known[chosen] * (1 + sure).astype(np.uint8),
        "tangential": _int8(80 * signal.tangential[chosen]),
        "form": _int16(4000 * signal.form[chosen]),
        "target": _int8(127 * np.sign(true) * np.sqrt(np.minimum(np.abs(true) / STEEP, 1))),
        "ratio": np.tile(curve.astype(np.float32), (len(chosen), 1)),
    }


def _truth_of_run(
    frame: Patches, cloud: Cloud, run: tuple[int, int], slope: Floats, shade: Floats, known: Floats
) -> tuple[Floats, Floats]:
    """(p, 3, C, C) true slopes along x and y and log shading, and (p, C, C) bool where they are known."""
    first, last = run
    members = frame.members(cloud, first, last)
    inside = replace(members, texel=np.arange(len(members.texel), dtype=np.int32))
    parts = [
        np.einsum("ij,ij->i", slope[members.texel], axis[first:last][members.patch]) for axis in (frame.along, frame.across)
    ]
    means, weight = splat(inside, np.stack([*parts, shade[members.texel], known[members.texel]]).astype(np.float32))
    return np.stack([filled(mean, weight) for mean in means[:3]], axis=1), means[3] > 0.9


def _int8(values: Floats) -> Floats:
    return np.clip(np.rint(values), -127, 127).astype(np.int8)


def _int16(values: Floats) -> Floats:
    return np.clip(np.rint(values), -32767, 32767).astype(np.int16)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
