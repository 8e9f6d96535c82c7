"""Made-up pieces with and without something to stand on, to measure whether a stand is distinguished from a piece's own form.
In mm.

Half of the kinds stand on a stand (plates, blocks, turned discs, rough bases), half on themselves: haunches, a skirt, feet, a
boot's sole, a foot ring, a tool's foot, the cut shoulders of a bust, a rock that is part of it. A seed varies proportions, so
that the forms which a threshold was tried on (`TRIED`) are not those that the bench counts (`COUNTED`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from ..modelling.fields import Noise, both, box, cut, ellipsoid, joined, limb, rotation, taper
from .stands import CLAY, OAK, STONE, TERRAZZO, Field, Floats, Subject

TRIED, COUNTED = (1, 2), (11, 12)
"""Seeds used while constants were set, and seeds that are measured."""


# --- pieces ------------------------------------------------------------------------------------------------------------------


def _person(points: Floats, base: float, height: float, random: Any, *, legs: bool) -> Floats:
    """A standing person who fills `height` over `base`: legs apart, or a long skirt to the ground."""
    p = (points - [0.0, 0.0, base]) * (60.0 / height)
    lean, turn = random.uniform(-2.5, 2.5), random.uniform(-1.5, 1.5)
    folds = Noise(int(random.integers(1, 999)))
    head = ellipsoid(p, (lean, turn - 1.0, 54.5), (4.3, 4.8, 5.6))
    neck = taper(p, (0.6 * lean, turn, 44), (lean, turn - 0.5, 52), 2.6, 2.0)
    chest = ellipsoid(p, (0.4 * lean, turn, 39), (7.6, 4.8, 8.5))
    hips = ellipsoid(p, (0, 0, 29), (6.4, 5.0, 6.0))
    body = joined(joined(chest, hips, 3.0), joined(neck, head, 1.0), 1.2)
    for side in (-1.0, 1.0):
        hand = np.array([side * random.uniform(7, 11), random.uniform(-8, -3), random.uniform(26, 34)])
        arm = np.array([[side * 7.0 + 0.4 * lean, turn, 44], [side * random.uniform(9.5, 12), 1.5, 36], hand])
        body = joined(body, limb(p, arm, np.array([2.3, 1.9, 1.6]), 0.5), 0.8)
    if legs:
        for side in (-1.0, 1.0):
            foot = side * random.uniform(4.0, 6.5)
            leg = np.array([[side * 3.2, 0.0, 28], [foot * 0.9, -0.8, 15], [foot, 1.0, 2.5]])
            toe = limb(p, np.array([[foot, 2.0, 1.6], [foot * 1.15, -4.5, 1.3]]), np.array([2.0, 1.5]))
            body = joined(joined(body, limb(p, leg, np.array([3.8, 2.7, 1.9]), 0.6), 1.0), toe, 0.8)
    else:
        across = np.arctan2(p[:, 1], p[:, 0])
        wide = 6.2 + (30.0 - p[:, 2]) * random.uniform(0.10, 0.22) + 0.7 * np.cos(across * int(random.integers(7, 12)))
        skirt = np.maximum(np.hypot(p[:, 0], p[:, 1] * 1.12) - wide, np.abs(p[:, 2] - 15.0) - 15.0) * 0.8
        body = joined(body, skirt, 2.0)
    return (body + 0.25 * folds(p, 6.0, octaves=2)) * (height / 60.0)


def _animal(points: Floats, base: float, height: float, random: Any) -> Floats:
    """An animal on four legs, its head towards -X."""
    p = (points - [0.0, 0.0, base]) * (42.0 / height)
    fur = Noise(int(random.integers(1, 999)))
    long = random.uniform(15.0, 20.0)
    body = ellipsoid(p, (0, 0, 24), (long, 7.0, 8.0))
    head = ellipsoid(p, (-long - 3.0, 0, 35), (6.5, 4.8, 5.6))
    nose = limb(p, np.array([[-long - 6, 0, 34], [-long - 11, 0, 32]]), np.array([3.0, 2.0]))
    neck = taper(p, (-0.7 * long, 0, 27), (-long - 2, 0, 34), 5.5, 4.0)
    shape = joined(joined(body, neck, 3.0), joined(head, nose, 1.5), 1.5)
    for x in (-0.65 * long, 0.7 * long):
        for side in (-4.2, 4.2):
            step = random.uniform(-3.0, 3.0)
            leg = np.array([[x, side, 22], [x + 0.5 * step, side, 11], [x + step, side, 2.0]])
            paw = ellipsoid(p, (x + step - 1.5, side, 1.6), (3.4, 2.4, 2.0))
            shape = joined(joined(shape, limb(p, leg, np.array([4.0, 2.6, 2.0]), 0.6), 1.5), paw, 0.6)
    tail = limb(p, np.array([[long - 2, 0, 27], [long + 6, 1, 22], [long + 8, 2, 12]]), np.array([2.2, 1.5, 1.0]))
    return (joined(shape, tail, 1.0) + 0.2 * fur(p, 5.0, octaves=2)) * (height / 42.0)


def _seated(points: Floats, base: float, height: float, random: Any) -> Floats:
    """A seated animal on broad haunches, forelegs before it, a neck and a head."""
    p = (points - [0.0, 0.0, base]) * (60.0 / height)
    fur = Noise(int(random.integers(1, 999)))
    broad = random.uniform(12.0, 16.0)
    haunch = joined(ellipsoid(p, (-6, 4, 11), (8.5, broad, 12)), ellipsoid(p, (6, 4, 11), (8.5, broad, 12)), 3.0)
    body = joined(haunch, ellipsoid(p, (0, 0, 27), (8.5, 9.5, 15)), 1.2)
    head = ellipsoid(p, (0, -6, 49), (6.5, 8.0, 6.5))
    body = joined(body, joined(taper(p, (0, -1, 34), (0, -4, 46), 6.5, 4.5), head, 1.5), 2.0)
    for side in (-3.6, 3.6):
        body = joined(body, taper(p, (side, -8, 30), (side * 1.2, -12, 2), 3.0, 2.2), 1.0)
        body = joined(body, ellipsoid(p, (side * 2.6, -6, 2.4), (3.0, 7.0, 2.6)), 0.8)
        body = joined(body, taper(p, (side, -3, 53), (side * 1.6, 0, 62), 2.4, 0.9), 0.8)
    whole = body + 0.25 * fur(p, 5.0, octaves=2)
    return np.maximum(whole, -p[:, 2]) * (height / 60.0)


def _bust(points: Floats, base: float, height: float, random: Any) -> Floats:
    """Head, neck and shoulders that are cut off upright at the sides and level below."""
    p = (points - [0.0, 0.0, base]) * (50.0 / height)
    hair = Noise(int(random.integers(1, 999)))
    head = joined(ellipsoid(p, (0, -1.5, 38), (8.2, 9.4, 11)), ellipsoid(p, (0, -10, 36), (1.6, 2.4, 3.2)), 1.0)
    chest = ellipsoid(p, (0, 2, 4), (21, 10, 15))
    form = joined(joined(head, taper(p, (0, 2, 12), (0, 0, 30), 6.4, 5.2), 1.0), chest, 4.0)
    wide = random.uniform(13.0, 16.0)
    shaped = both(form + 0.3 * hair(p, 6.0, octaves=2), box(p, (0, 0, 30), (wide, 14, 30), 0.6), 0.6)
    return shaped * (height / 50.0)


def _turned(points: Floats, profile: Floats) -> Floats:
    """A turned form: profile (k, 2), radius and height from the axis below back to it above, as a polygon."""
    place = np.stack([np.hypot(points[:, 0], points[:, 1]), points[:, 2]], axis=1)
    start, end = profile, np.roll(profile, -1, axis=0)
    along = end - start
    away = place[:, None] - start
    share = np.clip((away * along).sum(-1) / np.maximum((along**2).sum(-1), 1e-9), 0.0, 1.0)
    off = np.linalg.norm(away - share[..., None] * along, axis=2)
    off[:, np.abs(start[:, 0]) + np.abs(end[:, 0]) < 1e-9] = np.inf  # the axis itself is not a surface
    spans = (start[:, 1] > place[:, 1, None]) != (end[:, 1] > place[:, 1, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        across = start[:, 0] + (place[:, 1, None] - start[:, 1]) * along[:, 0] / along[:, 1]
    inside = (spans & (place[:, 0, None] < across)).sum(axis=1) % 2 == 1
    return np.where(inside, -1.0, 1.0) * off.min(axis=1)


def _teapot(points: Floats, random: Any) -> Floats:
    ring = random.uniform(11.0, 15.0)
    body = joined(ellipsoid(points, (0, 0, 26), (24, 24, 20)), box(points, (0, 0, 47), (4, 4, 4), 3.0), 1.5)
    foot = _turned(points, np.array([[0, 0], [ring, 0], [ring - 0.6, 8.5], [0, 8.5]], float))
    spout = limb(points, np.array([[20, 0, 20], [31, 0, 28], [36, 0, 40]]), np.array([5.0, 3.6, 2.4]))
    grip = limb(points, np.array([[-21, 0, 36], [-35, 0, 36], [-37, 0, 24], [-22, 0, 16]]), np.array([2.4] * 4))
    return joined(joined(body, foot, 0.8), np.minimum(spout, grip), 1.5)


def _goblet(points: Floats, random: Any) -> Floats:
    wide = random.uniform(15.0, 19.0)
    outline = [[0, 0], [wide, 0], [wide, 2.2], [4.0, 5.0], [3.0, 20], [4.2, 24], [13, 30], [17.5, 44], [18, 62], [0, 62]]
    return _turned(points, np.array(outline, float)) + 0.1 * Noise(3)(points, 9.0)


def _drill(points: Floats, random: Any) -> Floats:
    """A hand drill on the foot of its grip."""
    motor = limb(points, np.array([[-17, 0, 58], [16, 0, 58]]), np.array([9.0, 8.0]))
    nose = taper(points, (16, 0, 58), (34, 0, 58), 5.5, 2.2)
    grip = taper(points, (-9, 0, 55), (-4, 0, 16), 6.0, 6.5)
    tipped = rotation(("y", random.uniform(-6.0, 6.0)))
    foot = box(points, (-2, 0, 9.5), (17, 10.5, 8.5), 3.5, tipped)
    return joined(joined(joined(motor, nose, 0.8), grip, 2.5), np.maximum(foot, -points[:, 2]), 1.5)


def _boot(points: Floats, random: Any) -> Floats:
    long = random.uniform(17.0, 21.0)
    shaft = taper(points, (9, 0, 18), (11, 0, 62), 9.0, 8.4)
    foot = joined(ellipsoid(points, (-4, 0, 11), (long, 8.4, 9)), shaft, 4.0)
    sole = np.maximum(np.abs(points[:, 2] - 2.6) - 2.6, ellipsoid(points, (-2, 0, 3), (long + 4.5, 10.0, 40)))
    opening = taper(points, (11, 0, 34), (11.5, 0, 80), 6.4, 6.6)
    return joined(np.maximum(cut(foot, opening, 0.6), 4.0 - points[:, 2]), sole, 0.5)


def _on_rock(points: Floats, random: Any) -> Floats:
    """A person who grows out of a rough rock without a border."""
    rough = Noise(int(random.integers(1, 999)))
    rock = ellipsoid(points, (1, 2, 6), (random.uniform(17, 22), 16, 17)) + 2.2 * rough(points, 15.0, octaves=3)
    person = _person(points, 14.0, 50.0, random, legs=False)
    return np.maximum(joined(person, rock, 7.0), -points[:, 2])


# --- stands ------------------------------------------------------------------------------------------------------------------


def _level(points: Floats, outline: Floats, height: float, rounding: float = 0.6) -> Floats:
    """An upright prism from the ground to `height`; outline: (n,) distance in plan."""
    out = np.stack([outline, np.abs(points[:, 2] - 0.5 * height) - 0.5 * height]) + rounding
    return np.linalg.norm(np.maximum(out, 0), axis=0) + np.minimum(out.max(axis=0), 0) - rounding


def _polygon(points: Floats, sides: int, reach: float, turn: float) -> Floats:
    angle = turn + 2.0 * np.pi * np.arange(sides) / sides
    return np.max([points[:, 0] * np.cos(a) + points[:, 1] * np.sin(a) - reach for a in angle], axis=0)


def _oval(points: Floats, height: float, wide: float, deep: float) -> Floats:
    bevel = 0.35 * np.maximum(points[:, 2] - 0.6 * height, 0.0)
    return _level(points, ellipsoid(points * [1, 1, 0], (0, 0, 0), (wide, deep, 1e3)) + bevel, height)


def _mound(points: Floats, height: float, wide: float, deep: float, seed: int) -> Floats:
    """Rough ground with straight sides, its top uneven."""
    rough = Noise(seed)
    top = points[:, 2] - height - 1.1 * rough(points * [1, 1, 0], 13.0, octaves=3)
    sides = box(points, (0, 0, 0), (wide, deep, 60), 1.5) + 0.5 * rough(points + 40.0, 6.0, octaves=2)
    return np.maximum(np.maximum(top, sides) * 0.8, -points[:, 2])


def _boulder(points: Floats, height: float, wide: float, seed: int) -> Floats:
    rough = Noise(seed)
    shape = ellipsoid(points, (0, 0, 0.2 * height), (wide, 0.8 * wide, 0.9 * height)) + 1.8 * rough(points, 16.0, octaves=4)
    return np.maximum(shape, -points[:, 2])


def _moulded(points: Floats, half: float, height: float) -> Floats:
    """A square plinth with a foot and a cornice."""
    body = box(points, (0, 0, 0.5 * height), (half, half, 0.5 * height), 0.5)
    foot = box(points, (0, 0, 0.11 * height), (half + 3.5, half + 3.5, 0.11 * height), 0.5)
    rim = box(points, (0, 0, 0.92 * height), (half + 2.2, half + 2.2, 0.08 * height), 0.5)
    return joined(joined(body, foot, 0.8), rim, 0.8)


def _socle(points: Floats, height: float) -> Floats:
    outline = [[0, 0], [13, 0], [13, 3], [10, 4.5], [6, 8], [5.4, 12], [8, 15], [9.5, 16], [9.5, height], [0, height]]
    return _turned(points, np.array(outline, float))


# --- all of them -------------------------------------------------------------------------------------------------------------

Maker = Callable[[Any], tuple[Field, Field | None, Any, float]]
"""A random generator to piece, stand, the stand's paint (None: as the piece) and the fillet between them in mm."""


