"""How is a further scan aligned? From two scans in unknown poses to candidate poses and a verdict."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...mesh.similarity import Similarity, fit_similarity
from ...mesh.triangles import TriangleMesh
from .batch import improved, scores
from .evidence import asked_points
from .icp import firmness, refine
from .planes import flat_faces
from .poses import Poses, distinct
from .scans import Scans, lying_on, weighed
from .starts import body_starts, even_turns, flat_starts, twin_turns
from .surfels import sample_surfels
from .tie_breakers.colour import one_a_side
from .tie_breakers.relief_turn import likely_turns, steady, turned_over, weak_axis
from .tie_breakers.ties import broken
from .verdict import NOT_SURE, SURE, Candidate, Limits, Registration, apart, decide


def flat_poses(scans: Scans, *, seed: int) -> Poses | None:
    """Starting poses that lay the largest flat faces on each other."""
    return flat_starts(flat_faces(scans.moving, count=3, seed=seed + 1), flat_faces(scans.fixed, count=2, seed=seed))


def body_poses(scans: Scans, *, turns: int) -> Poses:
    """Starting poses of the whole on the whole; for a part, on the lower and upper shares of the fixed scan."""
    turned = even_turns(turns)
    if not scans.partial:
        return body_starts(scans.seen, scans.fixed, turned)
    height = scans.fixed.points[:, 2]
    low, high = np.quantile(height, (0.002, 0.998))
    level = (height - low) / max(high - low, 1e-30)
    parts = [scans.fixed.part(level < share) for share in (0.2, 0.35, 0.55)]
    parts += [scans.fixed.part(level > share) for share in (0.1, 0.25)]
    return Poses.joined([body_starts(scans.seen, part, turned) for part in parts if len(part) > 100])


def narrowed(scans: Scans, starts: Poses, *, keep: int) -> Poses:
    """The best `keep` distinct poses after coarse iterations: many starts on few points, then few on many."""
    few = scans.moving_part(110)
    size = 0.7 * scans.fixed.size
    middle, extent = scans.seen.points.mean(axis=0), scans.seen.size
    poses = improved(few, scans.target, starts, rounds=9, size=size, trim=0.6, hold_scale=3)
    rated = scores(
        few, scans.fixed_part(250), scans.target, scans.back, poses, reach=0.025 * size, partial=scans.partial
    )  # fmt: skip
    order = distinct(poses, np.argsort(-rated), centre=middle, size=extent, limit=28, nearer=0.08)
    return settled(scans, poses[order], keep=keep, rounds=16)


def settled(scans: Scans, poses: Poses, *, keep: int, rounds: int) -> Poses:
    """The best `keep` distinct poses of a few, after `rounds` of iterations on more points."""
    more = scans.moving_part(500)
    return _best(scans, improved(more, scans.target, poses, rounds=rounds, size=0.21 * scans.fixed.size, trim=0.65), keep)


def alike(scans: Scans, pose: Similarity, *, keep: int) -> Poses:
    """The best `keep` poses of one scale under which the moving scan might look alike, half of them upside down.

    As they are and iterated at that scale: on a thin plate only the narrow sides hold a scale, and trimmed iterations lose it.
    Poses are distinct where they differ by 2 % of the size, since a box with a side missing fits in places that near to each
    other; at most two for each rotation.
    """
    turned = twins(scans, pose)
    moved = improved(
        scans.moving_part(500), scans.target, turned, rounds=8, size=0.21 * scans.fixed.size, trim=0.65, hold_scale=8
    )
    both = Poses.joined([turned, moved])
    upright = (both.rotation @ pose.rotation.T)[:, 2, 2] > 0.0
    return Poses.joined(
        [_best(scans, both[np.flatnonzero(side)], keep // 2, nearer=0.02, a_turn=2) for side in (upright, ~upright)]
    )


def _best(scans: Scans, poses: Poses, keep: int, *, nearer: float = 0.06, a_turn: int | None = None) -> Poses:
    rated = scores(
        scans.moving_part(500), scans.fixed_part(500), scans.target, scans.back, poses, reach=0.0084 * scans.fixed.size,
        partial=scans.partial,
    )  # fmt: skip
    middle, extent = scans.seen.points.mean(axis=0), scans.seen.size
    order = np.argsort(-rated)
    return poses[distinct(poses, order, centre=middle, size=extent, limit=keep, nearer=nearer, a_turn=a_turn)]


def twins(scans: Scans, pose: Similarity) -> Poses:
    """Poses under which the moving scan might look alike: turned about the upright axis through its middle, or upside down."""
    spots = pose.apply(scans.seen.points)
    near, _ = scans.nearest(spots)
    turns = twin_turns(np.eye(3))
    turned = Poses(np.full(len(turns), pose.scale), turns @ pose.rotation, np.zeros((len(turns), 3)))
    level = scans.fixed.points[:, 2]
    low, high = np.quantile(spots[:, 2], (0.01, 0.99))
    storey = scans.fixed.points[(level > low) & (level < high)]
    parts = []
    # A side may be missing on either, which shifts the middle; the fixed scan at that height is whole but has the piece on it.
    for body in (spots, scans.fixed.points[np.unique(near)], storey if len(storey) > 50 else spots):
        low, high = np.quantile(body, (0.01, 0.99), axis=0)
        middle = 0.5 * (low + high)
        parts.append(turned.anchored(pose.inverse().apply(middle[None])[0], middle))
    return Poses.joined(parts)


def judged(scans: Scans, poses: Poses, *, tolerance: float, points: int, rounds: int) -> list[Candidate]:
    """Each pose refined by its nearest points, with its evidence, best first.

    tolerance: distance that noise explains, in the fixed scan's unit. points: of the moving scan that are used. rounds: of
    refinement.
    """
    part = scans.moving_part(points)
    found = []
    for place in range(len(poses)):
        pose, _, _ = refine(part, scans.fixed, scans.nearest, poses.single(place), rounds=rounds, tolerance=2e-5)
        found.append(Candidate(pose, weighed(scans, pose, tolerance)))
    return sorted(found, key=lambda entry: -entry.rank)


def register(
    fixed: TriangleMesh,
    moving: TriangleMesh,
    *,
    seed: int = 1,
    partial: bool = False,
    fixed_colour: Floats | None = None,
    moving_colour: Floats | None = None,
) -> Registration:
    """How the moving scan lies on the fixed one: rotation, translation and scale are all unknown.

    fixed: upright, z up. moving: in any unit and pose. Faces marked 'filled' are not compared.
    seed: of the surfels and of the starting poses.
    partial: the moving scan lacks a part of what the fixed one shows.
    fixed_colour, moving_colour: (n, 3) linear colours of the vertices, used where shape fits in several ways.

    Raises ValueError when one of the scans has no surface.
    """
    scans = Scans.of(
        sample_surfels(fixed, 20000, seed=seed, colour=fixed_colour),
        sample_surfels(moving, 8000, seed=seed + 1, colour=moving_colour), partial=partial,
    )  # fmt: skip
    flats = flat_poses(scans, seed=seed + 2)
    starts = flats if flats is not None and partial else body_poses(scans, turns=240)
    if flats is not None and not partial:
        starts = Poses.joined([flats, starts])
    found = looked_into(scans, starts)
    if found.verdict != SURE and not found.tie and partial and flats is not None:
        wider = looked_into(scans, Poses.joined([flats, body_poses(scans, turns=240)]))
        found = wider if not found.best or (wider.best and wider.best.rank > found.best.rank) else found
    return found


def looked_into(scans: Scans, starts: Poses) -> Registration:
    """The verdict that a set of starts leads to."""
    rough = 0.008 * scans.fixed.size
    found = judged(scans, narrowed(scans, starts, keep=5), tolerance=rough, points=500, rounds=10)
    found += judged(scans, alike(scans, found[0].pose, keep=6), tolerance=rough, points=500, rounds=8)
    found.sort(key=lambda entry: -entry.rank)
    axis = weak_axis(scans, found[0].pose)
    if axis is not None:
        over = turned_over(scans, found[0], axis, rough)
        near = [entry.pose for entry in (*found, *over) if entry.evidence.shared > 0.6 * found[0].evidence.shared]
        sides = one_a_side(near, axis[0])
        found += [Candidate(pose, weighed(scans, pose, rough)) for pose in likely_turns(scans, sides, axis)]
        found.sort(key=lambda entry: -entry.rank)
    tolerance = _tolerance(scans, found, rough)
    first = _distinct([Candidate(entry.pose, weighed(scans, entry.pose, tolerance)) for entry in found], scans)
    pose, _, _ = refine(scans.moving_part(4000), scans.fixed, scans.nearest, first[0].pose, rounds=10)
    best = Candidate(pose, weighed(scans, pose, tolerance, points=4000))
    if axis is not None and _held(scans, pose) < Limits().loose:  # it can turn: a few poses show whether anything stops it
        first = a_few_a_side(first, axis[0])
    candidates = [best, *_closer(scans, first[0], first[1:], tolerance)]
    places = asked_points(scans.moving, scans.fixed, points=4000)
    decided = _decided(scans, candidates, places)
    if decided.tie == "ways":  # list every pose: a regular shape has more of them than the first search keeps
        every = alike(scans, decided.candidates[0].pose, keep=24)
        more = judged(scans, every, tolerance=tolerance, points=800, rounds=8)
        more = [entry for entry in _distinct([*candidates, *more], scans) if not any(entry is other for other in candidates)]
        candidates += _closer(scans, candidates[0], more, tolerance)
        decided = _decided(scans, candidates, places)
    axis = weak_axis(scans, decided.candidates[0].pose) if decided.verdict == SURE else None
    if axis is not None and not steady(scans, decided.candidates[0].pose, axis):
        reason = "its turn about one axis is held too weakly to be determined"
        decided = Registration(NOT_SURE, reason, decided.candidates, "turn")
    return broken(scans, decided, tolerance) if decided.tie else decided


def _closer(scans: Scans, best: Candidate, others: list[Candidate], tolerance: float) -> list[Candidate]:
    """Refine the candidates that may be as good as the best: those that share not much less and contradict not much more.

    They are refined as far as the best was: a pose left half a degree off would lose for that alone.
    """
    least, most = 0.45 * best.evidence.shared, best.evidence.against + 0.08
    near = [other.pose for other in others if other.evidence.shared > least and other.evidence.against < most]
    part = scans.moving_part(3000)
    refined = [refine(part, scans.fixed, scans.nearest, pose, rounds=12, tolerance=3e-6)[0] for pose in near]
    return [Candidate(pose, weighed(scans, pose, tolerance, points=4000)) for pose in refined]


def _decided(scans: Scans, candidates: list[Candidate], places: Floats) -> Registration:
    kept = _distinct(candidates, scans)
    pose = kept[0].pose
    # A point within a triangle strays by about 0.7 of what its corners do; two such points lie on each other.
    noise = float(np.hypot(scans.fixed.noise, pose.scale * scans.moving.noise)) * np.sqrt(0.5)
    return decide(kept, places, firmness=_held(scans, pose), size=scans.fixed.size, noise=noise)


def _tolerance(scans: Scans, found: list[Candidate], rough: float) -> float:
    """What noise explains: four robust standard deviations of the pose that fits closest, among those that share enough."""
    most = max(entry.evidence.shared for entry in found)
    closest = min(entry.evidence.deviation for entry in found if entry.evidence.shared >= 0.6 * most)
    return float(np.clip(4.0 * closest, 0.0015 * scans.fixed.size, rough))


def a_few_a_side(candidates: list[Candidate], axis: Floats, *, few: int = 3) -> list[Candidate]:
    """The first few candidates of each side, which differ by a turn about the axis alone; they stay in order."""
    kept: list[Candidate] = []
    for candidate in candidates:
        ups = [(candidate.pose.rotation.T @ axis) @ (other.pose.rotation.T @ axis) for other in kept]
        if sum(up > 0.9 for up in ups) < few:
            kept.append(candidate)
    return kept


def _distinct(candidates: list[Candidate], scans: Scans, nearer: float = 0.02) -> list[Candidate]:
    """The candidates, best first, without those that are a not fully converged copy of another."""
    middle, size = scans.seen.points.mean(axis=0), scans.seen.size
    kept: list[Candidate] = []
    for candidate in sorted(candidates, key=lambda candidate: -candidate.rank):
        if all(apart(candidate.pose, other.pose, middle, size) > nearer for other in kept):
            kept.append(candidate)
    return kept


def _held(scans: Scans, pose: Similarity) -> float:
    """How well the part of the moving scan that lies on the fixed one holds the pose."""
    spots, facing = lying_on(scans, pose)
    return firmness(spots, facing) if len(spots) >= 30 else 0.0


def from_pairs(
    fixed: TriangleMesh,
    moving: TriangleMesh,
    source: Floats,
    target: Floats,
    *,
    seed: int = 1,
    partial: bool = False,
) -> Registration:
    """The pose that three or more matching spots give, refined as far as the surfaces allow.

    fixed, moving: the scans. source: (k, 3) spots on the moving one. target: (k, 3) the same spots on the fixed one.
    seed: of the surfels. partial: the moving scan lacks a part of what the fixed one shows.

    The surfaces may move the picked points by no more than the pairs disagree plus 3 % of the fixed scan's size; beyond that
    only the pairs are used. Raises ValueError when the pairs leave the pose open.
    """
    by_hand = fit_similarity(source, target)
    scans = Scans.of(sample_surfels(fixed, 20000, seed=seed), sample_surfels(moving, 8000, seed=seed + 1), partial=partial)
    slack = 0.03 * scans.fixed.size + float(np.linalg.norm(by_hand.apply(source) - target, axis=1).max())
    pose, _, _ = refine(scans.moving_part(4000), scans.fixed, scans.nearest, by_hand, rounds=40, reach=2.0 * slack)
    if np.linalg.norm(pose.apply(source) - by_hand.apply(source), axis=1).max() > slack:
        pose = by_hand
    candidate = Candidate(pose, weighed(scans, pose, 0.004 * scans.fixed.size, points=4000))
    return Registration(SURE, f"placed by {len(source)} matching spots", (candidate,))
