"""How much of the lost relief comes back, and how much of the light goes? Against known truth, beside the trade's high-pass.

Cases are shape/light. The first run bakes each shape's transport for a minute or two; later runs take it from the cache.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np

from blender_addon.core.delighting import delight, without_noise
from blender_addon.core.mesh import TriangleMesh
from blender_addon.core.relief.lamplight import fit_surface_light
from blender_addon.core.relief.spherical_harmonics import irradiance_basis, robust_fit
from scripts.truth.scanner import truth_case

from . import ROOT, Options, Record
from . import _relief_measures as measures
from ._relief_pictures import triptych
from ._relief_timing import main as _timed  # noqa: F401 - the other process runs this module

SHAPES = ("owl", "sharp", "folds", "smooth")
LIGHTS = ("window", "lamps", "overcast", "travelling", "tent")
LIMITS = {
    "window": (">= 28", ">= 40"), "lamps": (">= 28", ">= 40"), "overcast": (">= 12", ">= 20"), "tent": (">= 12", ">= 20"),
    "travelling": (">= 0", ">= 15"),
}  # fmt: skip
MORE_TEXTURES = ("owl", "sharp")
PIGMENTED = (
    ("owl", "painted"), ("folds", "printed"), ("sharp", "wood"), ("smooth", "wood"), ("plain", "wood"), ("plain", "printed"),
)  # fmt: skip


def run(record: Record, options: Options) -> None:
    """All metrics of relief.json."""
    shapes, lights = (("owl",), ("window", "tent")) if options.fast else (SHAPES, LIGHTS)
    for shape in shapes:
        for light in lights:
            if options.wants(f"{shape}/{light}"):
                _case(record, options, shape, light)
    for shape in () if options.fast else MORE_TEXTURES:
        if options.wants(f"{shape}/window"):
            _several(record, shape)
    if options.wants("plain/window"):
        _without_detail(record)
    for shape, paint in PIGMENTED[: 1 if options.fast else None]:
        if options.wants(f"{shape}/{paint}"):
            _albedo(record, shape, paint)
    if options.wants("timing"):
        _timing(record, options)


def _case(record: Record, options: Options, shape: str, light: str) -> None:
    name = f"{shape}/{light}"
    case = truth_case(shape, light)
    part = measures.ready(case)
    found = measures.recovered([part])
    slopes = found.strength * found.relief.slope if found.found else 0 * found.relief.slope
    floor, goal = LIMITS[light]
    median, worst = measures.cut_percent(part, slopes)
    best, visible = measures.high_pass_cuts(part, case.texture)
    record.add("median_cut", median, case=name, unit="%", yardstick=best, floor=floor, goal=goal)
    record.add("highpass_best_cut", best, case=name, unit="%")
    record.add("highpass_visible_cut", visible, case=name, unit="%")
    record.add("worst5_cut", worst, case=name, unit="%", floor=">= 15", goal=">= 30")
    if median > 10:
        ratio = measures.seam_ratio(part, slopes)
        record.add("seam_ratio", ratio, case=name, yardstick=1.7, floor="<= 1.05", goal="<= 1.01")
    if light in ("window", "lamps"):
        height = found.relief.height_mm
        together = measures.height_correlation(part, height)
        record.add("height_correlation", together, case=name, yardstick=0.09, floor=">= 0.55", goal=">= 0.75")
        lines = measures.strokes(part, height)
        if lines.true >= 20:
            record.add("strokes_found_percent", lines.found_percent, case=name, unit="%", floor=">= 55", goal=">= 80")
        record.add("strokes_false_percent", lines.false_percent, case=name, unit="%", floor="<= 10", goal="<= 5")
    if light == "window":
        triptych(part, slopes, options.out / f"raking_{shape}.png")


def _several(record: Record, shape: str) -> None:
    parts = [measures.ready(truth_case(shape, "window", turn=turn)) for turn in (0.0, 90.0, 180.0, 270.0)]
    for metric, count, floor, goal in (("median_cut_two", 2, ">= 38", ">= 48"), ("median_cut_four", 4, ">= 45", ">= 55")):
        found = measures.recovered(parts[:count])
        median, _ = measures.cut_percent(parts[0], found.relief.slope)
        record.add(metric, median, case=f"{shape}/window", unit="%", floor=floor, goal=goal)


def _without_detail(record: Record) -> None:
    part = measures.ready(truth_case("plain", "window"))
    found = measures.recovered([part])
    slopes = found.relief.slope if found.found else 0 * found.relief.slope
    # the scan's own bumps are rightly undone: what counts is tilt that takes the normal further from the truth
    wrong = np.maximum(measures.errors_deg(part, slopes) - measures.errors_deg(part, 0 * slopes), 0)
    record.add("false_tilt_deg", float(np.median(wrong)), case="plain/window", unit="deg", floor="<= 0.5", goal="<= 0.1")
    record.add("added_tilt_deg", float(np.degrees(np.median(np.linalg.norm(slopes, axis=1)))), case="plain/window", unit="deg")


def _albedo(record: Record, shape: str, paint: str) -> None:
    """Against the albedo as sharp as the photo is; beside it what the true light leaves (noise, JPEG, exposure patches)."""
    name = f"{shape}/{paint}"
    part = measures.ready(truth_case(shape, "window", pigment=paint))
    surface, colours = part.surface, part.photographed.colours
    found = measures.recovered([part])
    shade = found.shaded * found.relief.shade if found.found else None
    ours = _log_rmse(part, delight(surface, colours, relief=shade).albedo)
    record.add("albedo_log_rmse", ours, case=name, yardstick=0.117, floor="<= 0.09", goal="<= 0.065")
    true = lambda shown: _log_rmse(part, shown / np.maximum(part.true_light, 1e-3))  # noqa: E731
    record.add("albedo_log_rmse_true_light", true(colours), case=name)
    record.add("albedo_log_rmse_true_light_denoised", true(without_noise(surface, colours)), case=name)
    median, _ = measures.cut_percent(part, found.strength * found.relief.slope if found.found else 0 * found.relief.slope)
    record.add("median_cut_painted", median, case=name, unit="%")
    record.add("albedo_log_rmse_raw", _log_rmse(part, colours), case=name)
    record.add("albedo_log_rmse_sh_ao", _log_rmse(part, colours / _harmonics(part)), case=name)
    flat = _log_rmse(part, np.ones_like(colours) * np.median(colours, axis=0))
    record.add("albedo_log_rmse_flat", flat, case=name)
    record.add("albedo_flat_over_ours", flat / ours, case=name, floor=">= 3")


def _log_rmse(part: measures.Ready, albedo: np.ndarray) -> float:
    """Scale-invariant RMSE of log luminance in the texels whose truth is known."""
    weight = np.array([0.2126, 0.7152, 0.0722])
    log = lambda values: np.log(np.maximum(values[part.known], 1e-3)) @ weight  # noqa: E731
    off = log(albedo) - log(part.true_albedo)
    return float(np.sqrt(np.mean((off - np.median(off)) ** 2)))


def _harmonics(part: measures.Ready) -> np.ndarray:
    """(n, 3) the usual way's shading: nine harmonics on the normals times ambient occlusion."""
    surface, colours = part.surface, part.photographed.colours
    means, weight = surface.texels.gather(surface.faces, colours, len(surface.vertices))
    open_sky = fit_surface_light(surface, np.ones_like(colours)).openness[:, None]
    design = irradiance_basis(surface.vertex_normal) * open_sky
    seen = weight > 0
    shade = np.stack(
        [design @ robust_fit(design[seen], np.maximum(means[seen, k], 1e-4), weight[seen]) for k in range(3)], axis=1
    )
    shade = np.maximum(shade, 0.02 * np.median(shade, axis=0))
    return surface.texels.interpolate(surface.faces, shade)


