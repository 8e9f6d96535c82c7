"""What does the piece stand on, and where exactly is the ground plane? Each possible pose is refined to its plane.

`standing` gives the poses and how likely each is; here the ground of the likeliest ones is fitted to the surface, so that noise
and outliers do not tilt it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.planar import robust_plane, weighted_median
from ..mesh.spikes import steady_vertices
from ..mesh.triangles import TriangleMesh, face_crosses, unit
from ..records import record
from .resting_pose import settled
from .standing.body import Body, Hull, body_of
from .standing.choosing import GROUND_WORDS, ROUGH_WORDS, Way, ways_to_stand
from .standing.evidence import SQUARE
from .standing.file_axes import AXES
from .standing.poses import CONTACT, undersides

MOST_CORRECTION_DEG = 4.0
"""How far the fit to the surface may turn a hull facet's direction; more means that it found another face."""
NEAR_AXIS_DEG = 12.0
"""How near a file's axis a pose on a few points must lie for that axis to be taken as the vertical that was meant."""
MOST_ROLL_DEG = 6.0
"""How far a pose on a few points may roll to its rest; more means that it fell over, as a man on his toes does onto his heels.
Of 29 such poses all but that man's roll by 2.5 degrees at most."""
FLAT = 0.2
"""Least share of the contact's outline in a flat face for the ground to be fitted to that face rather than taken from the
hull."""
CUT = 0.12
"""Irregularity of a base above which it may be a cut; set on one cut neck and two open bases."""
CUT_BASE, CUT_SLANT, SLANT_OF_BROAD, NECK = 0.4, 0.24, 0.32, 0.55
"""How full a base must be, and how askew its walls may stand on it (the sine of 14 degrees) before it may be a neck's cut,
unless it fills a rectangle, as slabs do and necks do not. Where it is as broad as no neck is under its head, `NECK` of the
outline of the whole from above, they may stand askew by the sine of 19 degrees. Of 44 forms three that stand right on such a
base are askew by 0.24 to 0.28, an owl (0.27, as broad as 0.61) among them; set on a lion's head (0.32) and on the bench's
made-up cut head (0.25, 0.31), which therefore no longer counts as unseen."""
ALIKE_DEG = 10.0
"""Poses this near to one another are not worth a question."""
DOUBTFUL_MOST = 0.75
"""Factor on a probability that only the file's axis supports, neither the direction of its rougher side nor where its origin
lies (one file in eight is written with another axis up); and the most confidence in a pose on what may be the cut of a neck,
which fits a wall as well as a table."""
LYING, TURNED = 0.35, 0.7
"""Height over the diagonal under which a thing lies flat, as a relief or a mask that is meant to hang does (a mask on its back
has 0.31, a person lying on a slab 0.46), and the share of its form that does not depend on the direction from which it is a
plate or a bowl, which do lie so. Guesses."""
FAR_LESS = 0.06
"""Part of a cut's chance under which a file's axis is no safe way instead (a guess: 0.08 to 0.7 on a horse's head, 0.01 or less
where a thing does stand on its base)."""
LYING_WORDS = "it lies flat, as what is made to hang would"
REFINED = 6
"""Ways to stand that are refined, the likeliest ones."""


@record
class Support:
    """A way to stand: `up` (3,) unit, `point` (3,) on the plane, and what speaks for it.

    kind: 'flat' (a face of its own), 'resting' (a few points), 'mount' (on nothing: the file's axes say so) or 'given'.
    flat: share of the support's outline that is flat contact. filled: share of that contact that was open and filled.
    tip_deg: how far it can be tilted before it falls. chance: that this is how it is meant to stand. axis: the file's axis
    that it agrees with, or ''. words: what speaks for and against it. cut: it stands on an irregular filled opening, which
    may be the cut of a neck. held: what of the chance only the file's axis speaks for. lying: it lies flat, as what is meant to
    hang does.
    """

    up: Floats
    point: Floats
    kind: str
    flat: float
    filled: float
    tip_deg: float
    chance: float
    axis: str = ""
    words: tuple[str, ...] = ()
    cut: bool = False
    held: float = 0.0
    lying: bool = False


