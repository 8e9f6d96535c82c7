"""Is relief carved only from shading, and does it come nearer to the truth on real sculpture? Beside the bench's own pieces.

Two sculptures with measured normals, 120 mm high, photographed by a tracer of its own (`scripts/photos`) and shown with
pictures that hold no light; labelled scans whose makers took the light out; and three cases of the bench of relief, since what
mends one must not spoil the other. All at the strength that the product shows.
`bench decisions --cases relief` runs it alone.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.triangles import unit
from blender_addon.core.srgb import decode
from blender_addon.core.surface.relief.recovery import Photographed, Recovery, recover
from blender_addon.core.surface.speckle import masked_blur
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface, without
from blender_addon.job import sheet
from blender_addon.job.runner import chosen, finish, run_job
from blender_addon.job.step import Progress, from_module, ordered
from blender_addon.scene.images import read_pixels
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface.photographed import reading
from blender_addon.steps.scan import intake
from scripts.photos import textures
from scripts.photos.sculpture import HEIGHT_MM, Sculpture, load

from .. import Options, Record
from .._processes import Part
from .scans import folder

Row = dict[str, Any]
SCULPTURES = ("maria", "dancinggirl")
BAND_MM = (0.3, 3.0)
QUIET = 0.3
"""Part of the surface that counts as quiet: where the scan lacks least of the truth's fine form over about a mm."""
OF_BENCH = (("owl", "window"), ("smooth", "window"), ("sharp", "window"))


LIMITS = {
    "relief_from_no_shading": ("== 0", "== 0"), "real_band_cut": (">= 10", ">= 0"), "real_median_cut": (">= 30", ">= 20"),
    "real_band_cut_painted": (">= 10", ">= 0"),
}  # fmt: skip
"""Metric to what it should reach and what it must."""


def parts(record: Record, options: Options) -> list[Part]:
    """Each sculpture under its lights and without light, the scans without light, and the cases of the bench of relief; a
    short run takes one sculpture."""
    if not options.wants("relief"):
        return []
    try:
        scans = folder()
    except FileNotFoundError as missing:
        record.fail(str(missing))
        return []
    names = SCULPTURES[:1] if options.fast else SCULPTURES
    found = [Part("relief", work, (scans / name,)) for name in names for work in (_under_lights, _of_unlit)]
    found.append(Part("relief", _of_scans, (scans,)))
    return found if options.fast else found + [Part("relief", _of_bench, case) for case in OF_BENCH]


def report(record: Record, found: list[list[Row]]) -> None:
    """The rows of relief and shading, and how many cases showed relief where there is no shading."""
    rows = [row for part in found for row in part]
    shown = [row for row in rows if row["metric"] == "relief_shown"]
    if shown:
        rows.append(_row("scans and sculptures", "relief_from_no_shading", sum(row["value"] > 0 for row in shown)))
    for row in sorted(rows, key=lambda row: (row["case"].startswith("case_"), row["metric"], row["case"])):
        goal, floor = LIMITS.get(row["metric"], ("", ""))
        record.add(row["metric"], row["value"], case=row["case"], goal=goal, floor=floor)


def _under_lights(home: Path) -> list[Row]:
    return _photographed(load(home))


def _of_unlit(home: Path) -> list[Row]:
    piece = load(home)
    return [_shown(f"case_{piece.name}_{case}", recovery) for case, recovery in _unlit(piece, home)]


def _of_scans(scans: Path) -> list[Row]:
    return [_shown(f"case_{name}", recovery) for name, recovery in _without_light(scans)]


def _shown(case: str, recovery: Recovery) -> Row:
    """How strongly relief is shown, 0 where none was found."""
    return _row(case, "relief_shown", recovery.strength if recovery.found and recovery.strength > 0 else 0.0)


def _row(case: str, metric: str, value: float) -> Row:
    return {"case": case, "metric": metric, "value": float(value)}


def _photographed(piece: Sculpture) -> list[Row]:
    """Cuts under each light and with painted marks, the worst of the band each way, and the mean of the median."""
    found: list[Row] = []
    bands: list[float] = []
    worst: list[float] = []
    medians: list[float] = []
    judge = Judge(piece)
    photos = textures.photos(piece)
    photos |= {kind: photos["area"] * _marks(piece.surface.position, kind)[:, None] for kind in ("hatched", "mottled")}
    painted = ("painted", "hatched", "mottled")
    for light, colours in photos.items():
        recovery = finish(recover([Photographed(piece.surface, colours)], largest_mm=3.0))
        slopes = shown_slopes(recovery)
        found.append(_row(f"case_{piece.name}_{light}", "marks_kept", min(recovery.marks.kept)))
        band, median, quiet = judge.cuts(slopes)
        found += [
            _row(f"case_{piece.name}_{light}", metric, value)
            for metric, value in (("band_cut", band), ("median_cut", median), ("quiet_band_cut", quiet))
        ]
        (worst if light in painted else bands).append(band)
        if light not in painted[1:]:
            medians.append(median)
    rates = {"real_band_cut": min(bands), "real_median_cut": np.mean(medians), "real_band_cut_painted": min(worst)}
    return [*(_row(piece.name, metric, value) for metric, value in rates.items()), *found]


