"""The net's arithmetic, what it makes of nothing, and how the slopes of several lights are joined."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import unit
from blender_addon.core.surface import patches
from blender_addon.core.surface.relief import fusion, inversion, recovery, refiner
from blender_addon.job.runner import finish
from scripts.truth.modelling.fields import Noise


def test_folding_is_undone() -> None:
    cells = np.random.default_rng(1).standard_normal((16, 12, 7)).astype(np.float32)
    folded = refiner.folded(cells)
    assert folded.shape == (8, 6, 28)
    assert folded[2, 1, 4 * 3 + 2 * 1 + 0] == cells[5, 2, 3]  # channel, then down, then right, as torch's pixel_unshuffle
    assert np.array_equal(refiner.unfolded(folded), cells)


@pytest.mark.parametrize("dilation", [1, 2, 4])
def test_convolution_is_the_textbook_sum(dilation: int) -> None:
    rng = np.random.default_rng(2)
    cells, weight = rng.standard_normal((9, 11, 3)).astype(np.float32), rng.standard_normal((3, 3, 3, 5)).astype(np.float32)
    bias = rng.standard_normal(5).astype(np.float32)
    found = refiner.Layer(weight, bias)(cells, dilation)
    for row, column in ((0, 0), (4, 5), (8, 10)):
        total = bias.astype(float)
        for down in (-1, 0, 1):
            for right in (-1, 0, 1):
                y, x = row + down * dilation, column + right * dilation
                if 0 <= y < 9 and 0 <= x < 11:
                    total += cells[y, x] @ weight[down + 1, right + 1]
        assert np.allclose(found[row, column], total, atol=1e-4)  # float32 sums of 27 products


def _planes(residual: np.ndarray, tangential: tuple[float, float]) -> np.ndarray:
    """What the net is shown of a residual under one tangential light, with a linear inversion's fields; nothing painted."""
    planes = np.zeros((12, patches.PATCH.cells, patches.PATCH.cells), np.float32)
    planes[0] = planes[1] = residual - residual.mean()
    planes[2], planes[3], planes[4] = 1.0, *tangential
    kx, ky = patches.wave_vectors(0.07)
    wave, along = np.hypot(kx, ky), tangential[0] * kx + tangential[1] * ky
    power = np.maximum((0.25 * wave) ** 2 + along**2 + 0.1 * wave**2, 1e-9)
    height = np.fft.rfft2(planes[0]) * (0.25 * wave + 1j * along) / power
    planes[5:7] = [np.fft.irfft2(1j * wavenumber * height, s=residual.shape) for wavenumber in (kx, ky)]
    planes[7] = np.fft.irfft2((0.25 * wave - 1j * along) * height, s=residual.shape)
    return planes


LEVEL = np.zeros((4, 24, 24), np.float32)
LEVEL[3] = 0.06  # what the light's fit leaves on a plain dusted piece


@pytest.mark.parametrize("tangential", [0.3, 0.7])
def test_an_even_texture_gets_no_relief(tangential: float) -> None:
    """What is nothing stays nothing: a degree of tilt is what a careful eye would see under raking light (common practice)."""
    planes = _planes(np.zeros((patches.PATCH.cells, patches.PATCH.cells)), (tangential, 0.0))
    tilt = np.degrees(np.arctan(np.linalg.norm(refiner.refiner().fields(planes, LEVEL)[:2], axis=0)))
    inner = tilt[12:-12, 12:-12]
    assert np.median(inner) < 0.5
    assert np.quantile(inner, 0.99) < 1.0


def test_dust_is_no_dent() -> None:
    """Dark round dots of 0.25 mm that the closing left in place: a linear inversion makes dents of them, the net far less."""
    rng = np.random.default_rng(3)
    rows, columns = np.mgrid[0 : patches.PATCH.cells, 0 : patches.PATCH.cells]
    dots = np.zeros((patches.PATCH.cells, patches.PATCH.cells))
    for y, x in rng.uniform(10, patches.PATCH.cells - 10, (30, 2)):
        dots -= 0.35 * np.exp(-((rows - y) ** 2 + (columns - x) ** 2) / (2 * 1.8**2))
    planes = _planes(dots, (0.5, 0.0))
    linear = np.linalg.norm(planes[5:7], axis=0)[12:-12, 12:-12].mean()
    ours = np.linalg.norm(refiner.refiner().fields(planes, LEVEL)[:2], axis=0)[12:-12, 12:-12].mean()
    assert ours < 0.6 * linear