@record
class Sampled:
    """The faces of a mesh without a spike: centres (m, 3), areas (m,), unit normals (m, 3), corners (m, 3) as rows of
    `vertices` (n, 3)."""

    centres: Floats
    areas: Floats
    normals: Floats
    corners: Ints
    vertices: Floats


def sampled(mesh: TriangleMesh, good: Bools, *, most: int = 120_000) -> Sampled:
    """Prepare a mesh; spikes don't count as contact. Of more than `most` faces as many are drawn."""
    vertices = mesh.vertices.astype(float)
    chosen = np.flatnonzero(good[mesh.faces].all(axis=1))
    share = max(len(chosen) / most, 1.0)
    if share > 1.0:
        chosen = np.sort(np.random.default_rng(1).choice(chosen, most, replace=False))
    corners = mesh.faces[chosen]
    crosses = face_crosses(vertices, corners)
    areas = 0.5 * np.linalg.norm(crosses, axis=1) * share
    return Sampled(vertices[corners].mean(axis=1), areas, unit(crosses), corners, vertices)


def supports(
    mesh: TriangleMesh, hull: Hull, *, file: str | None = None, good: Bools | None = None,
    colours: Callable[[Ints, Floats], Floats] | None = None,
) -> list[Support]:  # fmt: skip
    """All ways to stand, the likeliest first; of them the likeliest few refined to their planes.

    file: the file's name, by whose ending its axes tell something; None: they tell nothing. `hull` gives the triangles of a
    convex hull. good: (n,) which vertices are not spikes, where that is known. colours: as `body_of` takes them.
    """
    good = np.asarray(steady_vertices(mesh) if good is None else good, bool)
    body = body_of(mesh, hull, good=good, colours=colours)
    sample = sampled(mesh, good)
    ways = ways_to_stand(body, file=file or "", axes=file is not None)
    found = [refined(body, sample, way) if place < REFINED else _as_it_is(body, way) for place, way in enumerate(ways)]
    best: list[Support] = []
    for support in found:  # two candidates of one noisy base refine to the same plane
        twin = next((k for k, other in enumerate(best) if support.up @ other.up > np.cos(np.radians(2.0))), None)
        if twin is None:
            best.append(support)
        else:
            chance, held = best[twin].chance + support.chance, best[twin].held + support.held
            best[twin] = replace(best[twin], chance=min(chance, 1.0), held=min(held, 1.0))
    return _safest_first(sorted(best, key=lambda support: -support.chance))


def _safest_first(found: list[Support]) -> list[Support]:
    """Ways to stand, the likeliest first; but before the cut of a neck, if that is what the likeliest stands on, the likeliest
    of the file's own axes that is not far less likely: a cut fits a wall as well as a table, so that this is asked about in
    either case, and until it is answered the file's vertical is the safe way."""
    first = found[0] if found else None
    if first is None or first.axis or not any(way.cut for way in found if _alike(way, first)):
        return found
    found[0] = first = replace(first, cut=True)
    held = next((way for way in found if way.axis and way.chance > FAR_LESS * first.chance), None)
    return found if held is None else [held, *(way for way in found if way is not held)]


def _alike(first: Support, second: Support) -> bool:
    return bool(first.up @ second.up > np.cos(np.radians(ALIKE_DEG)))


def confidence_in(found: Sequence[Support], chosen: Support) -> float:
    """The chance that the chosen way to stand is right; ways so near to it that nobody would tell them apart count with it."""
    same = sum(way.chance for way in found if way is not chosen and _alike(way, chosen))
    chance = float(np.clip(chosen.chance + same, 0.0, 1.0))
    if ROUGH_WORDS not in chosen.words and GROUND_WORDS not in chosen.words:
        chance -= (1.0 - DOUBTFUL_MOST) * min(chosen.held, chance)
    doubtful = (chosen.cut and not chosen.axis) or (chosen.lying and chosen.axis != "z" and GROUND_WORDS not in chosen.words)
    return min(chance, DOUBTFUL_MOST) if doubtful else chance


