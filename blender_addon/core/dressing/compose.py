"""Where are props placed so that they improve the picture? Beside and behind the subject as the lens sees it, never before
it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..arrays import Floats, Ints
from ..mesh.blue_noise import Thrower
from ..mesh.triangles import unit
from ..records import record
from ..shots.framing import project
from ..shots.sight import ShotView
from .in_the_way import in_way, share_behind
from .presence import STRANGE, Frame
from .tangency import tangency
from .zones import COUNT, USUAL, Zones

TRIES = 1200
"""Most places tried for a prop; most of them need no more than a look at the prop's outermost points."""

AGAIN = 6
"""How often the things that the user named are laid, where one of them finds no place beside the others."""

ENOUGH = 64
"""Possible places after which the best of them is taken."""

TOUCHES = 0.5
"""Tangency above which a prop is hidden in a shot other than the hero, when no better place was found."""

HIDDEN, PEEKS = 7.0, 0.08
"""Penalty for a prop of which more than that share is behind the subject in a shot other than the hero: larger than for any
place in the hero."""

LEVEL = 2.5
"""Largest rise of the ground under a prop, mm, at which it does not yet seem to float."""

ALONE = 0.38
"""Largest share that a prop alone has of what all may cover together. Where one is a third of the props of each of two pictures
and lies in the same place, they share a fifth of all: 1 / (3 + 3 - 1)."""

SPARING = 6.0
"""Penalty for the share of the frame that a prop covers, so that others have room beside it. By eye."""

WHOLE_FIRST = (1, 0)
"""Turns through the things where the usual one leaves nothing whole in the picture: in the first none may be cut."""

ANYWHERE = ((-28.0, 75.0), (16.0, 82.0))
"""Where else flat things may lie, how far behind the subject's middle and beside its foot (mm)."""

USUAL_MM = 500.0
"""Distance of the camera at which these lengths apply; for a large piece, seen from farther away, they are wider."""

APART = 3.0
"""Least distance between two props, mm."""

JOINED, SEEMS_JOINED = 0.04, 4.0
"""Gap in the leading view, in half widths of the frame, under which two low things look like one odd thing, and the largest
penalty for that. By eye. Of five things in each of 48 heroes two lay one over the other in 17 without it, in 4 with it (what
else speaks for a place may weigh more)."""

TOO_LONG, LONG = 1.5, 0.6
"""Length of a thing, in widths of the frame at the subject, from which only one end of it can lie in the picture, and from
which that is tried beside places where it is whole. By eye."""

END, OUTWARD = 0.4, (0.6, 2.1)
"""Length of an end that usually shows of such a thing, in widths of the frame; and between which angles from the line of sight
(radians) it leaves the picture, so that it leads to the piece. By eye."""


LIE, LIE_STEP, SCATTER = (0.25, 1.35), 5, 0.15
"""Between which angles from the line of sight (radians) the things of a picture lie, more or less along each other; by how many
thirteenths of that from piece to piece, so that neighbours in a series lie across each other; and the scatter in a picture.
By eye."""


@record
class Thing:
    """A prop to place: its name, points spread over it (n, 3) mm with the rest at z = 0, whether it is tall."""

    name: str
    points: Floats
    tall: bool


@record
class Spot:
    """Where a prop goes: (2,) place of its origin, turn about the vertical (radians), and the shots that it is left out of."""

    place: Floats
    turn: float
    hidden_in: tuple[str, ...]


@record
class Bench:
    """The table that props are laid on, and the subject's foot on it.

    outside : distance of places (n, 2) from the subject's foot, mm. reach : radius of the foot, mm.
    half : (2,) half of the table's width and depth, mm. back : where it ends behind the subject, where that is less, mm.
    heights : the ground's height at places (n, 2), mm; with it a thing lies rather on the level than over an edge.
    keep_off : least distance from the subject's foot, mm.
    """

    outside: Callable[[Floats], Floats]
    reach: float
    half: Floats
    heights: Callable[[Floats], Floats] | None = None
    keep_off: float = 8.0
    back: float = np.inf


