"""Where do props go so that a picture gains by them? Beside and behind the subject as the lens sees it, never before it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import Floats
from ..mesh.blue_noise import Thrower
from ..mesh.triangles import unit
from ..shots.framing import project
from ..shots.sight import ShotView, convex_outline, in_sight, outside_distance
from .tangency import softness, tangency

TRIES = 300
"""Places tried for a prop."""

ENOUGH = 32
"""Possible places after which the best of them is taken."""

TOUCHES = 0.5
"""Tangency from which a thing is left out of a shot other than the hero, when no place was free of it."""

SHOWS = 0.05
"""Share of a thing that may show before the subject's feet in a shot other than the hero."""

SCRAP, UNSHARP = 0.25, 0.02
"""Share of a thing that reads as a mere scrap, and radius of blur, in half widths of the frame, from which it is no shape."""

LEVEL = 2.5
"""Rise of the ground under a prop that does not yet look as if it hung in the air there, mm."""

HIGHEST, LARGEST = 0.75, 0.55
"""Height and area that a prop may have in the picture over those of the subject's outline: the piece holds the eye."""

APART = 3.0
"""Least distance between two props, mm."""


@dataclass(frozen=True)
class Thing:
    """A prop to place: its name, points spread over it (n, 3) mm with the rest at z = 0, whether it stands tall."""

    name: str
    points: Floats
    tall: bool


@dataclass(frozen=True)
class Spot:
    """Where a prop goes: (2,) place of its origin, turn about the vertical (radians), and the shots that it is left out of."""

    place: Floats
    turn: float
    hidden_in: tuple[str, ...]


@dataclass(frozen=True)
class Bench:
    """The table that props are laid on, and the subject's foot on it.

    outside : distance of places (n, 2) from the subject's foot, mm. reach : radius of the foot, mm.
    half : (2,) half of the table's width and depth, mm.
    heights : the ground's height at places (n, 2), mm; with it a thing lies rather on the level than over an edge.
    keep_off : least distance from the subject's foot, mm.
    """

    outside: Callable[[Floats], Floats]
    reach: float
    half: Floats
    heights: Callable[[Floats], Floats] | None = None
    keep_off: float = 8.0


def compose(things: Sequence[Thing], views: Sequence[ShotView], bench: Bench, *, seed: int) -> list[Spot | None]:
    """Places for props, for the hero (the first view where there is none) above all.

    Returns
    -------
    A spot a thing, or None where there was none. In that view no prop comes before or behind the subject's outline, and
    all stay out of the sight lines; a prop in the way of another shot, or whose outline just touches the subject's there, names
    it. Tall things go to the back on one side; flat ones lie beside the subject, more or less along each other, some of them
    cut by the frame's edge.
    """
    rng = np.random.default_rng([seed, 601])
    views = sorted(views, key=lambda view: (view.kind != "hero", view.kind == "turntable"))  # stable: the hero leads
    lead = views[0] if views else None
    ahead = unit(-lead.position[:2]) if lead is not None and np.linalg.norm(lead.position[:2]) > 1.0 else np.array([0.0, 1.0])
    right = np.array([ahead[1], -ahead[0]])
    hand = rng.choice([-1.0, 1.0])
    lie = rng.uniform(0.25, 0.9) * rng.choice([-1.0, 1.0])
    spots: list[Spot | None] = []
    placed: list[Floats] = []
    free = True  # the first tall thing chooses the side for all
    for number, thing in enumerate(things):
        usual = hand if thing.tall or number % 3 == 2 else -hand
        good: list[tuple[float, Floats, float, Floats]] = []
        for attempt in range(TRIES):
            loose = 0.6 + attempt / TRIES
            side = -usual if free and thing.tall and attempt % 2 else usual
            if thing.tall:
                centre = ahead * (bench.reach + rng.uniform(45, 135)) + right * side * (
                    0.55 * bench.reach + 62 * loose * rng.uniform(0.3, 1.3)
                )
            else:
                centre = ahead * rng.uniform(-28, 75) * loose + right * side * (bench.reach + rng.uniform(16, 82) * loose)
            turn = np.arctan2(ahead[1], ahead[0]) + side * lie + rng.normal(0, 0.28) + (np.pi if rng.random() < 0.3 else 0.0)
            points = _turned(thing.points, turn) + [*centre, 0.0]
            if not _allowed(points, placed, bench):
                continue
            score = _score(points, lead)
            if not np.isfinite(score):
                continue
            score += 0.0 if bench.heights is None else 0.1 * max(0.0, _rise(bench.heights(points[:, :2])) - LEVEL)
            good.append((score + rng.uniform(0, 0.15), centre, float(turn), points))
            if len(good) >= ENOUGH:
                break
        if not good:
            spots.append(None)
            continue
        good.sort(key=lambda one: one[0])
        few = []
        for one in good:
            way = _in_way(one[3], views[1:])
            left = [view for view in views[1:] if view.name not in way]
            behind = max((_behind(one[3], view) for view in left), default=0.0)
            touch = {view.name: tangency(one[3], view) for view in left}
            cost = one[0] + 0.4 * len(way) / max(len(views), 1) + behind + 1.2 * max(touch.values(), default=0.0)
            few.append((cost, one, (*way, *(name for name, value in touch.items() if value > TOUCHES))))
        _, best, way = min(few, key=lambda one: one[0])
        placed.append(best[3])
        if thing.tall and free:
            hand, free = float(np.sign(best[1] @ right)) or hand, False
        spots.append(Spot(best[1], best[2], way))
    return spots


