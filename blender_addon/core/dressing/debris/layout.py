"""Where do the pieces lie, and how do they rest? Large ones first, each size kept clear of all before it.

The amounts follow what a bench shows: few large pieces, many small ones, in drifts near the work and round the larger pieces.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.blue_noise import Thrower, accepted
from ...mesh.triangles import face_normals, unit
from ...noise import layered, smoothstep
from ...records import record
from .pieces import Piece

KeepOut = Callable[[Floats, Floats, Floats], Bools]
"""Takes places (n, 3), disc radii (n,), heights (n,) and says which may not lie there, (n,) bool."""

Heights = Callable[[Floats], Floats]
"""Takes places (n, 2) and gives the surface's height there, nan where there is none."""


@record
class Share:
    """One class in a mix: its share of the count, and the sizes as factors on the library's pieces (least, usual, most)."""

    kind: str
    share: float
    least: float
    usual: float
    most: float


MIXES: dict[str, tuple[Share, ...]] = {
    "clay": (
        Share("shaving", 0.020, 0.45, 0.75, 1.15), Share("roll", 0.010, 0.5, 0.8, 1.1),
        Share("offcut", 0.045, 0.35, 0.62, 1.25),
        Share("crumb", 0.925, 0.35, 0.62, 2.2),
    ),
    "wood": (Share("shaving", 0.05, 0.5, 0.8, 1.2), Share("offcut", 0.09, 0.4, 0.8, 1.3), Share("crumb", 0.86, 0.3, 0.7, 1.6)),
    "stone": (Share("offcut", 0.07, 0.3, 0.7, 1.5), Share("crumb", 0.93, 0.3, 0.6, 2.2)),
}  # fmt: skip
"""What a body breaks into. Shares are judged by eye against photographs of work benches."""


@record
class Layout:
    """Pieces where they lie: (n, 3) origin of each on the surface, (n,) piece, (n, 3, 3) turn, (n,) size, (n,) tint 0-1."""

    places: Floats
    piece: Ints
    turns: Floats
    sizes: Floats
    tints: Floats

    def __len__(self) -> int:
        return len(self.places)


Density = Callable[[Floats], Floats]
"""Takes points (n, 3) and gives how densely pieces may lie there, 0 to 1, (n,)."""


def work_density(
    outline: Callable[[Floats], Floats], *, falloff: float, drift: float, seed: int, mask: Density | None = None
) -> Density:
    """How densely pieces lie: falling with the distance from the work, gathered in drifts, times a painted mask.

    outline: distance of places (n, 2) from the subject, mm. falloff: distance in which the density falls to 1/e, mm.
    drift: 0 even to 1 strongly gathered.
    """
    rng = np.random.default_rng([seed, 55])
    turned = rng.uniform(0, 2 * np.pi)
    sides = turned + np.array([0.0, rng.choice([-1.0, 1.0]) * rng.uniform(1.4, 2.6)])

    def density(points: Floats) -> Floats:
        far = np.maximum(outline(points[:, :2]), 0.0)
        found = np.zeros(len(points))
        near = np.flatnonzero(np.exp(-far / (FARTHEST * falloff)) > THINNEST)
        x, y, far = points[near, 0], points[near, 1], far[near]
        angle = np.arctan2(y, x)
        falls = np.exp(SPREAD * (np.cos(angle[:, None] - sides) - 1.0)) @ SHARES
        ragged = layered(1.1 * np.cos(angle), 1.1 * np.sin(angle), seed=seed + 7, octaves=2)
        reach = falloff * np.clip(0.45 + 0.75 * falls + 0.25 * ragged, 0.25, FARTHEST)
        swept = smoothstep(0.0, 1.0, far / (falloff * np.clip(0.3 + 0.5 * ragged, 0.02, 1.0)))  # by the hand that works there
        cloud = layered(x / (0.55 * falloff), y / (0.55 * falloff), seed=seed + 5, octaves=4)
        gathered = smoothstep(-0.15, 0.55, cloud) ** 1.5
        leaning = 1 - min(1.2 * drift, 1.0) * (1 - (0.05 + 0.95 * falls) * (0.25 + 0.75 * swept))
        found[near] = np.exp(-far / reach) * leaning * (1 - drift + drift * gathered)
        if mask is not None:
            found[near] *= mask(points[near])
        return np.clip(found, 0.0, 1.0)

    return density


FARTHEST = 1.6
"""How many times as far as usual the pieces may reach on the side to which most fall."""
SPREAD, SHARES = np.array([2.2, 5.0]), np.array([1.0, 0.45])
"""Debris falls to two sides, wide to one and a little to another: concentrations of von Mises distributions, and how much (by
eye, as on benches where somebody sat at one side)."""