def compose(
    things: Sequence[Thing],
    views: Sequence[ShotView],
    bench: Bench,
    *,
    seed: int,
    most: float = np.inf,
    wanted: int | None = None,
) -> list[Spot | None]:
    """Places for props, for the hero (the first view where there is none) above all; most: of its frame, as a share, that they
    cover together, what would exceed that is left out; wanted: how many of them are to be placed, the rest is in reserve for
    those that have no place.

    Returns
    -------
    A spot for each prop, or None where there was none. In that view no prop comes before or behind the subject's outline, and
    all stay out of the sight lines; a prop in the way of another shot, or whose outline just touches the subject's there, names
    it. Tall things go to the back on one side; flat ones lie beside the subject, more or less along each other. All of them are
    whole in that view but one beside them, which its edge may plainly cut; `most` is finite for props that were drawn, which
    are left out where that can't be.
    """
    views = sorted(views, key=lambda view: (view.kind != "hero", view.kind == "turntable"))  # stable: the hero first
    lead = views[0] if views else None
    zones = None if lead is None or len(lead.outline) < 3 else Zones.of(lead, seed)
    count = len(things) if wanted is None else wanted

    def attempt(strange: float, again: int = 0, rounds: Sequence[int] = (0,)) -> list[tuple[Spot, _Possible] | None]:
        stance = _Stance.of(Frame(lead, zones, ALONE * most, strange), bench, seed, again)
        return _laid(things, views, stance, seed=seed, most=most, wanted=count, rounds=rounds)

    if np.isfinite(most):
        for strange, rounds in ((STRANGE, (0,)), (STRANGE, WHOLE_FIRST), (1.0, (0,)), (1.0, WHOLE_FIRST)):
            laid = attempt(strange, rounds=rounds)
            if any(place is not None and not place[1].cut for place in laid):
                return _spots(laid)
        return [None] * len(things)  # beside nothing that is whole a cut looks like a mistake
    best = attempt(1.0)
    for again in range(1, AGAIN):
        if None not in best:
            break
        best = min(best, attempt(1.0, again), key=lambda laid: laid.count(None))
    return _spots(best)


def _spots(laid: Sequence[tuple[Spot, _Possible] | None]) -> list[Spot | None]:
    return [None if place is None else place[0] for place in laid]


def _laid(
    things: Sequence[Thing],
    views: Sequence[ShotView],
    stance: _Stance,
    *,
    seed: int,
    most: float,
    wanted: int,
    rounds: Sequence[int],
) -> list[tuple[Spot, _Possible] | None]:
    """For each thing its spot and place, or None; rounds: how many things count as cut already in each turn through them, in
    which what has no place yet is laid; the other arguments are those of `compose`, the leading view is the first."""
    hand = 1.0 if seed % 2 else -1.0  # neighbours in a series are composed differently
    laid: list[tuple[Spot, _Possible] | None] = [None] * len(things)
    placed: list[Floats] = []
    low: list[Floats] = []
    covered, zones = 0.0, stance.frame.zones
    owned = zones.dealt([thing.tall for thing in things[:wanted]]) if zones else []
    for cuts, number in ((cuts, number) for cuts in rounds for number in range(len(things))):
        if len(placed) >= wanted or laid[number] is not None:
            continue
        zone = owned[number] if number < len(owned) else None
        cuts += sum(place is not None and place[1].cut for place in laid)
        thing, side = things[number], -hand if number % 2 else hand
        good = _good_places(thing, zone, stance, placed, [] if thing.tall else low, hand=side, cuts=cuts)
        best, way = _best_for_all(good, views) if good else (None, ())
        if best is None or covered + best.covers > most:
            owned += [zone] if zone is not None else []  # left to what is in reserve
            continue
        covered += best.covers
        placed.append(best.points)
        if not thing.tall:
            low.append(best.points)
        laid[number] = (Spot(best.centre, best.turn, way), best)
    return laid


@record
class _Stance:
    """How a picture is composed: what the leading view shows, the table, level unit vectors (2,) ahead and to the right, how
    far things lie apart beside what is usual, how they are turned, chance."""

    frame: Frame
    bench: Bench
    ahead: Floats
    right: Floats
    room: float
    lie: float
    rng: np.random.Generator

    @property
    def frame_mm(self) -> float:
        """Width of the frame at the subject, mm; infinite without a view."""
        return np.inf if self.frame.view is None else self.frame.view.frame_mm

    @classmethod
    def of(cls, frame: Frame, bench: Bench, seed: int, again: int = 0) -> _Stance:
        lead, rng = frame.view, np.random.default_rng([seed, 601 + again])
        far = lead is not None and np.linalg.norm(lead.position[:2]) > 1.0
        ahead = unit(-lead.position[:2]) if lead is not None and far else np.array([0.0, 1.0])
        room = float(np.clip(lead.focus_mm / USUAL_MM, 0.2, 2.2)) if lead is not None else 1.0
        lie = float(LIE[0] + (LIE[1] - LIE[0]) * (LIE_STEP * seed % COUNT) / (COUNT - 1)) * (1.0 if seed % 4 < 2 else -1.0)
        return cls(frame, bench, ahead, np.array([ahead[1], -ahead[0]]), room, lie, rng)


