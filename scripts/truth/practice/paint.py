"""Made-up paint to learn from, never to judge by: what colours the practice pieces. No bench pigment comes from here.

Each coat is a random ground with random layers on it: areas laid on with a brush, stripes, rings and dots, grown rings with
pores, a mottle without a hue, stains, fine lines. Colours and sizes are drawn anew for each.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from blender_addon.core.srgb import luminance

from ..modelling.fields import Floats, Noise, ramp, rotation

DARKEST, BRIGHTEST = 0.03, 0.88
ONE_HUE = 0.33  # share of coats that are darker and brighter in one hue, as clay, stone and pencil are
TIMBER = 0.3  # share that is bare wood and nothing else: what carvings are mostly made of


def coat(points: Floats, seed: int) -> Floats:
    """(n, 3) linear albedo at points (n, 3) in mm."""
    rng = np.random.default_rng(seed + 7100)
    noise = Noise(seed + 7101)
    kinds = (_areas, _areas, _marks, _grown, _grown, _mottled, _stained, _lined)
    if rng.random() < TIMBER:
        return np.clip(_grown(np.tile(_timber(rng), (len(points), 1)), points, rng, noise), DARKEST, BRIGHTEST)
    ground = _hue(rng)
    colour = np.tile(ground, (len(points), 1))
    for number in range(int(rng.integers(1, 4))):
        colour = kinds[int(rng.integers(len(kinds)))](colour, points + 50.0 * number, rng, noise)
    if rng.random() < ONE_HUE:
        colour = luminance(colour)[:, None] * (ground / luminance(ground))
    return np.clip(colour, DARKEST, BRIGHTEST)


def _hue(rng: np.random.Generator, level: float | None = None) -> Floats:
    """A colour: bright or dark, from grey to saturated."""
    level = np.exp(rng.uniform(np.log(0.05), np.log(0.75))) if level is None else level
    tint = rng.normal(0, rng.choice([0.05, 0.3, 0.7]), 3)
    return level * np.exp(tint - tint.mean())


def _timber(rng: np.random.Generator) -> Floats:
    """The early wood of some tree: white to nearly black, yellow to red."""
    red, blue = rng.uniform(0.1, 0.7), -rng.uniform(0.15, 0.9)
    return np.minimum(np.exp(rng.uniform(np.log(0.08), np.log(0.5))) * np.exp([red, 0.0, blue]), BRIGHTEST)


def _laid(colour: Floats, other: Floats, share: Floats) -> Floats:
    return colour + (other - colour) * share[:, None]


def _turned(points: Floats, rng: np.random.Generator) -> Floats:
    return points @ rotation(*((axis, rng.uniform(-180, 180)) for axis in "xyz"))


def _areas(colour: Floats, points: Floats, rng: np.random.Generator, noise: Noise) -> Floats:
    """Broad areas whose borders and whose body show the brush."""
    field, drawn = noise(points, rng.uniform(6, 26), octaves=2), _turned(points, rng) * (1.0, 1.0, rng.uniform(0.1, 0.5))
    brush = noise(drawn, rng.uniform(0.5, 1.6), octaves=2)
    for _ in range(int(rng.integers(1, 4))):
        start = rng.uniform(-1.2, 1.2)
        share = ramp(rng.choice([-1, 1]) * field + rng.uniform(0, 0.25) * brush, start, start + rng.uniform(0.03, 0.4))
        colour = _laid(colour, _hue(rng), rng.uniform(0.6, 1.0) * share)
    return colour * np.exp(rng.uniform(0, 0.12) * brush)[:, None]


def _marks(colour: Floats, points: Floats, rng: np.random.Generator, noise: Noise) -> Floats:
    """Stripes, rings or dots at a pitch, sharp as a print or soft."""
    place = _turned(points, rng) + rng.uniform(0, 0.6) * noise(points, 7.0)[:, None]
    pitch, width, soft = rng.uniform(1.5, 9.0), rng.uniform(0.15, 0.6), rng.uniform(0.03, 0.3)
    kind = rng.integers(3)
    if kind == 0:
        away = np.abs((place[:, 0] / pitch) % 1.0 - 0.5)
    elif kind == 1:
        away = np.abs((np.hypot(place[:, 0], place[:, 1]) / pitch) % 1.0 - 0.5)
    else:
        away = np.linalg.norm((place / pitch) % 1.0 - 0.5, axis=1)
    return _laid(colour, _hue(rng), ramp(-away * pitch, -0.5 * width * pitch - soft, -0.5 * width * pitch))


def _grown(colour: Floats, points: Floats, rng: np.random.Generator, noise: Noise) -> Floats:
    """Grown rings, dark towards one side, with dark pores or flecks drawn out along them."""
    bent = np.stack([noise(points + step, 18.0) for step in (0, 31, 62)], axis=1)
    place = _turned(points, rng) + rng.uniform(0.2, 2.5) * bent
    radius = np.hypot(place[:, 0] - rng.uniform(-40, 40), place[:, 1] - rng.uniform(-40, 40))
    share = (radius / np.exp(rng.uniform(np.log(0.7), np.log(5.0))) + rng.uniform(0, 0.3) * noise(points, 8.0)) % 1.0
    late = ramp(share, rng.uniform(0.0, 0.6), rng.uniform(0.7, 0.95)) * ramp(-share, -1.0, -rng.uniform(0.85, 0.98))
    deep = rng.uniform(0.1, 1.1)
    tint = rng.normal(0, 0.12, 3)
    colour = colour * np.exp(-late[:, None] * deep * (1 + tint - tint.mean()))
    if rng.random() < 0.7:
        start = rng.uniform(0.5, 1.6)
        drawn = place * (1.0, 1.0, rng.uniform(0.05, 0.3))
        pores = ramp(noise(drawn, rng.uniform(0.25, 0.9)), start, start + rng.uniform(0.3, 1.0))
        colour = colour * (1 - rng.uniform(0.1, 0.6) * pores[:, None])
    return colour


def _mottled(colour: Floats, points: Floats, rng: np.random.Generator, noise: Noise) -> Floats:
    """Darker and brighter without a hue of its own, at random sizes and stretched or not."""
    drawn = _turned(points, rng) * (1.0, 1.0, rng.uniform(0.2, 1.0))
    spots = noise(drawn, np.exp(rng.uniform(np.log(0.4), np.log(6.0))), octaves=int(rng.integers(1, 4)), gain=0.6)
    return colour * np.exp(rng.uniform(0.03, 0.25) * spots)[:, None]


def _stained(colour: Floats, points: Floats, rng: np.random.Generator, noise: Noise) -> Floats:
    """Blots with a soft or a dark rim."""
    field, start = noise(points, rng.uniform(2, 9), octaves=2), rng.uniform(0.3, 1.2)
    body = ramp(field, start, start + rng.uniform(0.05, 0.5))
    rim = ramp(-np.abs(field - start), -0.15, -0.03) * rng.choice([0.0, 1.0])
    stain = np.exp(-rng.uniform(0.1, 1.2) * np.exp(rng.normal(0, 0.15, 3)))
    return colour * np.exp(np.log(stain) * np.maximum(body, rim)[:, None])


def _lined(colour: Floats, points: Floats, rng: np.random.Generator, noise: Noise) -> Floats:
    """A fine drawn line here and there."""
    away = np.abs(noise(points, rng.uniform(4, 16)))
    width = rng.uniform(0.01, 0.06)
    return _laid(colour, _hue(rng, 0.05), rng.uniform(0.5, 1.0) * ramp(-away, -width - 0.03, -width))


Layer = Callable[[Floats, Floats, np.random.Generator, Noise], Floats]
