"""How near is recovered relief to the truth? Normals, height, seams, strokes; and the usual high-pass as a yardstick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.components import connected_vertices
from blender_addon.core.mesh.triangles import TriangleMesh, unit
from blender_addon.core.srgb import decode, luminance
from blender_addon.core.surface.bandpass import gaussian_blur
from blender_addon.core.surface.normal_maps import slopes_from_raster
from blender_addon.core.surface.patches import PATCH, filled, lay_patches, splat
from blender_addon.core.surface.relief.recovery import Photographed, Recovery, recover
from blender_addon.core.surface.relief.sides import remarks, side_ratios
from blender_addon.core.surface.speckle import masked_blur
from blender_addon.core.surface.texels import surface_frames
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface
from blender_addon.job.runner import finish
from scripts.truth.scanner import TruthCase

WIDTHS_MM = (0.25, 0.5, 1.0)
"""Standard deviations of the blur that the high-pass takes away, of which the best counts."""


@dataclass(frozen=True)
class Ready:
    """A truth case as the method takes it, with the truth in the same rows."""

    photographed: Photographed
    true_normal: Floats
    true_height: Floats
    true_albedo: Floats
    true_light: Floats
    known: Any
    border: Any

    @property
    def surface(self) -> TexturedSurface:
        return self.photographed.surface


def ready(case: TruthCase) -> Ready:
    """Read a case."""
    size = case.size
    surface = _read(_Scanned(case.scan), size)
    row = surface.texels.index
    pick = lambda raster: raster.reshape(size * size, -1)[row].astype(np.float32)  # noqa: E731
    colours = decode(pick(case.texture) / 255)
    return Ready(
        Photographed(surface, colours), unit(pick(case.true_normal)), pick(case.true_height)[:, 0], pick(case.shown_albedo),
        pick(case.true_light), case.known.reshape(-1)[row], case.border.reshape(-1)[row],
    )  # fmt: skip


class _Scanned:
    """A scan by its identity: the cases of a shape share it."""

    def __init__(self, mesh: TriangleMesh):
        self.mesh = mesh

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Scanned) and other.mesh is self.mesh

    def __hash__(self) -> int:
        return id(self.mesh)


@lru_cache(maxsize=1)
def _read(scanned: _Scanned, size: int) -> TexturedSurface:
    return read_surface(scanned.mesh, np.ones(len(scanned.mesh.faces), bool), height=size, width=size)


OFF_DEG, OFF_MM = 0.1, 0.05
"""How far a further scan lies off after it was aligned."""


def misplaced(part: Ready, *, seed: int) -> Ready:
    """The case with its scan turned by OFF_DEG about a random axis through its middle and moved by OFF_MM in a random
    direction."""
    rng = np.random.default_rng(seed)
    axis, way = unit(rng.standard_normal((2, 3)))
    surface = part.surface
    middle = surface.vertices.mean(axis=0)
    turned = lambda ways: (ways + np.radians(OFF_DEG) * np.cross(axis, ways)).astype(np.float32)  # noqa: E731
    moved = lambda points: turned(points - middle) + (middle + OFF_MM * way).astype(np.float32)  # noqa: E731
    placed = replace(
        surface, vertices=moved(surface.vertices), position=moved(surface.position), normal=turned(surface.normal),
        vertex_normal=turned(surface.vertex_normal),
    )  # fmt: skip
    return replace(part, photographed=replace(part.photographed, surface=placed))


def recovered(parts: Sequence[Ready]) -> Recovery:
    """Run the method to its end."""
    return finish(recover([part.photographed for part in parts], largest_mm=3.0))


def errors_deg(part: Ready, slopes: Floats) -> Floats:
    """(k,) angle in degrees between the true normal and the scan's tilted by `slopes`, in the texels whose truth is known."""
    tilted = unit(part.surface.normal[part.known] - slopes[part.known])
    return np.degrees(np.arccos(np.clip((tilted * part.true_normal[part.known]).sum(axis=1), -1, 1)))


