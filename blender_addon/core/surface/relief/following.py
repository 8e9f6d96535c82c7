"""Which part of what a texture shows follows its light, as shading must and paint does not? Measured band by band.

Shading of fine relief is, to first order, the slope times the tangential irradiance: it fades where the light falls squarely
and grows where it grazes, on one and the same form. Paint (brush marks, grain, mottles of the body's own hue) is as strong here
as there. Where the power of a band is S x + N, with x the square of how obliquely the light falls, its logarithm rises with
that of x by S x / (S x + N): the slope of the one against the other is the part of the power that is shading. It is measured
within small pieces of surface, between whose parts the bend of the form alone changes x, so that a side that was worked more
than another does not pass for one that is lit more.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...records import record
from ...threads import in_parallel
from ..patches import PATCH, Patches, wave_vectors
from .inversion import INVERSION, Signal, well_covered


@record
class FollowingConstants:
    """Numbers of the check against the light."""

    bands_mm: tuple[tuple[float, float], ...] = ((0.45, 0.7), (0.7, 1.2), (1.2, 3.0))
    """Wavelengths, mm. What is finer is mostly noise and dust, and is taken to be as what lies above it."""
    covered: float = 0.9
    """Part of a coarse cell that must be known (a guess)."""
    groups: int = 24
    """Parts of the surface of which each is left out in turn, to see how far the result depends on it (jackknife)."""
    unsure: float = 0.12
    """Standard deviation of the error in the log of x: by how much the fitted light and the form are off (a guess). An error in
    x flattens the slope (regression dilution), so that where x hardly varies, as under an even sky, nothing can be known."""
    steady: float = 0.5
    """Least part of the error-free variance of log x for anything to be known (a guess)."""
    fine: int = 2
    """Bands, from the first, that are judged together: brush marks, grain and mottles fill more than one."""
    surely: float = 2.0
    """Standard errors that are added in favour of relief: what is called paint must lie surely below (one in forty by
    chance)."""
    shown: tuple[float, float] = (0.54, 0.62)
    """Parts of all that a texture shows that follow the light, with `surely` standard errors added: below the first it is
    paint, from the second on shading. Shading is not all slope (deep places are dark from all sides, and cuts fill themselves
    with light) and dust and noise do not follow, so that 1 is not reached. Fine marks have 0.62 and more on unpainted pieces
    (0.63 on the demo's owl, whose light is traced with all its bounces: 0.40 with an error of 0.11), 0.39 and 0.57 with brush
    marks on two sculptures. Set between these on two sculptures, the demo's owl and three of the bench's pieces: guesses, and
    near to each other."""
    read: tuple[float, float] = (0.88, 1.0)
    """The same of what was read as shading: on grained wood, where the net leaves the grain out, 0.96 follows before an error
    is added, of brush marks 0.55 and 0.67, of mottles 0.81. Paint is what fails at both. Set on the same pieces."""
    loose: float = 0.25
    """Standard error from which on nothing is known (a guess)."""
    most_patches: int = 1500
    """Patches that are measured, to bound the time."""
    least_cells: float = 3.0
    """Cells that the shortest wave of a band must fill for the band to be looked at (a guess)."""


FOLLOWING = FollowingConstants()


INNER = slice(2, INVERSION.coarse - 2)
"""Of the coarse cells of a patch those that are looked at: a filter reaches over the border of the rest."""
UNKNOWN = (1.0, 0.0, False)
"""A slope of 1, as shading has it, that is not known."""


@record
class Marks:
    """What a texture's marks are, band by band (`FOLLOWING.bands_mm`).

    part: of each band's power the part that follows the light, about 0 to 1. error: its standard error. known: whether the
    light falls unevenly enough for that. kept: 0 to 1, what of the slopes is believed.
    """

    part: tuple[float, ...]
    error: tuple[float, ...]
    known: tuple[bool, ...]
    kept: tuple[float, ...]

    @property
    def widest_mm(self) -> float:
        """The longest wave of which not all is kept; 0 where all is."""
        return max((coarse for (_, coarse), kept in zip(FOLLOWING.bands_mm, self.kept, strict=True) if kept < 1), default=0.0)

    def words(self) -> tuple[str, ...]:
        """How far marks grow where the light grazes, for a person: the bands of which not all is kept."""
        bands = zip(FOLLOWING.bands_mm, self.part, self.known, self.kept, strict=True)
        return tuple(
            f"of the marks of {fine:g} to {coarse:g} mm {100 * min(max(part, 0.0), 1.0):.0f} % grow and fade with the light"
            for (fine, coarse), part, known, kept in bands
            if known and kept < 1
        )


NOT_KNOWN = (False,) * len(FOLLOWING.bands_mm)
ALL_RELIEF = Marks((1.0,) * 3, (0.0,) * 3, NOT_KNOWN, (1.0,) * 3)
FINE_IS_PAINT = Marks((0.0,) * 3, (0.0,) * 3, NOT_KNOWN, (0.0, 0.0, 1.0))
"""What a user can say of the marks: all is relief; what is finer than the last band is paint."""


def following(patches: Patches, signal: Signal, read: Floats) -> Marks:
    """Measure the residual of a texture and the log shading (p, cells, cells) that was read from it, where it is well
    covered."""
    rows = well_covered(signal, FOLLOWING.most_patches)
    oblique = np.square(signal.tangential[rows]).sum(axis=1)[:, INNER, INNER]
    log_oblique = np.log(INVERSION.kappa**2 + 0.5 * oblique)
    covered = _blocks(signal.known[rows].astype(np.float32))[:, INNER, INNER] > FOLLOWING.covered
    group = _groups(patches.centre[rows])

    def measured(grids: Floats) -> list[tuple[float, float, bool]]:
        powers = zip(FOLLOWING.bands_mm, _powers(patches.cell_mm, grids[rows].astype(np.float32)), strict=True)
        return [
            _slope(np.log(power + 1e-12), log_oblique, covered, group)
            if fine > FOLLOWING.least_cells * patches.cell_mm
            else UNKNOWN
            for (fine, _), power in powers
        ]

    shown = measured(signal.closed)
    part, error, known = zip(*shown, strict=True)
    kept = np.maximum(_believed(shown, FOLLOWING.shown), _believed(measured(read), FOLLOWING.read))
    return Marks(part, error, known, tuple(kept.tolist()))


def _believed(found: list[tuple[float, float, bool]], ends: tuple[float, float]) -> Floats:
    """(bands,) 0 to 1: what to keep of bands (part, error, known), the fine ones judged together; errors speak for relief, and
    all is kept where nothing is known."""
    parts = np.array([part + FOLLOWING.surely * error if known else np.nan for part, error, known in found])
    if np.isfinite(parts[: FOLLOWING.fine]).any():
        parts[: FOLLOWING.fine] = np.nanmean(parts[: FOLLOWING.fine])
    kept = np.clip((parts - ends[0]) / (ends[1] - ends[0]), 0.0, 1.0)
    return np.where(np.isfinite(parts), kept, 1.0)


def weakened(patches: Patches, fields: Floats, marks: Marks) -> Floats:
    """Fields (p, k, cells, cells) in which each band is left with what of it is kept; what is finer goes with the finest."""
    return fields if min(marks.kept) == 1.0 else filtered(patches, fields, _kept_waves(patches.cell_mm, marks))


def filtered(patches: Patches, fields: Floats, keep: Floats) -> Floats:
    """Fields (p, k, cells, cells) with what `keep` leaves of each wave: a factor at each place of a patch's transform."""
    result = np.zeros_like(fields)

    def run(ends: tuple[int, int]) -> None:
        rows = slice(*ends)
        result[rows] = np.fft.irfft2(keep * np.fft.rfft2(fields[rows].astype(np.float32)), s=(PATCH.cells, PATCH.cells))

    for _ in in_parallel(run, patches.runs()):
        pass
    return result


def _kept_waves(cell_mm: float, marks: Marks) -> Floats:
    """What is kept at each place of a patch's transform: even between the middles of the bands, on a logarithmic scale."""
    kx, ky = wave_vectors(cell_mm)
    length = 2 * np.pi / np.maximum(np.hypot(kx, ky), 1e-6)
    middles = [0.5 * np.log(fine * coarse) for fine, coarse in FOLLOWING.bands_mm]
    return np.asarray(np.interp(np.log(length), middles, marks.kept), np.float32)


def _powers(cell_mm: float, grids: Floats) -> list[Floats]:
    """For each band (p, inner, inner): the power of grids (p, cells, cells) in their coarse cells."""
    kx, ky = wave_vectors(cell_mm)
    wave = np.hypot(kx, ky)
    shown = np.fft.rfft2(grids)
    found = []
    for fine, coarse in FOLLOWING.bands_mm:
        sigma = np.array([fine, coarse]) / (2 * np.pi)
        keep = (np.exp(-0.5 * (wave * sigma[0]) ** 2) - np.exp(-0.5 * (wave * sigma[1]) ** 2)).astype(np.float32)
        band = np.fft.irfft2(keep * shown, s=(PATCH.cells, PATCH.cells))
        found.append(_blocks(np.square(band))[:, INNER, INNER])
    return found


def _blocks(grids: Floats) -> Floats:
    """(p, c, c) means, c of `INVERSION.coarse`, of (p, cells, cells)."""
    step = PATCH.cells // INVERSION.coarse
    return grids.reshape(len(grids), INVERSION.coarse, step, INVERSION.coarse, step).mean(axis=(2, 4))


def _groups(centres: Floats) -> Ints:
    """(p,) group of each patch: compact parts of the surface, about `FOLLOWING.groups` of them, along its three axes."""
    order = np.argsort(centres @ np.array([1.0, 0.3, 3.0]), kind="stable")
    group = np.zeros(len(centres), np.int64)
    group[order] = np.arange(len(centres)) * FOLLOWING.groups // max(len(centres), 1)
    return group


def _slope(values: Floats, along: Floats, covered: Bools, group: Ints) -> tuple[float, float, bool]:
    """Slope of values against `along`, both (p, k, k), within patches; its standard error; whether it can be known."""
    count = covered.sum(axis=(1, 2))
    use = count >= 16
    if not use.any():
        return UNKNOWN
    covered, count = covered[use], count[use][:, None, None]
    y, x = (
        np.where(covered, field[use] - (field[use] * covered).sum(axis=(1, 2), keepdims=True) / count, 0.0)
        for field in (values, along)
    )
    top = np.bincount(group[use], (x * y).sum(axis=(1, 2)), FOLLOWING.groups)
    size = np.bincount(group[use], covered.sum(axis=(1, 2)), FOLLOWING.groups)
    below = np.bincount(group[use], np.square(x).sum(axis=(1, 2)), FOLLOWING.groups)
    dilution = 1.0 - FOLLOWING.unsure**2 * size.sum() / max(below.sum(), 1e-12)
    if dilution < FOLLOWING.steady:
        return UNKNOWN
    spared = (top.sum() - top) / np.maximum(below.sum() - below, 1e-12)
    error = float(np.sqrt((FOLLOWING.groups - 1) / FOLLOWING.groups * np.square(spared - spared.mean()).sum()))
    return float(top.sum() / below.sum()) / dilution, error / dilution, bool(error < FOLLOWING.loose * dilution)
