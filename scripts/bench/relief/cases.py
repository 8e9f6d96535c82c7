"""Cases of the bench of relief in a process of its own: `python -m scripts.bench.relief.cases OUT JOB WORDS + JOB WORDS`.

Prints what it measured as JSON. JOB is the name of a function here that takes the rows, OUT and the words. Cases of one shape
go together, as its scan is made but once then.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.surface.albedo.denoising import without_noise
from blender_addon.core.surface.albedo.removal import without_light
from scripts.truth.scanner import truth_case

from .._harmonic_light import irradiance_basis, robust_fit
from . import finest, measures
from .pictures import triptych
from .thinning import thinning_errors_deg

LIMITS = {
    "window": (">= 28", ">= 40"), "lamps": (">= 28", ">= 40"), "overcast": (">= 12", ">= 20"), "tent": (">= 12", ">= 20"),
    "travelling": (">= 0", ">= 15"),
}  # fmt: skip


class Rows(list[dict[str, Any]]):
    """What was measured, as `Record.add` takes it."""

    def add(self, metric: str, value: float, **about: Any) -> None:
        self.append({"metric": metric, "value": float(value), **about})


def lit(rows: Rows, out: Path, shape: str, *lights: str) -> None:
    """A shape under each of several lights."""
    for light in lights:
        _lit(rows, out, shape, light)


def _lit(rows: Rows, out: Path, shape: str, light: str) -> None:
    name = f"{shape}/{light}"
    case = truth_case(shape, light)
    part = measures.ready(case)
    found = measures.recovered([part])
    slopes = found.strength * found.relief.slope if found.found else 0 * found.relief.slope
    floor, goal = LIMITS[light]
    median, worst = measures.cut_percent(part, slopes)
    trade = measures.high_pass(part, case.texture)
    rows.add("median_cut", median, case=name, unit="%", yardstick=trade.cut, floor=floor, goal=goal)
    rows.add("highpass_best_cut", trade.cut, case=name, unit="%")
    rows.add("highpass_visible_cut", trade.visible_cut, case=name, unit="%")
    rows.add("worst5_cut", worst, case=name, unit="%", floor=">= 15", goal=">= 30")
    if median > 10:
        ratio = measures.seam_ratio(part, slopes)
        trades = measures.seam_ratio(part, trade.slopes)
        rows.add("seam_ratio", ratio, case=name, yardstick=trades, floor="<= 1.05", goal="<= 1.01")
    if light in ("window", "lamps"):
        height = found.relief.height_mm
        together = measures.height_correlation(part, height)
        rows.add("height_correlation", together, case=name, yardstick=trade.height_correlation,
                 floor=">= 0.55", goal=">= 0.75")  # fmt: skip
        lines = measures.strokes(part, height)
        if lines.true >= 20:
            rows.add("strokes_found_percent", lines.found_percent, case=name, unit="%", floor=">= 55", goal=">= 80")
        rows.add("strokes_false_percent", lines.false_percent, case=name, unit="%", floor="<= 10", goal="<= 5")
    if shape == "owl" and light in ("window", "lamps"):
        for (side, other), ratio, reported in measures.side_energies(part, slopes):
            goal = "" if reported else "<= 1.25"  # uneven relief may be the light's doing, but has to be reported
            rows.add("side_energy_ratio", max(ratio, 1.0 / ratio), case=f"{name}/{side} {other}", goal=goal,
                     yardstick="reported" if reported else "not reported")  # fmt: skip
    if light == "window":
        triptych(part, slopes, out / f"raking_{shape}.png")


def several(rows: Rows, out: Path, shape: str) -> None:
    """Further scans of the turned piece: each has a mesh, noise and UVs of its own, and lies a little off."""
    parts = [measures.ready(truth_case(shape, "window", turn=90.0 * place, scan_seed=place)) for place in range(4)]
    parts = [parts[0], *(measures.misplaced(part, seed=place) for place, part in enumerate(parts[1:], 1))]
    cuts = {}
    for count in (1, 2, 4):
        cuts[count], _ = measures.cut_percent(parts[0], measures.recovered(parts[:count]).relief.slope)
    for metric, count, floor, goal in (("median_cut_two", 2, ">= 38", ">= 48"), ("median_cut_four", 4, ">= 45", ">= 55")):
        rows.add(metric, cuts[count], case=f"{shape}/window", unit="%", yardstick=cuts[1], floor=floor, goal=goal)
    rows.add("two_over_one", cuts[2] - cuts[1], case=f"{shape}/window", unit="points", floor=">= 3")


def thinned(rows: Rows, out: Path, shape: str) -> None:
    """The normals that a thinned scan's map keeps, beside those of the thinned triangles alone."""
    after, before = thinning_errors_deg(shape)
    rows.add("thinning_error_deg", after, case=shape, unit="deg", yardstick=before, floor="<= 0.5")