def _marks(points: Floats, kind: str) -> Floats:
    """(n,) factor of paint in the body's own hue: hatching 0.9 mm apart along bent ways, or mottles about a mm wide."""
    waves = textures.waves
    if kind == "mottled":
        return np.exp(0.10 * waves(points, 1.0, 201) + 0.06 * waves(points, 2.5, 202)).astype(np.float32)
    way = points @ np.array([0.8, 0.6, -0.2], np.float32) + 2.0 * waves(points, 18.0, 106)
    streak = 0.5 + 0.5 * np.sin(2 * np.pi * way / 0.9 + 1.5 * waves(points, 3.0, 108))
    return (1.0 - 0.25 * streak * np.clip(0.5 + 0.6 * waves(points, 9.0, 109), 0.0, 1.0)).astype(np.float32)


def shown_slopes(recovery: Recovery) -> Floats:
    """(n, 3) slopes at the strength that the product shows."""
    return recovery.relief.slope * (recovery.strength if recovery.found else 0.0)


class Judge:
    """Compares tilted normals with a sculpture's true ones."""

    def __init__(self, piece: Sculpture):
        self.piece, self.surface, self.known = piece, piece.surface, piece.known
        self._bare_band = self._band(unit(self.surface.normal) - piece.true_normal)
        near = _blurred(self.surface, np.square(self._bare_band).sum(axis=1, keepdims=True), 1.0)[:, 0]
        self._quiet = self.known & (near < np.quantile(near[self.known], QUIET))
        self._bare = self._angles(0.0)

    def cuts(self, slopes: Floats) -> tuple[float, float, float]:
        """Cut in percent of the median error against the bare scan: in the band, of the whole, and in the band where it is
        quiet."""
        error = unit(self.surface.normal - slopes) - self.piece.true_normal
        band, bare = np.linalg.norm(self._band(error), axis=1), np.linalg.norm(self._bare_band, axis=1)
        return (
            _cut(band[self.known], bare[self.known]),
            _cut(self._angles(slopes), self._bare),
            _cut(band[self._quiet], bare[self._quiet]),
        )

    def _angles(self, slopes: Floats) -> Floats:
        tilted = unit(self.surface.normal - slopes)
        return np.degrees(np.arccos(np.clip((tilted * self.piece.true_normal).sum(axis=1)[self.known], -1, 1)))

    def _band(self, values: Floats) -> Floats:
        fine, coarse = (_blurred(self.surface, values, wave / (2 * np.pi)) for wave in BAND_MM)
        return fine - coarse


def _cut(got: Floats, bare: Floats) -> float:
    return 100.0 * (1.0 - float(np.median(got) / max(float(np.median(bare)), 1e-12)))


def _blurred(surface: TexturedSurface, values: Floats, sigma_mm: float) -> Floats:
    mask = surface.texels.mask()
    columns = [masked_blur(surface.texels.scatter(column), mask, sigma_mm / surface.texel_mm) for column in values.T]
    return np.stack([column.reshape(-1)[surface.texels.index] for column in columns], axis=1)


def _unlit(piece: Sculpture, folder: Path) -> Iterator[tuple[str, Recovery]]:
    """What is recovered from pictures of a sculpture that hold no light, or bare metal's."""
    shown = textures.unlit(piece) | {"metal": textures.gloss(piece)}
    for case, colours in shown.items():
        yield case, finish(recover([Photographed(piece.surface, colours)], largest_mm=3.0))
    for case in ("occlusion", "curvature"):
        picture = next(folder.glob(f"*_{case}.png"))
        image = bpy.data.images.load(str(picture), check_existing=False)
        pixels = decode(read_pixels(image)[..., :3])
        bpy.data.images.remove(image)
        every = np.ones(len(piece.mesh.faces), bool)
        surface = read_surface(piece.mesh, every, height=pixels.shape[0], width=pixels.shape[1])
        surface = without(surface, surface.texels.shared)
        colours = np.ascontiguousarray(pixels.reshape(-1, 3)[surface.texels.index])
        yield f"{case}_map", finish(recover([Photographed(surface, colours)], largest_mm=3.0))


def _without_light(scans: Path) -> Iterator[tuple[str, Recovery]]:
    """What is recovered from the labelled scans whose makers took the light out of the base picture."""
    labels = json.loads((scans / "labels.json").read_text(encoding="utf-8"))
    for name, label in labels.items():
        if label["base_picture_lit"] is not False:
            continue
        bpy.ops.wm.read_factory_settings(use_empty=True)
        steps = ordered([from_module(intake)])
        job = sheet.parse("bozzetto = 1\n", steps, name="relief", folder=scans)
        job["intake"].scans = [intake.Scan(file=str(scans / name / label["file"]))]
        stage = Stage(bpy.context.scene, job)
        finish(run_job(chosen(steps), steps, job, stage))
        item = stage.require("scan", "1")
        item.data.transform(Matrix.Scale(0.001 * HEIGHT_MM / max(item.dimensions), 4))
        found = finish(reading(item, Progress(0.0, "")))
        if isinstance(found, str):
            raise RuntimeError(f"{name} {found}")
        yield name, finish(recover([found], largest_mm=3.0))


def _of_bench(shape: str, light: str) -> list[Row]:
    """The same strength on a case of the bench of relief."""
    from scripts.truth.scanner import truth_case

    from ..relief import measures

    part = measures.ready(truth_case(shape, light))
    median, worst = measures.cut_percent(part, shown_slopes(measures.recovered([part])))
    case = f"case_bench_{shape}_{light}"
    return [_row(case, "median_cut", median), _row(case, "worst5_cut", worst)]
