"""Where were the lamps, and how strong? Fitted on the scan's own form, which serves as the object of known shape.

The light in photo k at a point x of a matt piece with normal n and albedo r is

    I_k = r (s_k max(0, n . w) / |L_k - x|^2 + a),   w the unit direction from x to the lamp L_k,

a being the room's light, which does not change. A lamp some 200 mm from a macro field is a near lamp: its direction and
strength vary over the picture, so that a distant light is not a sufficient model. The albedo of each point is eliminated
(variable projection, Golub and Pereyra 1973), so that lamps and room follow from how the photos differ. A phone's tone curve
distorts the light; one exponent near 1 for the whole set models that.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Bools, Floats
from ..records import record
from .consistency import BlockPixels, disagreement

CURVE = 0.12
"""Standard deviation of the tone exponent round 1: a phone's S curve on top of sRGB makes it 0.8 to 1.3 (our guess)."""
ALBEDO = 0.30
"""Standard deviation of the log of the albedo over the piece, where nothing is known: our guess."""
DARKEST = 0.02
"""Share of white below which light is not used, since noise and flare are as large."""
NEAREST, FURTHEST = 20.0, 3000.0
"""Distances in mm between piece and lamp that are allowed: room for the lens, and practically infinite."""
BESIDE = 0.4
"""Weight of the means over the form where single pixels are used, too: over tooling the mean light is not the light of the mean
normal. Set on our bench."""
FAR, STRONG = 1.5, 2.0
"""Standard deviations of the log of a lamp's distance round 200 mm, and of its strength round the others'."""
DISTANCES = (90.0, 200.0, 450.0)
"""Distances in mm at which lamps are looked for first, each about twice the one before; the fit moves them from there."""
FEW_ROUNDS, ROUNDS = 5, 25
"""Rounds of each try, and of the last fit: guesses."""


@record
class Lamps:
    """The light of a set. places: (k, 3) mm. strengths: (k,) such that s / d^2 is light on a facing surface of albedo 1.
    room: light of the room on the same. curve: exponent that turns decoded values into light. explained: (k,) share of each
    photo's variation over the coarse form that the model gives; left: (k,) spread of the log of what it does not give."""

    places: Floats
    strengths: Floats
    room: float
    curve: float
    explained: Floats
    left: Floats

    def ways(self, points: Floats) -> tuple[Floats, Floats]:
        """Unit directions (n, k, 3) to the lamps and their light (n, k) on a facing surface, at points (n, 3) mm."""
        way = self.places[None] - points[:, None]
        far = np.maximum(np.linalg.norm(way, axis=2), 1e-6)
        return way / far[..., None], self.strengths / far**2

    def light(self, points: Floats, normals: Floats) -> Floats:
        """(n, k) light on a surface of albedo 1, the room's included, without shadows."""
        way, strength = self.ways(points)
        return np.asarray(strength * np.maximum(np.einsum("nkc,nc->nk", way, normals), 0) + self.room)


@record
class Samples:
    """Samples of the coarse form for calibration: points (n, 3) mm, normals (n, 3), values (n, k) decoded 0 to 1, usable (n, k)
    bool, weight (n,) number of pixels averaged. pixels: single pixels, used as well where there are three or more photos."""

    points: Floats
    normals: Floats
    values: Floats
    usable: Bools
    weight: Floats
    pixels: BlockPixels | None = None


def fit_lamps(samples: Samples, towards: Floats, *, room: bool = True, curve: bool = True) -> Lamps:
    """The lamps that explain the samples. towards: (3,) unit, from the piece to the camera, where lamps are looked for.

    room: whether to fit light of the room (False where a photo with the lamp off was subtracted).
    curve: whether to fit the camera's tone curve too, as an exponent.
    """
    count = samples.values.shape[1]
    tried = [_fitted(samples, _start(samples, towards, far, room), FEW_ROUNDS, room=room, curve=curve) for far in DISTANCES]
    lamps, _ = _fitted(samples, min(tried, key=lambda attempt: attempt[1])[0], ROUNDS, room=room, curve=curve)
    known = np.array([_explained(samples, lamps, k) for k in range(count)])
    return replace(lamps, explained=known[:, 0], left=known[:, 1])


def _start(samples: Samples, towards: Floats, far: float, room: bool) -> Lamps:
    """Lamps `far` mm off, each in the direction that a distant light with even albedo would have."""
    middle = samples.points.mean(axis=0)
    places = []
    for k in range(samples.values.shape[1]):
        use = samples.usable[:, k]
        design = np.concatenate([samples.normals[use], np.ones((use.sum(), 1))], axis=1)
        keep = np.diag([1e-3, 1e-3, 1e-3, 1e-1]) * max(1, use.sum())
        along = np.linalg.solve(design.T @ design + keep, design.T @ samples.values[use, k])[:3]
        along = along / max(float(np.linalg.norm(along)), 1e-9) + 0.35 * towards
        places.append(middle + far * along / max(float(np.linalg.norm(along)), 1e-9))
    level = np.array([np.median(samples.values[samples.usable[:, k], k]) if samples.usable[:, k].any() else 0.3
                      for k in range(len(places))])  # fmt: skip
    return Lamps(
        np.array(places),
        2 * level * far**2,
        0.1 * float(level.mean()) if room else 0.0,
        1.0,
        np.zeros(len(places)),
        np.zeros(len(places)),
    )