def _alone(form: Callable[[Floats, Any], Floats]) -> Maker:
    def make(random: Any) -> tuple[Field, Field | None, Any, float]:
        seed = int(random.integers(1, 10_000))
        return lambda p: form(p, np.random.default_rng(seed)), None, None, 0.5

    return make


def _on(
    stand: Callable[[Floats, Any], Floats], piece: Callable[[Floats, Any], Floats], paint: Any = None, fillet: float = 0.5
) -> Maker:
    def make(random: Any) -> tuple[Field, Field | None, Any, float]:
        first, second = (int(random.integers(1, 10_000)) for _ in range(2))
        return (
            lambda p: piece(p, np.random.default_rng(first)), lambda p: stand(p, np.random.default_rng(second)), paint, fillet,
        )  # fmt: skip

    return make


KINDS: dict[str, Maker] = {
    "haunches": _alone(lambda p, r: _seated(p, 0.0, 70.0, r)),
    "skirt": _alone(lambda p, r: _person(p, 0.0, 80.0, r, legs=False)),
    "paws": _alone(lambda p, r: _animal(p, 0.0, 52.0, r)),
    "shoes": _alone(lambda p, r: _person(p, 0.0, 80.0, r, legs=True)),
    "own_rock": _alone(_on_rock),
    "drill": _alone(_drill),
    "teapot": _alone(_teapot),
    "goblet": _alone(_goblet),
    "boot": _alone(_boot),
    "cut_bust": _alone(lambda p, r: _bust(p, 0.0, 70.0, r)),
    "slab": _on(
        lambda p, r: box(p, (0, 0, 3.5), (r.uniform(26, 34), r.uniform(13, 18), 3.5), 0.6),
        lambda p, r: _animal(p, 6.6, 48.0, r),
    ),
    "disc": _on(
        lambda p, r: _level(p, np.hypot(p[:, 0], p[:, 1]) - r.uniform(15, 22), 6.0),
        lambda p, r: _person(p, 5.6, 70.0, r, legs=True),
    ),
    "moulded": _on(lambda p, r: _moulded(p, r.uniform(12, 15), 20.0), lambda p, r: _person(p, 19.6, 62.0, r, legs=True), OAK),
    "flush": _on(
        lambda p, r: box(p, (0, 0, 7.0), (r.uniform(10.5, 12.5), r.uniform(9.5, 11.0), 7.0), 0.5),
        lambda p, r: both(_person(p, 13.6, 66.0, r, legs=False), box(p, (0, 0, 60), (14, 12, 60)), 0.3),
    ),
    "hexagon": _on(
        lambda p, r: _level(p, _polygon(p, 6, r.uniform(15, 19), 0.3), 7.0), lambda p, r: _seated(p, 6.7, 60.0, r), STONE
    ),
    "oval": _on(lambda p, r: _oval(p, 7.0, r.uniform(24, 32), r.uniform(15, 19)), lambda p, r: _animal(p, 6.6, 50.0, r)),
    "ground": _on(
        lambda p, r: _mound(p, 5.0, r.uniform(24, 30), r.uniform(12, 16), 51), lambda p, r: _animal(p, 5.0, 50.0, r), None, 0.8
    ),
    "steps": _on(
        lambda p, r: joined(box(p, (0, 0, 3), (22, 20, 3), 0.5), box(p, (0, 0, 8), (16, 14, 3), 0.5), 0.5),
        lambda p, r: _person(p, 10.6, 62.0, r, legs=True),
        TERRAZZO,
    ),
    "boulder": _on(lambda p, r: _boulder(p, 16.0, r.uniform(20, 25), 63), lambda p, r: _seated(p, 12.0, 52.0, r), STONE, 0.8),
    "socle": _on(lambda p, r: _socle(p, 18.0), lambda p, r: _bust(p, 17.6, 55.0, r)),
}


def footing(kind: str, seed: int) -> Subject:
    """The piece of a kind and seed, with its stand where it has one. Raises KeyError for a kind not in KINDS."""
    random = np.random.default_rng([seed, *kind.encode()])
    piece, stand, paint, fillet = KINDS[kind](random)

    def colour(points: Floats) -> Floats:
        own = np.broadcast_to(np.asarray(CLAY, float), (len(points), 3)).copy()
        if stand is None or paint is None:
            return own
        return np.where((piece(points) < stand(points))[:, None], own, paint(points))

    return Subject(kind, piece, stand, colour, fillet)
