"""What in a scan may be invented by the scanning software? Webs between limbs, surfaces no camera could see, thin shells."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.face_graph import FaceGraph
from ..mesh.triangles import TriangleMesh
from ..records import record

Cast = Callable[[Floats, Floats], tuple[Ints, Floats]]
"""From origins and directions (n, 3) to the face (n,) that each ray hits first, -1 for none, and its distance (n,)."""

THIN = 0.03
"""Thickness over the diagonal below which a wall may be a web; scanning software bridges gaps with walls of about this
thickness (common practice)."""
ATTACHED = 0.7
"""Least length of creases round a thin wall, over the perimeter of a disc of its area. A disc held all round has 1, a triangle
held on two of its sides 0.8; a half disc held at its base, as an ear is, 0.45."""
MOST_WEB = 0.1
"""Share of the whole surface, one side counted, from which a thin wall is the piece's own, as that of a jar is: a film between
an arm and a body has 0.01 to 0.05 (a guess)."""
CREASE = 0.35
"""Least fold (radians) that counts as a crease."""
LEAST_PERCENT = 0.15
"""Share of the surface, in percent, below which a web is not reported."""
VIEWS = 34
"""Number of directions from which cameras look: all round, from a little below the horizon to straight above."""
LOOKED_AT, WALLS_LOOKED_AT = 1500, 16000
"""Random places of the surface, and of thin walls, that are looked at: set by the time that they take."""
GRAZING = 0.2
"""Cosine below which a camera sees a surface at too grazing an angle to record it."""


@record
class Doubts:
    """What to check. webs: (area of one side in square units, middle (3,)) of each, the largest first; web: (m,) bool its
    faces. unseen: share (0 to 1) of the surface that no camera could see, unseen_middle: (3,) where most of it is.
    wall: median thickness, in the mesh's unit; shell: whether that makes it a thin shell.
    """

    webs: tuple[tuple[float, Floats], ...]
    web: Bools
    unseen: float
    unseen_middle: Floats
    wall: float
    shell: bool


def doubts(mesh: TriangleMesh, asked: Bools, cast: Cast, *, seed: int = 1) -> Doubts:
    """Check the faces `asked` (m,) of a mesh that stands on z = 0, such as the piece's; the whole mesh occludes.

    Faces marked 'filled' are known not to have been seen, and are left out.
    """
    graph = FaceGraph.of(mesh)
    diagonal = float(np.linalg.norm(np.ptp(np.asarray(mesh.vertices, float)[mesh.faces[asked]].reshape(-1, 3), axis=0)))
    asked = asked & ~mesh.face_marks.get("filled", np.zeros(len(asked), bool)) & (graph.area > 0)
    if not asked.any():
        return Doubts((), np.zeros(len(asked), bool), 0.0, np.zeros(3), 0.0, False)
    random = np.random.default_rng(seed)
    wall = _thickness(graph, asked, cast, diagonal, random)
    thin = asked & (wall < THIN * diagonal)
    web, webs = _webs(graph, thin, float(graph.area[asked].sum()), 0.012 * diagonal)
    below = (graph.normal[:, 2] < -0.7) & (graph.centre[:, 2] < 0.03 * diagonal)  # the underside is not judged
    unseen, middle = _unseen(graph, asked & ~below, cast, diagonal, random)
    known = asked & np.isfinite(wall)
    usual = _weighted_median(wall[known], graph.area[known]) if known.any() else np.inf
    return Doubts(webs, web, unseen, middle, usual, bool(usual < THIN * diagonal))


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    return float(values[order[int(np.searchsorted(reached, 0.5 * reached[-1]))]])


def _thickness(graph: FaceGraph, asked: Bools, cast: Cast, diagonal: float, random: np.random.Generator) -> Floats:
    """(m,) thickness behind each face; of many faces a sample is measured, and the rest take their neighbours' values."""
    chosen = np.flatnonzero(asked)
    if len(chosen) > WALLS_LOOKED_AT:
        chosen = random.choice(chosen, WALLS_LOOKED_AT, replace=False)
    inward = -graph.normal[chosen]
    _, far = cast(graph.centre[chosen] + 1e-4 * diagonal * inward, inward)
    wall = np.full(len(asked), np.inf)
    wall[chosen] = np.where(np.isfinite(far), far, np.inf)
    known = np.zeros(len(asked))
    known[chosen] = 1.0
    value = np.where(known > 0, np.minimum(wall, diagonal), 0.0)
    for _ in range(4):
        around = graph.summed(np.column_stack([value * known, known]))
        open_ones = (known == 0) & (around[:, 1] > 0)
        value[open_ones] = around[open_ones, 0] / around[open_ones, 1]
        known[open_ones] = 1.0
    return np.where(known > 0, value, np.inf)


