"""What a phone's camera and the scan's blending do to a texture: speckle, exposure, blur, tone, sharpening, JPEG."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from ..modelling.fields import Noise, ramp
from .texels import Texels

Floats = Any


@dataclass(frozen=True, kw_only=True)
class Camera:
    """speckle: dots of matting spray a mm2. powder: spread of the powder's brightness. patches: spread of the exposure between
    photos. blur: mm, standard deviation. noise: of the linear signal. level: where the brightest tenth of the surface begins
    (linear). phone_tone: an S curve on top of sRGB. sharpening: amount of a halo-making unsharp mask. jpeg: quality, 0 for
    none."""

    speckle: float = 1.5
    powder: float = 0.02
    patches: float = 0.05
    blur: float = 0.10
    noise: float = 0.006
    level: float = 0.60
    phone_tone: bool = False
    sharpening: float = 0.0
    jpeg: int = 92


PHONE = Camera(phone_tone=True, sharpening=0.7, patches=0.08)
"""A phone that tone-maps and sharpens."""


def encoded(linear: Floats) -> Floats:
    """Linear to display values of sRGB (IEC 61966-2-1)."""
    linear = np.clip(linear, 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def speckles(texels: Texels, density: float, rng: Any, *, texel_area: float) -> Floats:
    """(t,) factor on the albedo: 1, and about 0.55 in dots of 0.08 to 0.16 mm radius, `density` of them a mm2 of surface."""
    factor = np.ones(len(texels.place))
    count = rng.poisson(density * texel_area * len(texels.place))
    if not count:
        return factor
    middle = texels.position[rng.integers(0, len(texels.place), count)]
    radius, dark = rng.uniform(0.08, 0.16, count), rng.uniform(0.35, 0.6, count)
    cell = 0.4
    low = texels.position.min(axis=0) - cell
    size = np.ceil((texels.position.max(axis=0) + cell - low) / cell).astype(np.int64) + 1
    reach = np.array(list(np.ndindex(2, 2, 2)))
    home = np.floor((middle - radius[:, None] - low) / cell).astype(np.int64)
    ends = np.floor((middle + radius[:, None] - low) / cell).astype(np.int64)
    cells = np.minimum(home[:, None, :] + reach, ends[:, None, :])
    keys = (cells[..., 0] * size[1] + cells[..., 1]) * size[2] + cells[..., 2]
    keys, dot = keys.ravel(), np.repeat(np.arange(count), 8)
    keys, once = np.unique(keys * count + dot, return_index=True)
    dot, keys = dot[once], keys // count
    place = np.floor((texels.position - low) / cell).astype(np.int64)
    mine = (place[:, 0] * size[1] + place[:, 1]) * size[2] + place[:, 2]
    begin, end = np.searchsorted(keys, mine), np.searchsorted(keys, mine, side="right")
    for step in range(int((end - begin).max(initial=0))):
        row = np.flatnonzero(begin + step < end)
        products = dot[begin[row] + step]
        distance = np.linalg.norm(texels.position[row] - middle[products], axis=1)
        factor[row] *= 1.0 - dark[products] * ramp(radius[products] - distance, -0.02, 0.03)
    return factor


def exposures(texels: Texels, spread: float, rng: Any) -> Floats:
    """(t,) gain of the photo that each place of the surface was taken from: patches of some 8 to 15 mm with soft borders."""
    low, high = texels.position.min(axis=0), texels.position.max(axis=0)
    count = 40
    spots, gains = rng.uniform(low, high, (count, 3)), np.exp(spread * rng.standard_normal(count))
    return _patched(texels, spots.tobytes(), gains.tobytes(), int(rng.integers(1 << 30)))


@lru_cache(maxsize=1)  # a scan's photos under several lights share their seed
def _patched(texels: Texels, spot_bytes: bytes, gain_bytes: bytes, seed: int) -> Floats:
    """(t,) gain at each texel, that of the photo whose spot lies nearest; arrays as bytes, so that they can be looked up."""
    spots, gains = np.frombuffer(spot_bytes).reshape(-1, 3), np.frombuffer(gain_bytes)
    points = texels.position + 1.5 * Noise(seed)(texels.position, 6.0)[:, None]
    found = np.zeros(len(points))
    for start in range(0, len(points), 65_536):  # few enough at a time to stay in the cache
        part = points[start : start + 65_536]
        square = (part**2).sum(axis=1)[:, None] + (spots**2).sum(axis=1) - 2 * part @ spots.T
        away = np.sqrt(np.maximum(square, 0))
        share = np.exp((away.min(axis=1, keepdims=True) - away) / 0.6)
        found[start : start + 65_536] = share @ gains / share.sum(axis=1)
    return found


def blurred(raster: Floats, known: Floats, sigma: float) -> Floats:
    """The raster (h, w, k) blurred by a Gaussian of `sigma` texels over the known texels (h, w) alone."""
    if sigma < 0.2:
        return raster
    both = np.concatenate([raster * known[..., None], known[..., None].astype(raster.dtype)], axis=2)
    radius = int(np.ceil(3 * sigma))
    weights = np.exp(-0.5 * (np.arange(-radius, radius + 1) / sigma) ** 2)
    weights /= weights.sum()
    weights = weights.astype(both.dtype)
    for _ in range(2):
        for top in range(0, len(both), 32):  # few enough rows at a time to stay in the cache
            rows = both[top : top + 32]
            total = weights[radius] * rows
            for off in range(1, radius + 1):
                total[:, off:] += weights[radius + off] * rows[:, :-off]
                total[:, :-off] += weights[radius + off] * rows[:, off:]
            both[top : top + 32] = total
        both = np.ascontiguousarray(both.swapaxes(0, 1))
    return np.where(known[..., None], both[..., :-1] / np.maximum(both[..., -1:], 1e-6), raster)


def bled(raster: Floats, known: Floats, rounds: int = 3) -> Floats:
    """The raster with the colours of islands spread `rounds` texels over their borders."""
    height, width = known.shape
    colours, reached = raster.copy().reshape(height * width, -1), known.copy().ravel()
    steps = ((0, 1), (0, -1), (1, 0), (-1, 0))
    front = reached.reshape(height, width)
    for _ in range(rounds):
        near = np.zeros_like(front)
        for down, across in steps:
            near |= np.roll(front, (down, across), (0, 1))
        fresh = np.flatnonzero(near.ravel() & ~reached)
        row, column = np.divmod(fresh, width)
        beside = [(row - down) % height * width + (column - across) % width for down, across in steps]
        count = sum(reached[shifted].astype(float) for shifted in beside)
        total = sum(colours[shifted] * reached[shifted, None] for shifted in beside)
        colours[fresh] = total / count[:, None]
        front = np.zeros_like(front)
        front.ravel()[fresh] = True
        reached[fresh] = True
    return colours.reshape(raster.shape)


def photographed(linear: Floats, texels: Texels, camera: Camera, *, mm_a_texel: float, seed: int) -> Floats:
    """(size, size, 3) uint8 sRGB, row 0 at v = 0, of the light (t, 3) that leaves the surface."""
    rng = np.random.default_rng(seed + 77)
    known = texels.full(np.ones(len(texels.place), bool), False)
    bright = np.percentile(linear.max(axis=1), 90.0)
    linear = linear * (camera.level / max(bright, 1e-9)) * exposures(texels, camera.patches, rng)[:, None]
    raster = blurred(texels.full(linear.astype(np.float32)), known, camera.blur / mm_a_texel)
    raster = np.maximum(raster + camera.noise * rng.standard_normal(raster.shape, np.float32), 0.0)
    shown = encoded(raster)
    if camera.phone_tone:
        shown = shown + 0.10 * np.sin(2 * np.pi * (shown - 0.5)) * 0.6
    if camera.sharpening:
        shown = shown + camera.sharpening * (shown - blurred(shown, known, 1.8))
    shown = bled(np.clip(shown, 0.0, 1.0).astype(np.float32), known, 4)
    return through_jpeg(np.round(255.0 * shown).astype(np.uint8), camera.jpeg)


def through_jpeg(pixels: Any, quality: int) -> Any:
    """The picture after JPEG compression; quality 0 leaves it as it is."""
    if not quality:
        return pixels
    from PIL import Image

    packed = io.BytesIO()
    Image.fromarray(pixels[::-1]).save(packed, "JPEG", quality=quality, subsampling=0)
    return np.asarray(Image.open(packed).convert("RGB"))[::-1].copy()