def _packed(lamps: Lamps, middle: Floats) -> Floats:
    way = lamps.places - middle
    far = np.linalg.norm(way, axis=1)
    return np.concatenate([
        (way / far[:, None] ).ravel(), np.log(far), np.log(lamps.strengths / far**2),
        [np.log(max(lamps.room, 1e-4)), np.log(lamps.curve)],
    ])  # fmt: skip


def _unpacked(values: Floats, middle: Floats, count: int, room: bool) -> Lamps:
    way = values[: 3 * count].reshape(count, 3)
    way = way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    far = np.exp(np.clip(values[3 * count : 4 * count], np.log(NEAREST), np.log(FURTHEST)))
    strength = np.exp(values[4 * count : 5 * count]) * far**2
    return Lamps(
        middle + far[:, None] * way,
        strength,
        float(np.exp(values[-2])) if room else 0.0,
        float(np.exp(values[-1])),
        np.zeros(count),
        np.zeros(count),
    )


def _residuals(samples: Samples, lamps: Lamps) -> tuple[Floats, Floats]:
    """(n, k) log residuals without the albedo, 0 where not usable, and the log albedo (n,)."""
    light = np.log(np.maximum(lamps.light(samples.points, samples.normals), 1e-4))
    seen = lamps.curve * np.log(np.maximum(samples.values, 1e-4))
    off = np.where(samples.usable, seen - light, 0)
    number = samples.usable.sum(axis=1)
    spread = 0.08
    albedo = np.zeros(len(off))
    level = float(np.median((off.sum(axis=1) / np.maximum(number, 1))[number > 0])) if (number > 0).any() else 0.0
    for _ in range(3):  # a shadow or a highlight in one photo must not move the place's albedo
        weight = samples.usable / (1 + ((off - albedo[:, None]) / (2 * spread)) ** 2)
        albedo = (np.sum(weight * off, axis=1) + spread**2 / ALBEDO**2 * level) / (weight.sum(axis=1) + spread**2 / ALBEDO**2)
    return np.where(samples.usable, off - albedo[:, None], 0), albedo - level


def _vector(samples: Samples, lamps: Lamps) -> Floats:
    """All residuals in standard deviations, robustly weighted (Cauchy), the priors included."""
    off, albedo = _residuals(samples, lamps)
    off, albedo = off / lamps.curve, albedo / lamps.curve  # file values: else a small exponent hides errors
    share = np.sqrt(samples.weight / samples.weight.mean())[:, None]
    cauchy = np.sign(off) * np.sqrt(np.log1p((off / 0.08) ** 2)) * share
    paint = np.sign(albedo) * np.sqrt(np.log1p((albedo / ALBEDO) ** 2)) * share[:, 0]
    far = np.log(np.linalg.norm(lamps.places - samples.points.mean(axis=0), axis=1) / 200.0)
    strong = np.log(lamps.strengths / np.median(lamps.strengths))
    weight = np.sqrt(0.02 * len(off))
    beforehand = np.concatenate([far / FAR, strong / STRONG, [np.log(lamps.curve) / CURVE]])
    fine = np.zeros(0)
    if samples.pixels is not None:
        ways, strength = lamps.ways(samples.pixels.points)
        fine = disagreement(samples.pixels, ways, strength, lamps.room, lamps.curve)
        cauchy, paint = BESIDE * cauchy, BESIDE * paint
    return np.concatenate([cauchy.ravel(), paint, fine, weight * beforehand])


def _fitted(samples: Samples, lamps: Lamps, rounds: int, *, room: bool, curve: bool) -> tuple[Lamps, float]:
    """The lamps after Levenberg-Marquardt steps from a start, and their cost."""
    middle, count = samples.points.mean(axis=0), len(lamps.places)
    values, damping = _packed(lamps, middle), 1e-2
    free = np.ones(len(values), bool)
    free[-2], free[-1] = room, curve
    off = _vector(samples, lamps)
    cost = float(off @ off)
    for _ in range(rounds):
        change = np.zeros((len(off), len(values)))
        for place in np.flatnonzero(free):
            step = np.zeros(len(values))
            step[place] = 1e-4
            change[:, place] = (_vector(samples, _unpacked(values + step, middle, count, room)) - off) / 1e-4
        normal, slope = change.T @ change, change.T @ off
        better = False
        for _ in range(6):
            step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-3), slope)
            trial = values + np.clip(step, -0.6, 0.6)
            trial[: 3 * count] = (trial[: 3 * count].reshape(count, 3) / np.maximum(
                np.linalg.norm(trial[: 3 * count].reshape(count, 3), axis=1, keepdims=True), 1e-9)).ravel()  # fmt: skip
            new = _vector(samples, _unpacked(trial, middle, count, room))
            if float(new @ new) < cost:
                better = cost - float(new @ new) > 1e-5 * cost
                values, off, cost, damping = trial, new, float(new @ new), damping / 4
                break
            damping *= 5
        if not better:
            break
    return _unpacked(values, middle, count, room), cost


def _explained(samples: Samples, lamps: Lamps, k: int) -> tuple[float, float]:
    """Share of the log light's variation over the form in photo k that its lamp explains, and the rest; both robust."""
    use = samples.usable[:, k]
    if use.sum() < 20:
        return 0.0, float("inf")
    light = np.log(np.maximum(lamps.light(samples.points[use], samples.normals[use])[:, k], 1e-4))
    seen = lamps.curve * np.log(np.maximum(samples.values[use, k], 1e-4))
    left, whole = _spread(seen - light), _spread(seen)
    return float(1.0 - (left / max(whole, 1e-6)) ** 2), left / 2


def _spread(values: Floats) -> float:
    return float(np.quantile(values, 0.84) - np.quantile(values, 0.16))