def test_slopes_of_several_lights_join_to_those_of_the_one_surface() -> None:
    """Each light shows its own slope rightly; the other it shows rightly, too faint, or not at all."""
    cell, count = 0.07, patches.PATCH.cells
    place = (np.arange(count) - count / 2) * cell
    wave = 2 * np.pi / 1.5 * np.array([0.6, 0.8])

    def slope(angle: float, read: float) -> np.ndarray:
        along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
        points = place[None, :, None] * along + place[:, None, None] * across
        rise = 0.1 * np.cos(points @ wave)[None] * wave[:, None, None]
        return np.stack([np.tensordot(along, rise, 1), read * np.tensordot(across, rise, 1)])[None].astype(np.float32)

    axes = np.eye(3, dtype=np.float32)
    common = patches.Patches(cell, np.zeros((1, 3), np.float32), axes[2:3], axes[0:1], axes[1:2])
    angles = np.arctan2(0.8, 0.6) + np.array([-0.6, 0.6])  # the waves lie between them: neither light is better off
    frames = [common.led_by(np.array([[np.cos(a), np.sin(a), 0.0]], np.float32)) for a in angles]
    even = [np.ones(1), np.ones(1)]
    true = slope(0.0, 1.0)[0]
    core = np.hypot(place[None, :], place[:, None]) < 0.44 * count * cell  # the part that is read back
    off = lambda found: float(np.sqrt(np.mean((found - true)[:, core] ** 2)))  # noqa: E731
    size = off(0 * true)
    joined = {
        share: fusion._together(common, frames, [slope(a, share) for a in angles], even, slice(0, 1))[0] for share in (1, 0.5)
    }
    assert off(joined[1]) < 0.01 * size  # reading between cells alone
    alone = [fusion._together(common, [frame], [slope(a, 0.5)], even[:1], slice(0, 1))[0]
             for frame, a in zip(frames, angles, strict=True)]  # fmt: skip
    assert off(joined[0.5]) < 0.7 * min(off(found) for found in alone)
    # a third texture that shows nothing of the patch says nothing
    blank = [*(slope(a, 0.5) for a in angles), 0 * slope(0.0, 1.0)], [*even, np.zeros(1)]
    same = fusion._together(common, [*frames, common], *blank, slice(0, 1))[0]
    assert same == pytest.approx(joined[0.5], abs=1e-6)


def test_a_further_scans_lumps_are_not_given_to_the_first() -> None:
    """Beside a mesh that leans, a flat surface shows slopes; beside the first mesh, which lies flat, it shows none."""
    rows, columns = 0.07 * np.mgrid[0:140, 0:140].reshape(2, -1).astype(np.float32)
    position = np.stack([columns, rows, 0 * rows], axis=1)
    flat = np.tile(np.float32([0, 0, 1]), (len(position), 1))
    lean = np.stack([0.10 * np.sin(columns), 0.06 * np.cos(rows), 0 * rows], axis=1)  # slopes of the further scan's lumps
    leaning = unit(flat - lean).astype(np.float32)
    common, cloud = patches.lay_patches(position, flat, cell_mm=0.07, seed=1)
    frame = common.led_by(np.tile(np.float32([0.6, 0.8, 0]), (len(common), 1)))
    own = patches.sort_into_boxes(position[position[:, 0] < 7], leaning[position[:, 0] < 7], cloud.box_mm)
    shown = np.zeros((len(common), 3, patches.PATCH.cells, patches.PATCH.cells), np.float16)
    for first, last in frame.runs():  # what is right beside the leaning mesh: the lumps are not there
        means, weight = patches.splat(frame.members(own, first, last), leaning[position[:, 0] < 7].T)
        for place, axis in enumerate((frame.along, frame.across)):
            shown[first:last, place] = np.einsum("cpyx,pc->pyx", means, axis[first:last]) * (weight > 0.15)
    assert np.abs(shown[:, :2]).max() > 0.08
    finish(fusion.beside_first(frame, shown, (cloud, flat), (own, leaning[position[:, 0] < 7])))
    assert np.abs(shown[:, :2]).max() < 1e-3  # 16-bit floats
    assert not shown[:, 2].any()


def test_a_dark_print_is_no_shading() -> None:
    rng = np.random.default_rng(4)
    dusted = np.clip(rng.normal(0, 0.17, 20_000), *recovery.RECOVERY.clip)
    printed = np.where(rng.random(20_000) < 0.2, recovery.RECOVERY.clip[0], dusted)
    assert recovery.shading_share(dusted, 0.1) == 1.0
    assert recovery.shading_share(printed, 0.1) == 0.0
    assert recovery.shading_share(dusted, 0.27) == 0.0  # as grained wood leaves it