def _webs(graph: FaceGraph, thin: Bools, whole: float, width: float) -> tuple[Bools, tuple[tuple[float, Floats], ...]]:
    """Thin walls that are held by creases nearly all round, as a film between an arm and a body is and an ear is not."""
    label = graph.components(thin)
    crease = graph.creases(width)
    inside = np.maximum(label, 0)
    # A crease may run a little beside the wall's last faces, so it counts for any wall whose faces are near it.
    creased = crease > CREASE
    first, second = label[graph.first], label[graph.second]
    held = np.zeros(len(label))
    for mine, other in ((first, second), (second, first)):
        edge = (mine >= 0) & (mine != other) & creased
        held += np.bincount(mine[edge], graph.length[edge], len(label))
    area = np.bincount(inside[thin], graph.area[thin], len(label))
    found, web = [], np.zeros(len(label), bool)
    for place in np.argsort(-area)[:40]:
        if area[place] < 0.01 * LEAST_PERCENT * whole:
            break
        faces = label == place
        sides = _sides(graph, faces)
        one_side = area[place] / sides
        if one_side < MOST_WEB * whole and held[place] / sides > ATTACHED * 2.0 * np.sqrt(np.pi * one_side):
            web |= faces
            found.append((one_side, np.average(graph.centre[faces], axis=0, weights=graph.area[faces])))
    return web, tuple(_as_walls(found, 3.0 * width))


def _sides(graph: FaceGraph, faces: Bools) -> int:
    """1 for a patch that faces one way, 2 for one that runs over a rim and shows both sides of a wall."""
    normal = graph.normal[faces] * graph.area[faces, None]
    return 1 if np.linalg.norm(normal.sum(axis=0)) > 0.5 * graph.area[faces].sum() else 2


def _as_walls(found: list[tuple[float, Floats]], near: float) -> list[tuple[float, Floats]]:
    """Two patches with one middle are the two sides of one wall."""
    kept: list[tuple[float, Floats]] = []
    for area, middle in found:
        if all(np.linalg.norm(middle - other) > near + 0.15 * np.sqrt(size) for size, other in kept):
            kept.append((float(area), middle))
    return kept


def _unseen(graph: FaceGraph, asked: Bools, cast: Cast, diagonal: float, random: np.random.Generator) -> tuple[float, Floats]:
    """Share of the area that no camera round the piece could see, and its middle (3,)."""
    share = np.where(asked, graph.area, 0.0)
    if not share.any():
        return 0.0, np.zeros(3)
    chosen = random.choice(len(share), LOOKED_AT, p=share / share.sum())
    step = np.arange(VIEWS) + 0.5
    level = -0.15 + 1.15 * step / VIEWS
    angle = np.pi * (1.0 + np.sqrt(5.0)) * step
    views = np.stack([np.sqrt(1.0 - level**2) * np.cos(angle), np.sqrt(1.0 - level**2) * np.sin(angle), level], axis=1)
    hidden = np.ones(LOOKED_AT, bool)
    for view in views:
        asking = np.flatnonzero(hidden & (graph.normal[chosen] @ view > GRAZING))
        if not len(asking):
            continue
        faces = chosen[asking]
        met, _ = cast(graph.centre[faces] + 1e-3 * diagonal * graph.normal[faces], np.tile(view, (len(faces), 1)))
        hidden[asking[met < 0]] = False
    if not hidden.any():
        return 0.0, np.zeros(3)
    return float(hidden.mean()), np.median(graph.centre[chosen[hidden]], axis=0)


def whereabouts(place: Floats, middle: Floats, size: Floats) -> str:
    """A description of a place (3,) on an upright piece of that middle and size, seen from the front (-Y)."""
    side = (place - middle) / np.maximum(size, 1e-30)
    words = []
    if abs(side[0]) > 0.15:
        words.append("right" if side[0] > 0 else "left")
    if abs(side[1]) > 0.15:
        words.append("back" if side[1] > 0 else "front")
    return f"{place[2]:.0f} mm up" + (f", {' '.join(words[::-1])}" if words else ", in the middle")