def _as_it_is(body: Body, way: Way) -> Support:
    low = body.extremes[int((body.extremes @ way.up).argmin())]
    if way.pose is None:
        return Support(way.up, low, "mount", 0.0, 0.0, 0.0, way.chance, way.axis, way.words, held=way.held)
    pose = way.pose
    low = pose.point
    kind = "flat" if pose.flat * pose.even > FLAT else "resting"
    slant = SLANT_OF_BROAD if pose.spread > NECK else CUT_SLANT
    askew = pose.base > CUT_BASE and pose.square < SQUARE and pose.slant > slant
    cut = way.cut > CUT or askew
    turned = (pose.mirror - pose.plane) / max(1.0 - pose.plane, 1e-9) > TURNED
    lying = pose.tall < LYING and not turned
    return Support(
        way.up, low, kind, pose.flat * pose.even, pose.filled, pose.tip_deg, way.chance, way.axis,
        (*way.words, LYING_WORDS) if lying else way.words, cut, way.held, lying,
    )  # fmt: skip


def refined(body: Body, sample: Sampled, way: Way) -> Support:
    """A way to stand with its ground fitted: to an open rim, to a flat face, or rolled to its rest on a few points."""
    rough = _as_it_is(body, way)
    if way.pose is None:
        return rough
    reach = CONTACT * body.diagonal
    rim = next((rim for rim in undersides(body) if rim.normal @ way.up < -0.96), None)
    if way.pose.opening and rim is not None:
        normal, point, _ = robust_plane(
            sample.vertices[rim.vertices], np.ones(len(rim.vertices)), rim.normal, rim.centre, 1.5 * reach
        )
        return replace(rough, up=-normal, point=point, kind="flat")
    if rough.kind == "flat":
        return _on_its_face(sample, rough, reach)
    rest, point = settled(body.extremes, body.hull, body.mass, -way.up)
    up = -rest if -rest @ way.up > np.cos(np.radians(MOST_ROLL_DEG)) else way.up
    axis = _near_axis(up, way)
    if axis is not None:
        return replace(rough, up=axis, point=body.extremes[int((body.extremes @ axis).argmin())])
    return replace(rough, up=up, point=point) if up is not way.up else rough


def _near_axis(up: Floats, way: Way) -> Floats | None:
    """The file's axis that a pose on a few points stands near: whoever wrote the file set it upright by eye."""
    if not way.axis:
        return None
    return AXES[way.axis] if up @ AXES[way.axis] > np.cos(np.radians(NEAR_AXIS_DEG)) else None


def _on_its_face(sample: Sampled, rough: Support, reach: float) -> Support:
    """The plane of the face that it stands on, unless the fit would find another face."""
    down = -rough.up
    heights = (rough.point - sample.centres) @ down
    contact = (heights < 1.5 * reach) & (sample.normals @ down > 0.8)
    if contact.sum() < 12:
        return rough
    normal, centre, scale = _fitted(sample, contact, down, rough.point, 1.5 * reach)
    beyond = float(sample.areas[(sample.centres - centre) @ normal > max(4.0 * scale, reach)].sum())
    if normal @ down > np.cos(np.radians(MOST_CORRECTION_DEG)) and beyond < 0.01 * sample.areas.sum():
        return replace(rough, up=-normal, point=centre)
    return rough


def _fitted(sample: Sampled, contact: Bools, down: Floats, point: Floats, reach: float) -> tuple[Floats, Floats, float]:
    """The plane through a contact's vertices, each weighing a third of the level faces round it: walls have no influence.

    The reach shrinks in three rounds, so that a surface rising round a foot drops out; it stops before too little is left.
    """
    middle = weighted_median((sample.centres[contact] - point) @ down, sample.areas[contact])
    normal, centre, scale = down, point + middle * down, reach
    for part in (1.0, 0.4, 0.15):
        near = contact & (np.abs((sample.centres - centre) @ normal) < part * reach) if part < 1.0 else contact
        if near.sum() < 12 or sample.areas[near].sum() < 0.4 * sample.areas[contact].sum():
            break
        weights = np.zeros(len(sample.vertices))
        for corner in range(3):
            weights += np.bincount(sample.corners[near, corner], sample.areas[near], len(weights))
        used = weights > 0
        normal, centre, scale = robust_plane(sample.vertices[used], weights[used], normal, centre, part * reach)
    return normal, centre, scale