@record
class _Possible:
    """A place where a prop may lie: its penalty there, the share of the frame that it covers, whether the frame cuts it, its
    origin (2,), its turn, its points."""

    score: float
    covers: float
    cut: bool
    centre: Floats
    turn: float
    points: Floats


def _good_places(
    thing: Thing, zone: int | None, stance: _Stance, placed: Sequence[Floats], low: Sequence[Floats], *, hand: float, cuts: int
) -> list[_Possible]:
    """Places for a thing, the best first; zone: its number, where the piece has one left for it; placed: the things that lie
    already; low: those that it should not seem joined to; hand: its usual side; cuts: how many the frame cuts already."""
    rng, bench, right = stance.rng, stance.bench, stance.right
    good: list[_Possible] = []
    level = False
    axis, reach = _length(thing.points)
    outermost = thing.points[-OUTERMOST:]
    for attempt in range(TRIES):
        spot = _in_zone(stance, zone, whole=attempt % 8 == 1) if attempt % 4 else None
        if spot is None:
            side = -hand if thing.tall and attempt % 8 else hand
            spot = _anywhere(stance, thing.tall, side, 0.6 + attempt / TRIES)
        else:
            side = float(np.sign(spot @ right)) or hand
        if reach > TOO_LONG * stance.frame_mm or (cuts == 0 and attempt % 2 and reach > LONG * stance.frame_mm):
            centre, turn = _end_first(thing.points, axis, spot, stance, side)
        else:
            lie = stance.lie if attempt % 3 else rng.uniform(-LIE[1], LIE[1])  # where it would not be whole as the others lie
            centre, turn = spot, np.arctan2(stance.ahead[1], stance.ahead[0]) + side * lie + rng.normal(0, SCATTER)
            turn += np.pi if rng.random() < 0.3 else 0.0
        if (
            (cuts or attempt % 4 == 0)
            and stance.frame.drawn
            and not stance.frame.whole(_turned(outermost, turn) + [*centre, 0.0])
        ):
            continue
        points = _turned(thing.points, turn) + [*centre, 0.0]
        found = stance.frame.judged(points, cuts)
        if not np.isfinite(found.penalty) or not _allowed(points, placed, bench):
            continue
        steep = 0.0 if bench.heights is None else max(0.0, _rise(bench.heights(points[:, :2])) - LEVEL)
        level |= steep == 0.0
        score = found.penalty + 0.1 * steep + rng.uniform(0, 0.15) + SEEMS_JOINED * _joined(points, low, stance.frame.view)
        good.append(_Possible(score, found.covers, found.cut, centre, float(turn), points))
        if len(good) >= ENOUGH and level:
            break
    return sorted(good, key=lambda arrangement: arrangement.score)


def _joined(points: Floats, low: Sequence[Floats], view: ShotView | None) -> float:
    """0 to 1: how nearly a thing's points (n, 3) mm meet those of others in a view, where they look like one thing."""
    if view is None or not low:
        return 0.0
    own, *others = (project(each, view.position, view.rotation)[0] / view.half_slopes[0] for each in (points, *low))
    gaps = [np.hypot(*(own[:, k, None] - other[:, k] for k in (0, 1))).min() for other in others]
    return float(np.clip(1.0 - min(gaps) / JOINED, 0.0, 1.0))


def _length(points: Floats) -> tuple[Floats, float]:
    """(2,) the level direction in which points (n, 3) reach farthest, and how far, mm."""
    level = points[:, :2] - points[:, :2].mean(axis=0)
    axis = np.linalg.eigh(level.T @ level)[1][:, 1]
    return axis, float(np.ptp(level @ axis))


def _end_first(points: Floats, axis: Floats, spot: Floats, stance: _Stance, side: float) -> tuple[Floats, float]:
    """Origin (2,) and turn of a long thing of which one end lies at a spot while the rest leaves the picture at a side."""
    rng = stance.rng
    end = axis * rng.choice([-1.0, 1.0])
    tip = points[int(np.argmax(points[:, :2] @ end)), :2]
    angle = rng.uniform(*OUTWARD)
    outward = np.cos(angle) * stance.ahead + np.sin(angle) * side * stance.right
    turn = float(np.arctan2(outward[1], outward[0]) - np.arctan2(-end[1], -end[0]))
    return spot - _turned(np.array([[*tip, 0.0]]), turn)[0, :2], turn