def cut_percent(part: Ready, slopes: Floats) -> tuple[float, float]:
    """Cut in percent of the median error, and of the mean of the worst 5 %, against the bare scan."""
    bare, got = errors_deg(part, 0 * slopes), errors_deg(part, slopes)
    worst = lambda values: np.sort(values)[-len(values) // 20 :].mean()  # noqa: E731
    return 100 * (1 - float(np.median(got) / np.median(bare))), 100 * (1 - float(worst(got) / worst(bare)))


def side_energies(part: Ready, slopes: Floats) -> list[tuple[tuple[str, str], float, bool]]:
    """For sides across each other: their names, how much of the true relief's mean square slope was recovered on the one over
    how much on the other, and whether it is reported that they are uneven."""
    normal, true = part.surface.normal[part.known], part.true_normal[part.known]
    truth = normal - true / np.maximum((normal * true).sum(axis=1, keepdims=True), 0.2)
    found, there = side_ratios(normal, slopes[part.known]), side_ratios(normal, truth)
    reported = bool(remarks(side_ratios(part.surface.normal, slopes)))
    return [(sides, ratio / there[sides], reported) for sides, ratio in found.items() if ratio > 0.0 and sides in there]


def seam_ratio(part: Ready, slopes: Floats) -> float:
    """Mean error within 3 texels of an island's border over that inside, over the same of the bare scan."""
    near = part.border[part.known] <= 3
    bare, got = errors_deg(part, 0 * slopes), errors_deg(part, slopes)
    return float((got[near].mean() / got[~near].mean()) / (bare[near].mean() / bare[~near].mean()))


def band(part: Ready, height: Floats) -> Floats:
    """(n,) height between wavelengths of 0.3 and 2 mm, within islands."""
    mask = part.surface.texels.mask()
    raster = part.surface.texels.scatter(np.where(part.known, height, 0))
    fine, coarse = (wave / (2 * np.pi) / part.surface.texel_mm for wave in (0.3, 2.0))
    return (masked_blur(raster, mask, fine) - masked_blur(raster, mask, coarse)).reshape(-1)[part.surface.texels.index]


def height_correlation(part: Ready, height: Floats) -> float:
    """Correlation of recovered and true height in the band."""
    inside = part.known & (part.border > 6)
    return float(np.corrcoef(band(part, height)[inside], band(part, part.true_height)[inside])[0, 1])


@dataclass(frozen=True)
class HighPass:
    """The common practice at its best: brightness high-passed into height ("dark is deep"), tuned by the truth, as no user
    could.

    slopes: (n, 3) at the width and strength that cut the median most, never quite flat. cut, visible_cut: that cut, and the one
    at a strength that shows (a median tilt of 5 degrees), %. height_correlation: with the true height, at its best width.
    """

    slopes: Floats
    cut: float
    visible_cut: float
    height_correlation: float


def high_pass(part: Ready, texture: Floats) -> HighPass:
    """The common practice on a texture (h, w, 3) of 8 bits: three widths and five strengths tried, within the islands."""
    surface = part.surface
    mask = surface.texels.mask()
    bright = np.where(mask, luminance(texture.astype(np.float32) / 255), 0)
    fine = masked_blur(bright, mask, 1.0)
    some = replace(part, known=part.known & (np.arange(len(part.known)) % 5 == 0))
    along = surface_frames(surface.vertices, surface.faces, surface.uv)
    tried = []
    for width in WIDTHS_MM:
        high = fine - masked_blur(bright, mask, width / surface.texel_mm)
        slopes = slopes_from_raster(surface.texels, high, *along)
        slopes *= np.tan(np.radians(5)) / (float(np.median(np.linalg.norm(slopes[part.known], axis=1))) + 1e-9)
        cut, share = max((cut_percent(some, slopes * share)[0], share) for share in (0.0, 0.05, 0.1, 0.2, 0.4))
        together = height_correlation(part, high.reshape(-1)[surface.texels.index])
        tried.append(HighPass(slopes * max(share, 0.05), cut, cut_percent(some, slopes)[0], together))
    best = max(tried, key=lambda way: way.cut)
    return replace(best, height_correlation=max(way.height_correlation for way in tried))


@dataclass(frozen=True)
class Strokes:
    """Strokes of the truth found and strokes drawn that are none, in percent; how many of each were judged."""

    found_percent: float
    false_percent: float
    true: int
    drawn: int


DEEP_MM = 0.030
LONG_CELLS = 12


def strokes(part: Ready, height: Floats, *, seed: int = 3) -> Strokes:
    """Ridges and valleys of the height band 0.3 to 2 mm, as thin lines by curvature, on flat patches of the surface."""
    surface = part.surface
    patches, cloud = lay_patches(surface.position, surface.normal, cell_mm=0.07, seed=seed)
    found = true = wrong = drawn = 0
    for first, last in list(patches.runs())[::3]:
        members = patches.members(cloud, first, last)
        grids = [_patch_band(members, values) for values in (part.true_height * part.known, height)]
        for row in range(last - first):
            (real, real_deep), (ours, ours_deep) = ((_lines(grid[row]), grid[row]) for grid in grids)
            for sign in (-1, 1):
                a = _strokes(real, real_deep, sign)
                b = _strokes(ours, ours_deep, sign)
                hint = _near((ours * sign > 0) & (-ours_deep * sign > 0.33 * DEEP_MM), 4)
                true += len(a)
                found += sum(hint[cells].mean() >= 0.5 for cells in a)
                near = _near((real * sign > 0) & (-real_deep * sign > 0.5 * DEEP_MM), 7)
                drawn += len(b)
                wrong += sum(near[cells].mean() < 0.5 for cells in b)
    return Strokes(100 * found / max(true, 1), 100 * wrong / max(drawn, 1), true, drawn)


def _patch_band(members: Any, values: Floats) -> Floats:
    means, weight = splat(members, values.astype(np.float32))
    whole = filled(means, weight)
    fine, coarse = (wave / (2 * np.pi) / 0.07 for wave in (0.3, 2.0))
    return np.stack([gaussian_blur(plane, fine) - gaussian_blur(plane, coarse) for plane in whole])


def _hessian(grid: Floats) -> tuple[Floats, Floats, Floats]:
    smooth = gaussian_blur(grid, 2.0)
    gy, gx = np.gradient(smooth)
    gyy, gyx = np.gradient(gy)
    _, gxx = np.gradient(gx)
    return gxx, gyx, gyy


def _strongest(grid: Floats) -> Floats:
    """The curvature of larger size in each cell."""
    gxx, gxy, gyy = _hessian(grid)
    half, off = 0.5 * (gxx + gyy), np.sqrt(0.25 * (gxx - gyy) ** 2 + gxy**2)
    return np.where(half > 0, half + off, half - off)


def _lines(grid: Floats) -> Floats:
    """(cells, cells) curvature where it peaks across the line, 0 elsewhere."""
    gxx, gxy, gyy = _hessian(grid)
    bend = _strongest(grid)
    angle = 0.5 * np.arctan2(2 * gxy, gxx - gyy) + np.where(bend < 0.5 * (gxx + gyy), np.pi / 2, 0)
    step_x, step_y = np.rint(np.cos(angle)).astype(int), np.rint(np.sin(angle)).astype(int)
    rows, columns = np.mgrid[0 : PATCH.cells, 0 : PATCH.cells]
    ahead = np.abs(bend)[np.clip(rows + step_y, 0, PATCH.cells - 1), np.clip(columns + step_x, 0, PATCH.cells - 1)]
    behind = np.abs(bend)[np.clip(rows - step_y, 0, PATCH.cells - 1), np.clip(columns - step_x, 0, PATCH.cells - 1)]
    peak = (np.abs(bend) >= ahead) & (np.abs(bend) >= behind)
    core = np.hypot(rows - PATCH.cells / 2, columns - PATCH.cells / 2) < 0.42 * PATCH.cells
    return np.where(peak & core, bend, 0)


def _strokes(lines: Floats, height: Floats, sign: int) -> list[tuple[Any, Any]]:
    """Cells (rows, columns) of each long enough line that is deep or high enough; sign +1 valleys, -1 ridges."""
    mask = (lines * sign > 0) & (-height * sign > DEEP_MM)
    place = np.flatnonzero(mask)
    if len(place) < LONG_CELLS:
        return []
    number = np.full(mask.size, -1)
    number[place] = np.arange(len(place))
    pairs = []
    for step in (1, PATCH.cells - 1, PATCH.cells, PATCH.cells + 1):
        other = number[np.clip(place + step, 0, mask.size - 1)]
        pairs.append(np.stack([np.arange(len(place))[other >= 0], other[other >= 0]], axis=1))
    joined = np.concatenate(pairs)
    label = connected_vertices(np.concatenate([joined, joined[:, 1:]], axis=1), len(place))
    return [np.divmod(place[label == number], PATCH.cells) for number in np.flatnonzero(np.bincount(label) >= LONG_CELLS)]


def _near(mask: Any, cells: int) -> Any:
    """Dilated by `cells`."""
    for _ in range(cells):
        wide = mask.copy()
        wide[1:] |= mask[:-1]
        wide[:-1] |= mask[1:]
        wide[:, 1:] |= mask[:, :-1]
        wide[:, :-1] |= mask[:, 1:]
        mask = wide
    return mask