def finer(rows: Rows, out: Path, light: str) -> None:
    """The engraved piece; beside each figure what the halved texture alone gives."""
    name = "8k" if light == "window" else f"8k/{light}"
    case = finest.case_of(light)
    part = measures.ready(case)
    halved, full = (finest.slopes_in(part, normals) for normals in finest.normal_maps(case, case.texture))
    cut, worst = measures.cut_percent(part, full)
    before, _ = measures.cut_percent(part, halved)
    rows.add("finest_mm", finest.finest_mm(part, full), case=name, unit="mm", yardstick=finest.finest_mm(part, halved),
             floor="<= 0.1", goal="<= 0.06")  # fmt: skip
    rows.add("median_cut", cut, case=name, unit="%", yardstick=before, floor=">= 30")
    rows.add("worst5_cut", worst, case=name, unit="%")
    triptych(part, full, out / f"raking_engraved_{light}.png")
    maps = finest.normal_maps(case, finest.enlarged_texture(light))
    halved, full = (finest.slopes_in(part, normals)[part.known] for normals in maps)
    made_up = float(np.degrees(np.median(np.linalg.norm(full - halved, axis=1))))
    rows.add("false_tilt_deg", made_up, case=f"{name}/enlarged", unit="deg", floor="<= 0.5", goal="<= 0.1")


def without_detail(rows: Rows, out: Path) -> None:
    """How much tilt is found on a piece that has no detail."""
    part = measures.ready(truth_case("plain", "window"))
    found = measures.recovered([part])
    slopes = found.relief.slope if found.found else 0 * found.relief.slope
    # the scan's own bumps are rightly undone: what counts is tilt that takes the normal further from the truth
    wrong = np.maximum(measures.errors_deg(part, slopes) - measures.errors_deg(part, 0 * slopes), 0)
    rows.add("false_tilt_deg", float(np.median(wrong)), case="plain/window", unit="deg", floor="<= 0.5", goal="<= 0.1")
    rows.add("added_tilt_deg", float(np.degrees(np.median(np.linalg.norm(slopes, axis=1)))), case="plain/window", unit="deg")


def albedo(rows: Rows, out: Path, shape: str, paint: str) -> None:
    """Against the albedo as sharp as the photo is; beside it what the true light leaves (noise, JPEG, exposure patches)."""
    name = f"{shape}/{paint}"
    part = measures.ready(truth_case(shape, "window", pigment=paint))
    surface, colours = part.surface, part.photographed.colours
    found = measures.recovered([part])
    shade = found.shaded * found.relief.shade if found.found else None
    ours = _log_rmse(part, without_light(surface, colours, relief=shade).albedo)
    harmonic = _log_rmse(part, colours / _harmonics(part, found.light[0].openness))
    rows.add("albedo_log_rmse", ours, case=name, yardstick=harmonic, floor="<= 0.09", goal="<= 0.065")
    light = np.maximum(part.true_light, 1e-3)
    rows.add("albedo_log_rmse_true_light", _log_rmse(part, colours / light), case=name)
    calm = without_noise(surface, colours, light / np.median(light, axis=0))
    rows.add("albedo_log_rmse_true_light_denoised", _log_rmse(part, calm / light), case=name)
    median, _ = measures.cut_percent(part, found.strength * found.relief.slope if found.found else 0 * found.relief.slope)
    rows.add("median_cut_painted", median, case=name, unit="%")
    rows.add("albedo_log_rmse_raw", _log_rmse(part, colours), case=name)
    rows.add("albedo_log_rmse_sh_ao", harmonic, case=name)
    flat = _log_rmse(part, np.ones_like(colours) * np.median(colours, axis=0))
    rows.add("albedo_log_rmse_flat", flat, case=name)
    rows.add("albedo_flat_over_ours", flat / ours, case=name, floor=">= 3")


def _log_rmse(part: measures.Ready, albedo: np.ndarray) -> float:
    """Scale-invariant RMSE of log luminance in the texels whose truth is known."""
    weight = np.array([0.2126, 0.7152, 0.0722])
    log = lambda values: np.log(np.maximum(values[part.known], 1e-3)) @ weight  # noqa: E731
    off = log(albedo) - log(part.true_albedo)
    return float(np.sqrt(np.mean((off - np.median(off)) ** 2)))


def _harmonics(part: measures.Ready, openness: np.ndarray) -> np.ndarray:
    """(n, 3) shading by the usual method: nine harmonics on the normals times ambient occlusion (v,)."""
    surface, colours = part.surface, part.photographed.colours
    means, weight = surface.texels.gather(surface.faces, colours, len(surface.vertices))
    design = irradiance_basis(surface.vertex_normal) * openness[:, None]
    seen = weight > 0
    shade = np.stack(
        [design @ robust_fit(design[seen], np.maximum(means[seen, k], 1e-4), weight[seen]) for k in range(3)], axis=1
    )
    shade = np.maximum(shade, 0.02 * np.median(shade, axis=0))
    return surface.texels.interpolate(surface.faces, shade)


JOBS = {work.__name__: work for work in (lit, several, thinned, finer, without_detail, albedo)}

if __name__ == "__main__":
    measured = Rows()
    for asked in " ".join(sys.argv[2:]).split(" + "):
        name, *words = asked.split()
        JOBS[name](measured, Path(sys.argv[1]), *words)
    sys.stdout.write(json.dumps(measured) + "\n")