def _anywhere(stance: _Stance, tall: bool, side: float, loose: float) -> Floats:
    """(2,) a place beside the subject, tall things behind it; loose: how far out they are tried."""
    rng, reach = stance.rng, stance.bench.reach
    if tall:
        aside = 0.55 * reach + 62 * stance.room * loose * rng.uniform(0.3, 1.3)
        return stance.ahead * (reach + stance.room * rng.uniform(45, 135)) + stance.right * side * aside
    deep, wide = ANYWHERE
    aside = reach + stance.room * rng.uniform(*wide) * loose
    return stance.ahead * stance.room * rng.uniform(*deep) * loose + stance.right * side * aside


def _best_for_all(good: Sequence[_Possible], views: Sequence[ShotView]) -> tuple[_Possible, tuple[str, ...]]:
    """Of places that suit the first view the one that suits the others best, and the views that the thing is left out of
    there."""
    few = []
    for arrangement in good:
        way = in_way(arrangement.points, views[1:])
        left = [view for view in views[1:] if view.name not in way]
        behind = max((share_behind(arrangement.points, view) for view in left), default=0.0)
        touch: dict[str, float] = {}
        for view in left:
            touch[view.name] = max(touch.get(view.name, 0.0), tangency(arrangement.points, view))
        touches = max(touch.values(), default=0.0)
        cost = arrangement.score + SPARING * arrangement.covers + HIDDEN * (behind > PEEKS) + 1.2 * touches
        cost += 0.4 * len(way) / max(len(views), 1)
        few.append((cost, arrangement, (*way, *(name for name, value in touch.items() if value > TOUCHES))))
    _, best, way = min(few, key=lambda entry: entry[0])
    return best, way


def _in_zone(stance: _Stance, zone: int | None, *, whole: bool) -> Floats | None:
    """(2,) a place on the table, mm, that the leading view shows in the piece's quarter of a zone, or in the whole of it.

    Half the time it is in any zone where what was drawn may lie in those of others. None where the view sees no table there, or
    without a zone.
    """
    view = stance.frame.view
    if view is None or zone is None or stance.frame.zones is None:
        return None
    if stance.frame.drawn and stance.frame.strange >= 1.0 and stance.rng.random() < 0.5:
        zone, whole = int(stance.rng.choice(USUAL)), True
    at = stance.frame.zones.place(zone, stance.rng, whole=whole)
    ahead = view.axis + view.rotation[:, :2] @ (at * view.half_slopes)
    if ahead[2] > -1e-3:
        return None
    return (view.position - view.position[2] / ahead[2] * ahead)[:2]


OUTERMOST = 25
"""How many of the points that stand for a prop are its outermost ones in even directions, and its highest: the last."""


def spread_points(vertices: Floats, faces: Ints, *, seed: int = 1, count: int = 240) -> Floats:
    """Points over a mesh by area, and then its outermost ones, (n, 3).

    vertices: (n, 3). faces: (m, 3). count: of the points inside.
    """
    points = Thrower(vertices, faces).throw(count, np.random.default_rng(seed))[0]
    angle = np.linspace(0, 2 * np.pi, OUTERMOST - 1, endpoint=False)
    ways = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    far = np.argmax(np.asarray(vertices) @ ways.T, axis=0)
    top = int(np.argmax(np.asarray(vertices)[:, 2]))
    return np.concatenate([points, np.asarray(vertices, float)[[*far, top]]])


def _turned(points: Floats, turn: float) -> Floats:
    c, s = np.cos(turn), np.sin(turn)
    return points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def _rise(ground: Floats) -> float:
    """How much the ground rises under a prop, mm; beyond the table it counts as far below."""
    known = np.isfinite(ground)
    return float(np.ptp(ground[known])) if known.all() else 100.0


def _allowed(points: Floats, placed: Sequence[Floats], bench: Bench) -> bool:
    """On the table, clear of the subject's foot and of other props."""
    if points[:, 1].max() > bench.back - 6.0:
        return False
    if (np.abs(points[:, :2]) > bench.half - 6.0).any() or bench.outside(points[:, :2]).min() < bench.keep_off:
        return False
    least, low, high = APART + 2.0, points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    for other in placed:
        near = other[((other[:, :2] > low - least) & (other[:, :2] < high + least)).all(axis=1)]
        x, y = (points[:, k, None] - near[:, k] for k in (0, 1))
        if (x * x + y * y).min(initial=np.inf) < least**2:
            return False
    return True