PLAN = np.array([1.0, 1.0, 0.0])
"""Factor that takes the height off a place."""

THINNEST = 2e-3
"""A density below which nothing is laid."""


@record
class Ground:
    """The surface that pieces lie on.

    vertices (n, 3) and faces (m, 3), mm. density : where they may lie, see `work_density`. keep_out : what they keep clear of.
    heights : the surface's height at places, for pieces larger than its relief; without it they follow the face they lie on.
    steepest : cosine of the steepest slope on which a piece stays.
    """

    vertices: Floats
    faces: Ints
    density: Density
    keep_out: KeepOut
    heights: Heights | None = None
    steepest: float = 0.75


@record
class Amounts:
    """How much is laid: `count` pieces in the shares of `mix`, `grains` of powder, `size` a factor on all sizes, `clear` the
    least gap between the discs of two pieces in mm."""

    mix: Sequence[Share]
    count: int
    grains: int = 0
    size: float = 1.0
    clear: float = 0.15


@record
class _Taken:
    """The discs that are taken: middles (n, 3) and radii (n,), half of the least gap included, mm."""

    places: Floats
    reach: Floats

    def with_layout(self, layout: Layout, pieces: Sequence[Piece], clear: float) -> _Taken:
        radii = np.array([pieces[k].radius for k in layout.piece]) * layout.sizes + 0.5 * clear
        return _Taken(np.concatenate([self.places, layout.places]), np.concatenate([self.reach, radii]))


def lay_out(ground: Ground, pieces: Sequence[Piece], amounts: Amounts, *, seed: int = 1) -> Layout:
    """Lay pieces and powder on a surface.

    Returns
    -------
    Layout in which no two bounding discs overlap. Fewer pieces than asked for come back where there is no room.
    """
    rng = np.random.default_rng([seed, 23])
    vertices = np.asarray(ground.vertices, float)
    dense = ground.density(vertices)
    upward = face_normals(vertices, ground.faces)[:, 2] > ground.steepest
    ground = replace(ground, vertices=vertices, faces=ground.faces[upward & (dense[ground.faces].max(axis=1) > THINNEST)])
    found: list[Layout] = []
    taken = _Taken(np.zeros((0, 3)), np.zeros(0))
    parents = np.zeros((0, 3))
    for share, number in _numbers(amounts):
        members = np.array([place for place, piece in enumerate(pieces) if piece.kind == share.kind])
        if number <= 0 or not len(members):
            continue
        local = dense if not len(parents) or share.kind not in ("crumb", "grain") else _near_parents(vertices, dense, parents)
        for sizes in _lots(share, number, amounts.size, rng):
            layout = _lay_lot(ground, local, _Lot(pieces, members, sizes, amounts.clear), taken, rng)
            taken = taken.with_layout(layout, pieces, amounts.clear)
            found.append(layout)
        if share.kind in ("offcut", "shaving"):
            parents = np.concatenate([parents, *[lot.places for lot in found if len(lot)]])
    return _joined(found)


def _numbers(amounts: Amounts) -> list[tuple[Share, int]]:
    """How many pieces of each class are laid, in the order in which they are: powder last; rounding goes to the last class."""
    numbers = [(share, round(amounts.count * share.share)) for share in amounts.mix]
    if numbers:
        short = amounts.count - sum(number for _, number in numbers)
        numbers[-1] = (numbers[-1][0], numbers[-1][1] + short)
    return [*numbers, (Share("grain", 1.0, 0.5, 1.0, 2.4), amounts.grains)]