def test_a_plain_piece_is_shown_without_paint() -> None:
    """Planes of paint that are left out are planes of zeros."""
    planes = _planes(0.1 * np.random.default_rng(8).standard_normal((patches.PATCH.cells, patches.PATCH.cells)), (0.4, 0.1))
    whole, short = (refiner.refiner().fields(part, LEVEL) for part in (planes, planes[:8]))
    assert np.allclose(whole, short, atol=1e-5)  # sums of float32 in another order


@pytest.mark.parametrize("degrees", [0, 45, 90])
@pytest.mark.parametrize("deep", [0.12, 0.25])
def test_grain_is_no_groove(degrees: float, deep: float) -> None:
    """Darker and brighter without a hue, drawn out ten times as grain is, at any angle to the light: the net makes less than a
    third of the linear way's relief of it, mean of four pieces."""
    rows, columns = 0.07 * np.mgrid[0 : patches.PATCH.cells, 0 : patches.PATCH.cells]
    turn = np.radians(degrees)
    along, across = np.cos(turn) * rows - np.sin(turn) * columns, np.sin(turn) * rows + np.cos(turn) * columns
    places = np.stack([across, 0.1 * along, 0 * along], axis=-1).reshape(-1, 3)
    shares = []
    for seed in range(4):
        noise = 0.012 * np.random.default_rng(seed).standard_normal(rows.shape)  # a photo's
        grain = deep * Noise(seed)(places, 0.6, octaves=2).reshape(rows.shape) + noise
        shares.append(_share_of_linear(np.clip(grain, *recovery.RECOVERY.clip), spread=0.85 * deep))
    assert np.mean(shares) < 1 / 3


def test_lone_dark_streaks_are_no_grooves() -> None:
    """Fine dark lines without a bright side, across the light: what a groove would look like with one side lost."""
    rng = np.random.default_rng(5)
    rows, columns = np.mgrid[0 : patches.PATCH.cells, 0 : patches.PATCH.cells]
    streaks = np.zeros((patches.PATCH.cells, patches.PATCH.cells))
    for y, x in rng.uniform(8, patches.PATCH.cells - 8, (60, 2)):
        streaks -= 0.5 * np.exp(-(((rows - y) / 12.0) ** 2 + ((columns - x) / 1.5) ** 2))
    assert _share_of_linear(streaks, spread=0.28) < 0.6


def _share_of_linear(residual: np.ndarray, spread: float) -> float:
    """Mean slope that the net makes of a residual, over the linear way's. spread: what the light's fit left on the piece."""
    planes, level = _planes(residual, (0.5, 0.0)), LEVEL.copy()
    level[3] = spread
    fields = refiner.refiner().fields(planes, level)
    inner = slice(12, -12)
    mean = [np.linalg.norm(slopes, axis=0)[inner, inner].mean() for slopes in (fields[:2], planes[5:7])]
    return float(mean[0] / mean[1])


def test_confidence_is_how_much_the_net_reads() -> None:
    """Power that is read whole up to 0.5 mm and not at all beyond: half of white noise's spread, say, and 0.5 mm."""
    rng = np.random.default_rng(6)
    cell, count = 0.07, 4
    shown = rng.standard_normal((count, patches.PATCH.cells, patches.PATCH.cells)).astype(np.float32)
    kx, ky = patches.wave_vectors(cell)
    low = np.hypot(kx, ky) < 2 * np.pi / 0.5
    read = np.fft.irfft2(np.fft.rfft2(shown) * low, s=(patches.PATCH.cells, patches.PATCH.cells)).astype(np.float32)
    whole = np.ones(shown.shape, bool)
    signal = inversion.Signal(shown, shown, None, whole, np.zeros((count, 2, 12, 12)), np.zeros((count, 4, 24, 24)))
    axes = [np.tile(row, (count, 1)).astype(np.float32) for row in (*np.zeros((1, 3)), *np.eye(3))]
    confidence = inversion.confidence_of(patches.Patches(cell, *axes), signal, read)
    rings = 2 * np.pi / 0.5 / (np.pi / cell)  # the cut as a part of the finest wave number that the rings hold
    assert confidence.share == pytest.approx(rings, abs=0.05)  # white noise: power goes with the area below the cut
    assert confidence.finest_mm == pytest.approx(
        0.5, rel=0.15
    )  # a ring is 4 % of the range wide, the taper blurs one into the next
    assert inversion.confidence_of(patches.Patches(cell, *axes), signal, 0 * read).finest_mm == np.inf
