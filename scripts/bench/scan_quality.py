"""Is a scan that is not good enough distinguished from a good scan? Made-up scans with known faults and with harmless changes.

Each fault is counted as found where the verdict names its kind; false is any complaint about a scan as it is or harmlessly
changed. The scans are those of `scripts/truth`, dusted, in two rooms, for pictures of 960 pixels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, face_areas, vertex_normals
from blender_addon.core.scan.quality.measuring import Picture, measured
from blender_addon.core.scan.quality.verdict import complaints
from blender_addon.core.surface.bandpass import gaussian_blur
from scripts.truth.modelling.fields import Noise
from scripts.truth.scanner import truth_case

from . import Options, Record

SHAPES, ROOMS = ("owl", "sharp", "smooth"), ("window", "lamps")
PIXELS = 960


@dataclass(frozen=True)
class _Scan:
    """mesh in mm; grey (h, w) uint8; pixels: longer side of the pictures asked for."""

    mesh: TriangleMesh
    grey: Any
    pixels: int = PIXELS


Change = Callable[[_Scan, int], _Scan]


def lumpy(rms: float, period: float) -> Change:
    """The surface moved along its normals by noise, mm."""

    def spoilt(scan: _Scan, seed: int) -> _Scan:
        vertices = scan.mesh.vertices.astype(float)
        noise = Noise(seed + 60)(vertices, period)
        moved = vertices + (rms * noise / noise.std())[:, None] * vertex_normals(vertices, scan.mesh.faces)
        return replace(scan, mesh=replace(scan.mesh, vertices=moved.astype(scan.mesh.vertices.dtype)))

    return spoilt


def soft(sigma: float) -> Change:
    """The texture blurred, sigma in texels."""
    return lambda scan, _: replace(scan, grey=np.round(gaussian_blur(scan.grey.astype(np.float32), sigma)).astype(np.uint8))


def darker(stops: float) -> Change:
    """The texture at another exposure."""
    return lambda scan, _: replace(scan, grey=np.round(scan.grey * 2.0 ** (-stops / 2.2)).astype(np.uint8))


def asked(pixels: int) -> Change:
    """Pictures of another size are asked for."""
    return lambda scan, _: replace(scan, pixels=pixels)


def holed(percent: float) -> Change:
    """Round holes that take so much of the surface, at random places."""

    def spoilt(scan: _Scan, seed: int) -> _Scan:
        rng, mesh = np.random.default_rng(seed + 80), scan.mesh
        area = face_areas(mesh.vertices, mesh.faces)
        middle, kept = mesh.vertices[mesh.faces].mean(axis=1), np.ones(len(mesh.faces), bool)
        radius = np.sqrt(percent / 100 * area.sum() / (3 * np.pi))
        while area[~kept].sum() < percent / 100 * area.sum():
            kept &= np.linalg.norm(middle - middle[rng.integers(len(middle))], axis=1) > radius
        used, faces = np.unique(mesh.faces[kept], return_inverse=True)
        uv = None if mesh.uv is None else mesh.uv[kept]
        return replace(scan, mesh=TriangleMesh(mesh.vertices[used], faces.reshape(-1, 3).astype(np.int32), uv=uv))

    return spoilt


FAULTS = {
    "lumps": (lumpy(0.1, 3.0), lumpy(0.15, 5.0), lumpy(0.2, 4.0)),
    "soft": (soft(2.5), soft(3.5), soft(5.0)),
    "texels": (asked(6000), asked(9000)),
    "triangles": (asked(9000), asked(12000)),
    "holes": (holed(4.0), holed(6.0), holed(9.0)),
}
HARMLESS = (
    lambda scan, _: scan, lumpy(0.01, 3.0), soft(0.5), soft(0.8), darker(0.7), darker(-0.2), holed(0.4), asked(1600),
)  # fmt: skip


def run(record: Record, options: Options) -> None:
    """Found and false, of each kind and in all."""
    there, found, fine, false = dict.fromkeys(FAULTS, 0), dict.fromkeys(FAULTS, 0), 0, 0
    for shape in SHAPES[: 1 if options.fast else None]:
        for number, room in enumerate(ROOMS):
            scan = _scan(shape, room)
            for kind, changes in FAULTS.items():
                for change in changes:
                    remarks = _remarks(change(scan, number))
                    there[kind] += 1
                    found[kind] += kind in remarks
                    print(f"    {shape}/{room} {kind}: {remarks}", flush=True)
            for change in HARMLESS:
                remarks = _remarks(change(scan, number))
                fine += 1
                false += bool(remarks)
                print(f"    {shape}/{room} harmless: {remarks}", flush=True)
    for kind in FAULTS:
        record.add("bad_scan_found_percent", 100 * found[kind] / there[kind], case=kind, unit="%")
    total = 100 * sum(found.values()) / sum(there.values())
    record.add("bad_scan_found_percent", total, case="all", unit="%", goal=">= 90")
    record.add("bad_scan_false_percent", 100 * false / fine, case="all", unit="%", goal="<= 5")


def _scan(shape: str, room: str) -> _Scan:
    case = truth_case(shape, room)
    grey = np.round(case.texture.astype(np.float32) @ (0.2126, 0.7152, 0.0722)).astype(np.uint8)
    return _Scan(case.scan, grey)


def _remarks(scan: _Scan) -> list[str]:
    length = (1.0, False)
    found = measured(scan.mesh, Picture(scan.grey), length, scan.pixels)
    return [complaint.kind for complaint in complaints(found)]