def _lots(share: Share, number: int, size: float, rng: np.random.Generator) -> list[Floats]:
    """Sizes of `number` pieces, heavy-tailed, largest first, in up to four lots of like sizes."""
    below, above = np.log(share.usual / share.least), np.log(share.most / share.usual)
    z = np.clip(rng.standard_gamma(1.0, number), 0, 4) / 4  # many near the usual size, few towards the largest
    up = rng.random(number) < 0.6
    sizes = share.usual * np.exp(np.where(up, z * above, -rng.random(number) * below)) * size
    ordered = np.sort(sizes)[::-1]
    return [lot for lot in np.array_split(ordered, min(4, max(1, number // 40))) if len(lot)]


def _near_parents(vertices: Floats, dense: Floats, parents: Floats) -> Floats:
    """The density, with half of the small pieces near the larger ones."""
    near = np.flatnonzero(dense > THINNEST)
    total = np.zeros(len(near))
    for centre in parents[:48, :2]:
        off = vertices[near, :2] - centre
        total += np.exp(-np.einsum("ij,ij->i", off, off) / (2 * CLUSTER_MM**2))
    found = np.zeros(len(dense))
    found[near] = np.clip(dense[near] * (0.35 + 1.2 * np.minimum(total, 1.5)), 0.0, 1.0)
    return found


CLUSTER_MM = 7.0
"""Standard deviation of the distance of crumbs from the piece that they broke off, mm (judged by eye)."""


@record
class _Lot:
    """Pieces of one class and of like sizes: the library, which of it are of the class, the sizes, the least gap in mm."""

    pieces: Sequence[Piece]
    members: Ints
    sizes: Floats
    clear: float

    def of(self, piece: Ints, name: str, scale: Floats) -> Floats:
        """A length of each piece ('radius', 'height') at its size, mm."""
        return np.array([getattr(self.pieces[k], name) for k in piece]) * scale


def _lay_lot(ground: Ground, density: Floats, lot: _Lot, taken: _Taken, rng: np.random.Generator) -> Layout:
    """Lay a lot clear of all that is taken; `density` (n,) at the ground's vertices."""
    thrower = Thrower(ground.vertices, ground.faces, density)
    kept: list[Layout] = []
    missing = len(lot.sizes)
    if not len(ground.faces) or thrower.sum[-1] <= 0:
        return _joined([])
    for _ in range(8):
        points, face, _, _ = thrower.throw(int(3 * missing) + 64, rng)
        piece = lot.members[rng.integers(len(lot.members), size=len(points))]
        first = missing == len(lot.sizes)
        scale = lot.sizes[np.arange(len(points)) % len(lot.sizes)] if first else rng.choice(lot.sizes, len(points))
        radius = lot.of(piece, "radius", scale)
        good = ~ground.keep_out(points, radius, lot.of(piece, "height", scale))
        if ground.heights is not None:  # nothing lies on ground that something else covers
            seen = np.flatnonzero(good)
            good[seen] = np.abs(ground.heights(points[seen, :2]) - points[seen, 2]) < 0.02
        points, face, piece, scale, radius = points[good], face[good], piece[good], scale[good], radius[good]
        spin = rng.uniform(0, 2 * np.pi, len(points))
        # compared in plan: what is clear there is clear at any height
        stays = accepted(points * PLAN, radius + 0.5 * lot.clear, taken.places * PLAN, taken.reach, together=True)
        rows = np.flatnonzero(stays)[: int(1.6 * missing) + 8]
        points, face, piece, scale, spin = points[rows], face[rows], piece[rows], scale[rows], spin[rows]
        thrown = _Thrown(points, face, [lot.pieces[k] for k in piece], scale, spin)
        places, turns, rests = _rested(ground, thrown)
        rests &= ~ground.keep_out(places, lot.of(piece, "radius", scale), lot.of(piece, "height", scale))
        pick = np.flatnonzero(rests)[:missing]
        layout = Layout(places[pick], piece[pick], turns[pick], scale[pick], rng.random(len(pick)))
        kept.append(layout)
        taken = taken.with_layout(layout, lot.pieces, lot.clear)
        missing -= len(pick)
        if missing <= 0:
            break
    return _joined(kept)


@record
class _Thrown:
    """Pieces before they have come to rest: (n, 3) places on the surface, (n,) faces there, the pieces, sizes, spins (n,)."""

    points: Floats
    face: Ints
    pieces: Sequence[Piece]
    scale: Floats
    spin: Floats


def _rested(ground: Ground, thrown: _Thrown) -> tuple[Floats, Floats, Bools]:
    """Lower each piece, flat side down, onto the surface: places, turns, and whether it rests stably.

    Small ones lie on the face under them. Larger ones on the plane that fits the surface under their base, raised until no
    point of the base is inside, so that each touches and none floats; one that would bridge a gap or an edge does not rest
    stably.
    """
    points, pieces, scale, spin, heights = thrown.points, thrown.pieces, thrown.scale, thrown.spin, ground.heights
    normal = face_normals(ground.vertices, ground.faces)[thrown.face]
    places, turns = points.copy(), _frames(normal, spin)
    rests = np.ones(len(points), bool)
    if heights is None or not len(points):
        return places, turns, rests
    large = np.flatnonzero(np.array([p.radius for p in pieces]) * scale > 0.25)
    if not len(large):
        radius, tall = (np.array([getattr(p, name) for p in pieces]) * scale for name in ("radius", "height"))
        return places, turns, ~_walled(places, radius, tall, heights)
    most = max(len(pieces[k].base) for k in large)
    base = np.stack([pieces[k].base[np.arange(most) % len(pieces[k].base)] * scale[k] for k in large])
    level = _frames(np.broadcast_to([0.0, 0.0, 1.0], (len(large), 3)), spin[large])
    for attempt in range(2):
        turned = np.einsum("nij,nkj->nki", level, base)
        xy = points[large, None, :2] + turned[..., :2]
        below = heights(xy.reshape(-1, 2)).reshape(xy.shape[:2])
        if attempt:
            break
        lifted = below - turned[..., 2]
        slope = _fitted(turned[..., :2], lifted)
        level = _frames(unit(np.column_stack([-slope, np.ones(len(large))])), spin[large])
    lifted = below - turned[..., 2]
    known = np.isfinite(lifted).all(axis=1)
    lifted = np.where(known[:, None], lifted, 0.0)
    top = lifted.max(axis=1)
    radius = np.array([pieces[k].radius for k in large]) * scale[large]
    rough = top - lifted.min(axis=1)
    turns[large] = level
    places[large, 2] = top
    rests[large] = known & (rough < 0.30 * radius + 0.05) & (level[:, 2, 2] > LEAST_LEVEL)
    long = large[rests[large] & (radius > LONG_MM)]
    rests[long] = ~_sunk(places[long], turns[long], [pieces[k] for k in long], scale[long], heights)
    stands = np.flatnonzero(rests)
    radius, tall = (np.array([getattr(pieces[k], name) for k in stands]) * scale[stands] for name in ("radius", "height"))
    rests[stands] = ~_walled(places[stands], radius, tall, heights)
    return places, turns, rests


LEAST_LEVEL = 0.93
"""Cosine of the steepest tilt, 21 degrees, at which a piece is left: one that leans on the edge of a board looks on end."""
LONG_MM, SPOTS, IN = 4.0, 24, 0.08
"""Radius, mm, from which a piece may lie over a ridge that the points of its base miss; how many points of its lower half are
then checked; how deep, as a share of its height, one may be in the surface."""


def _sunk(places: Floats, turns: Floats, pieces: Sequence[Piece], scale: Floats, heights: Heights) -> Bools:
    """Which of the pieces laid down are penetrated by a ridge, such as the arris of a board."""
    if not len(places):
        return np.zeros(0, bool)
    lows = []
    for piece in pieces:
        points = np.asarray(piece.mesh.vertices, float)
        low = points[np.argsort(points[:, 2], kind="stable")[: max(len(points) // 2, 1)]]
        lows.append(low[np.linspace(0, len(low) - 1, SPOTS).astype(int)])
    at = np.einsum("nij,nkj->nki", turns, np.stack(lows) * scale[:, None, None]) + places[:, None]
    deep = heights(at[..., :2].reshape(-1, 2)).reshape(at.shape[:2]) - at[..., 2]
    tall = np.array([piece.height for piece in pieces]) * scale
    return np.nan_to_num(deep, nan=-1.0).max(axis=1) > IN * tall


def _walled(places: Floats, radius: Floats, tall: Floats, heights: Heights) -> Bools:
    """Whether a wall rises beside a piece, as in the gap between two boards, and would penetrate it."""
    angle = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    ring = places[:, None, :2] + (1.1 * radius)[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)[None]
    beside = heights(ring.reshape(-1, 2)).reshape(len(places), 12)
    return np.nan_to_num(beside - places[:, 2:], nan=-1.0).max(axis=1, initial=-1.0) > 0.3 * tall + 0.35 * radius


def _fitted(xy: Floats, z: Floats) -> Floats:
    """(n, 2) slopes of the least-squares planes through n sets of points (n, k, 2), (n, k)."""
    known = np.isfinite(z).all(axis=1)
    z = np.where(known[:, None], z, 0.0)
    q = xy - xy.mean(axis=1, keepdims=True)
    w = z - z.mean(axis=1, keepdims=True)
    a, b, c = (q[..., 0] ** 2).sum(1), (q[..., 0] * q[..., 1]).sum(1), (q[..., 1] ** 2).sum(1)
    u, v = (q[..., 0] * w).sum(1), (q[..., 1] * w).sum(1)
    det = a * c - b * b
    det = np.where(det > 1e-9 * (a + c) ** 2, det, np.inf)
    return np.stack([(c * u - b * v) / det, (a * v - b * u) / det], axis=1)


def _frames(normal: Floats, spin: Floats) -> Floats:
    """(n, 3, 3) turns whose third axis is `normal`, spun about it."""
    normal = unit(normal)
    first = np.stack([np.cos(spin), np.sin(spin), np.zeros(len(spin))], axis=1)
    first = unit(first - np.einsum("ij,ij->i", first, normal)[:, None] * normal)
    return np.stack([first, np.cross(normal, first), normal], axis=2)


def _joined(lots: Sequence[Layout]) -> Layout:
    lots = [lot for lot in lots if len(lot)]
    if not lots:
        return Layout(np.zeros((0, 3)), np.zeros(0, np.int64), np.zeros((0, 3, 3)), np.zeros(0), np.zeros(0))
    return Layout(
        *(np.concatenate([getattr(lot, name) for lot in lots]) for name in ("places", "piece", "turns", "sizes", "tints"))
    )