def spread_points(vertices: Floats, faces: np.ndarray, *, seed: int = 1, count: int = 240) -> Floats:
    """Points over a mesh by area, with its outermost ones in 24 directions, (n, 3)."""
    points = Thrower(vertices, faces).throw(count, np.random.default_rng(seed))[0]
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    ways = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    far = np.argmax(np.asarray(vertices) @ ways.T, axis=0)
    top = int(np.argmax(np.asarray(vertices)[:, 2]))
    return np.concatenate([points, np.asarray(vertices, float)[np.unique([*far, top])]])


def _turned(points: Floats, turn: float) -> Floats:
    c, s = np.cos(turn), np.sin(turn)
    return points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def _rise(ground: Floats) -> float:
    """How much the ground rises under a thing; what lies beyond the table counts as far below."""
    known = np.isfinite(ground)
    return float(np.ptp(ground[known])) if known.all() else 100.0


def _allowed(points: Floats, placed: Sequence[Floats], bench: Bench) -> bool:
    """On the table, clear of the subject's foot and of other props."""
    if (np.abs(points[:, :2]) > bench.half - 6.0).any() or bench.outside(points[:, :2]).min() < bench.keep_off:
        return False
    least, low, high = APART + 2.0, points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    for other in placed:
        near = other[((other[:, :2] > low - least) & (other[:, :2] < high + least)).all(axis=1)]
        x, y = (points[:, k, None] - near[:, k] for k in (0, 1))
        if (x * x + y * y).min(initial=np.inf) < least**2:
            return False
    return True


def _score(points: Floats, view: ShotView | None) -> float:
    """How badly a prop sits in the picture; infinite where it may not be."""
    if view is None:
        return 0.0
    slopes, depth = project(points, view.position, view.rotation)
    if (depth <= 0).any() or in_sight(points, view, radius_mm=1.0).any():
        return np.inf
    frame = slopes / np.array(view.half_slopes)
    if len(view.outline):
        clear = outside_distance(slopes, view.outline) / view.half_slopes[0]
        if clear.min() < 0.05:
            return np.inf
        if len(view.outline) >= 3 and _outgrows(slopes, view.outline):
            return np.inf
    seen = (np.abs(frame) < 1.0).all(axis=1).mean()
    if seen < 0.12:
        return 3.0 - seen
    low = np.clip(-0.55 - frame[:, 1].min(), 0.0, None)  # a prop along the lower edge weighs the picture down
    return abs(seen - 0.72) + 0.8 * float(low)


def _outgrows(slopes: Floats, outline: Floats) -> bool:
    """Whether a prop's points (n, 2) stand nearly as high in the picture as the subject's outline (m, 2), or fill as much."""
    size, own = np.ptp(slopes, axis=0), np.ptp(outline, axis=0)
    if size[1] > HIGHEST * own[1] or slopes[:, 1].max() > outline[:, 1].min() + HIGHEST * own[1]:
        return True
    return hull_area(slopes) > LARGEST * hull_area(outline)


def hull_area(points: Floats) -> float:
    """Area of the convex outline of points (n, 2), by the shoelace formula."""
    ring = convex_outline(points)
    x, y = ring.T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def _in_way(points: Floats, views: Sequence[ShotView]) -> tuple[str, ...]:
    """The shots whose sight lines the points cut, or in which they lie unsharp before the subject or at the frame's edge."""
    found = [
        view.name
        for view in views
        if in_sight(points, view, radius_mm=1.0).any() or before_feet(points, view) > SHOWS or scrap_at_edge(points, view)
    ]
    return tuple(dict.fromkeys(found))


def _behind(points: Floats, view: ShotView) -> float:
    """The share of a thing's points that the subject's outline meets in a shot, 0 to 1: it would seem to grow out of it."""
    if len(view.outline) < 3:
        return 0.0
    slopes, depth = project(points, view.position, view.rotation)
    return float(((depth > 0) & (outside_distance(slopes, view.outline) <= 0.0)).mean())


def scrap_at_edge(points: Floats, view: ShotView) -> bool:
    """Whether a shot shows a blurred scrap of a thing (n, 3) at its edge: less than half of what lies nearer than the subject,
    less than a quarter of what lies behind and is out of focus.
    """
    slopes, depth = project(points, view.position, view.rotation)
    framed = (np.abs(slopes) < np.array(view.half_slopes)).all(axis=1) & (depth > 0)
    share = framed.mean()
    if not 0.0 < share < 0.5:
        return False
    if (depth < view.subject_near_mm).all():
        return True
    return bool(share < SCRAP and softness(depth[framed], view) > UNSHARP)


def stands_behind(points: Floats, view: ShotView) -> bool:
    """Whether a thing (n, 3) far behind the subject meets its outline in a shot, as far as its blur reaches.

    A vase that seems to stand on a head is what a photographer moves first (common practice).
    """
    if len(view.outline) < 3:
        return False
    slopes, depth = project(points, view.position, view.rotation)
    seen = depth > max(view.subject_far_mm, 0.0)
    if not seen.any():
        return False
    reach = softness(depth[seen], view) * view.half_slopes[0]
    return bool((outside_distance(slopes[seen], view.outline) <= reach).any())


def before_feet(points: Floats, view: ShotView) -> float:
    """The share of a thing's points that a shot shows in front of the subject, over the width of its outline, 0 to 1.

    What a photographer clears away: it hides nothing, but stands larger than life where the eye enters the picture.
    """
    if len(view.outline) < 3:
        return 0.0
    slopes, depth = project(points, view.position, view.rotation)
    framed = (np.abs(slopes) < np.array(view.half_slopes)).all(axis=1)
    low, high = view.outline[:, 0].min(), view.outline[:, 0].max()
    nearer = (depth > 0) & (depth < view.subject_near_mm)
    return float((nearer & framed & (slopes[:, 0] > low) & (slopes[:, 0] < high)).mean())