def _timing(record: Record, options: Options) -> None:
    case = truth_case("owl", "window")
    repeats = 1 if options.fast else 5
    for size, metric, floor, goal in ((2048, "seconds_2k", "<= 25", "<= 10"), (4096, "seconds_4k", "<= 60", "<= 20")):
        mesh, texture = case.scan, case.texture
        if size == 4096:
            mesh, texture = _quartered(_quartered(mesh)), np.repeat(np.repeat(texture, 2, axis=0), 2, axis=1)
        path = (options.out / f"timing_{size}.npz").resolve()
        np.savez(path, vertices=mesh.vertices, faces=mesh.faces, uv=mesh.uv, texture=texture)
        told = _apart(path, repeats)
        path.unlink()
        record.add(metric, told["seconds"], case="owl", unit="s", floor=floor, goal=goal)
    record.add("peak_mb_4k", told["peak_mb"], case="owl", unit="MB", floor="<= 3000", goal="<= 3000")


def _apart(path: Path, repeats: int) -> dict[str, float]:
    command = [sys.executable, "-m", "scripts.bench._relief_timing", str(path), str(repeats)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    return json.loads(done.stdout.strip().splitlines()[-1])


def _quartered(mesh: TriangleMesh) -> TriangleMesh:
    """Each triangle cut into four at the middles of its edges."""
    pairs = np.sort(np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]]), axis=1)
    unique, number = np.unique(pairs, axis=0, return_inverse=True)
    middle = (number.reshape(3, -1) + len(mesh.vertices)).T
    vertices = np.concatenate([mesh.vertices, mesh.vertices[unique].mean(axis=1)])
    (a, b, c), (ab, bc, ca) = mesh.faces.T, middle.T
    faces = np.concatenate([np.stack(one, axis=1) for one in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    p, q, r = (mesh.uv[:, k] for k in range(3))
    pq, qr, rp = (p + q) / 2, (q + r) / 2, (r + p) / 2
    uv = np.concatenate([np.stack(one, axis=1) for one in ((p, pq, rp), (pq, q, qr), (rp, qr, r), (pq, qr, rp))])
    return TriangleMesh(vertices, faces.astype(np.int32), uv)
