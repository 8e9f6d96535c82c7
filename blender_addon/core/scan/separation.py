"""Where does the piece end and the stand begin? The cheapest border along creases, colour and the stand's top; or nowhere.

One piece by default: a line is cut unasked only where the evidence (`stand_evidence.py`) leaves little doubt. A line that may
be one is proposed beside it, to be asked about.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Bools, Floats
from ..mesh.cut import FILLED, chain, split
from ..mesh.face_graph import FaceGraph
from ..mesh.polygon import vector_area
from ..mesh.triangles import TriangleMesh
from ..records import record
from .regular_walls import Walls, regular_walls
from .stand_border import Top, bias_of, border, border_facts, clean_line, colour_bias, level_top, without_islands, without_toes
from .stand_evidence import Measures, Shown, chance, measures, words_for

SURE, POSSIBLE = 0.8, 0.2
"""Chance of being a stand from which it is cut off unasked, and from which it is worth a question."""
BESIDE_COLOUR = 0.3
"""How much place and slope still say where two colours are distinguished: a stand of two steps has more than one level top."""
WALLS_REACH = 0.45
"""Regular walls that run higher than this share of the height are the piece's own."""
SAME_TOP = 0.03
"""Two proposals whose tops lie within this share of the height are one."""
ALIKE = 0.9
"""Two proposals that share this much of their area are one."""


@record
class Separation:
    """Where to cut. field: (n,) at the vertices, positive on the piece, or None when there is no stand.

    stand: (m,) bool a face. reason: why, in words. top_mm: height of the stand's top, over which the piece begins.
    crease_share, ledge_share: shares (0 to 1) of the border that run in a crease and above a ledge of the stand. chance: how
    likely what was taken for the stand is one, 0 to 1. evidence: what speaks for it and against it, in words. others: lines
    that could be cut as well, the likeliest first.
    """

    field: Floats | None
    stand: Bools
    reason: str
    top_mm: float = 0.0
    crease_share: float = 0.0
    ledge_share: float = 0.0
    chance: float = 0.0
    evidence: tuple[str, ...] = ()
    others: tuple[Separation, ...] = ()


@record
class _Scan:
    """What is asked of a mesh again and again: its graph, creases (e,) and costs (e,), normals (m, 3) smoothed over the width
    of a crease, lightly and over much of a wall, width and height in mm, walls, colour (m, 3), and which faces (m,) were
    never seen."""

    mesh: TriangleMesh
    graph: FaceGraph
    crease: Floats
    cost: Floats
    normal: Floats
    light: Floats
    broad: Floats
    width: float
    height: float
    walls: Walls
    colour: Floats | None
    unseen: Bools

    @staticmethod
    def of(mesh: TriangleMesh, graph: FaceGraph, colour: Floats | None) -> _Scan:
        height = max(float(graph.centre[:, 2].max()), 1e-6)
        width = 0.012 * height + 0.3
        normal, broad = graph.smoothed_normals(width), graph.smoothed_normals(2.5 * width)
        crease = graph.creases(width, normal)
        cost = graph.length * (0.05 + np.exp(-((crease / 0.45) ** 2)))
        light = graph.smoothed_normals(0.6 * width)
        unseen = mesh.face_marks.get(FILLED, np.zeros(len(graph.area), bool))
        walls = regular_walls(graph.centre[~unseen], light[~unseen], graph.area[~unseen], height)
        return _Scan(mesh, graph, crease, cost, normal, light, broad, width, height, walls, colour, unseen)


def find_stand(
    mesh: TriangleMesh,
    *,
    colour: Floats | None = None,
    painted: Floats | None = None,
    always: bool = False,
    top: float | None = None,
) -> Separation:
    """The stand of an upright subject (mm, standing on z = 0).

    colour: (m, 3) linear a face, where known. painted: (m,) a face, 1 stand, 0 piece, 0.5 left open; holds where it says
    something. always: the user says that there is a stand. top: the user says how high it reaches, mm.
    """
    graph = FaceGraph.of(mesh)
    if not len(graph.first):
        return Separation(None, np.zeros(len(mesh.faces), bool), "its triangles are nowhere connected")
    scan = _Scan.of(mesh, graph, colour)
    if painted is not None:
        return _by_paint(scan, painted)
    found = _proposals(scan, top)
    if not found:
        return Separation(None, np.zeros(len(mesh.faces), bool), "no border was found, so all of it is the piece")
    if always or top is not None:
        asked = [entry for entry in found if entry.field is not None]
        if not asked:
            return found[0]
        return replace(asked[0], reason=_line_words(asked[0]), others=tuple(asked[1:]))
    cuts = [entry for entry in found if entry.field is not None]
    if cuts and cuts[0].chance >= SURE:
        return replace(cuts[0], reason=_line_words(cuts[0]), others=tuple(cuts[1:]))
    first = cuts[0] if cuts else found[0]
    return replace(
        first,
        field=None,
        stand=np.zeros(len(mesh.faces), bool),
        reason=f"{first.reason}, so all of it is the piece",
        others=tuple(cut for cut in cuts if cut.chance >= POSSIBLE),
    )


def _line_words(found: Separation) -> str:
    return f"the line runs in the crease between them at {found.top_mm:.1f} mm"


def _by_paint(scan: _Scan, painted: Floats) -> Separation:
    """The border that a painted mask asks for."""
    bias = bias_of(scan.graph, scan.normal, scan.height, level_top(scan.graph, scan.normal, scan.height))
    bias = np.where(painted > 0.66, -np.inf, np.where(painted < 0.34, np.inf, bias))
    stand = without_islands(scan.graph, border(scan.graph, scan.cost, bias, scan.height))
    if not stand.any() or stand.all():
        return Separation(None, np.zeros(len(stand), bool), "no border was found, so all of it is the piece")
    creased, ledge, level = border_facts(scan.graph, stand, scan.crease, scan.width)
    field = clean_line(scan.mesh, scan.graph, stand, scan.width)
    return Separation(field, stand, "as painted", level, creased, ledge, chance=1.0)


def _proposals(scan: _Scan, top: float | None) -> list[Separation]:
    """Borders that could part a stand from a piece, the likeliest first; those that can't be one have no field."""
    graph, height = scan.graph, scan.height
    level = level_top(graph, scan.normal, height)
    tops: list[Top | None] = [level]
    if top is not None:
        tops = [(top, 0.006 * height)]
    elif 0.01 * height < scan.walls.top < WALLS_REACH * height and not (
        level is not None and abs(scan.walls.top - level[0]) < SAME_TOP * height
    ):
        tops.append((scan.walls.top, 0.006 * height))
    found: list[Separation] = []
    for entry in tops:
        stand = _stand_under(scan, entry, held=top is not None)
        if not stand.any() or stand.all() or any(_alike(graph, stand, other.stand) for other in found):
            continue
        found.append(_judged(scan, stand))
    found.sort(key=lambda entry: (entry.field is None, -entry.chance))
    apart = SAME_TOP * height
    return [
        entry for place, entry in enumerate(found) if all(abs(entry.top_mm - other.top_mm) > apart for other in found[:place])
    ]


def _alike(graph: FaceGraph, stand: Bools, other: Bools) -> bool:
    return bool(graph.area[stand & other].sum() > ALIKE * graph.area[stand | other].sum())


def _stand_under(scan: _Scan, top: Top | None, *, held: bool) -> Bools:
    """(m,) the stand whose top lies there (None: that shows no level top); held: it may reach no higher."""
    graph, height = scan.graph, scan.height
    bias = bias_of(graph, scan.normal, height, top, held=held)
    stand = border(graph, scan.cost, bias, height)
    for _ in range(2):  # again, from parts that colour has set right
        hint = None if scan.colour is None else colour_bias(graph, scan.colour, stand)
        if hint is None:
            break
        stand = border(graph, scan.cost, BESIDE_COLOUR * bias + hint, height)
    return without_islands(graph, stand)


def _judged(scan: _Scan, stand: Bools) -> Separation:
    """A proposed stand with its line, and how likely it is one."""
    graph = scan.graph
    creased, ledge, level = border_facts(graph, stand, scan.crease, scan.width)
    field = clean_line(scan.mesh, graph, stand, scan.width)
    why, feet = _no_stand(scan.mesh, graph, stand, field)
    top = _own_top(scan, stand, level)
    if why:
        return Separation(None, stand, why, top, creased, ledge)
    shown = Shown(scan.mesh, graph, (scan.light, scan.broad), scan.walls, scan.colour, scan.unseen)
    measured = measures(shown, stand, (creased, ledge, top), feet)
    lower = without_toes(graph, scan.light, stand, scan.height)
    if (lower != stand).any():
        lower_field = clean_line(scan.mesh, graph, lower, scan.width)
        if not _no_stand(scan.mesh, graph, lower, lower_field)[0]:
            stand, field = lower, lower_field
    return Separation(
        field, stand, _why_not(measured), top, creased, ledge, chance=chance(measured), evidence=words_for(measured)
    )


def _own_top(scan: _Scan, stand: Bools, line: float) -> float:
    """Height of the stand's own top near the line (mm); of the line itself where it shows none. The line runs up the fillet."""
    level, near = scan.graph.centre[:, 2], 0.05 * scan.height
    top = stand & ~scan.unseen & (scan.light[:, 2] > 0.9) & (level > line - near) & (level < line + 0.4 * near)
    if not top.any() or scan.graph.area[top].sum() < 0.05 * scan.graph.area[stand].sum():
        return line
    order = np.argsort(level[top])
    share = np.cumsum(scan.graph.area[top][order])
    return float(np.interp(0.5 * share[-1], share, level[top][order]))


def _why_not(found: Measures) -> str:
    """In words, why a line is not simply cut; for a stand that is, it goes unsaid."""
    if found.top > 0.4 and found.level_upright < 0.7:
        return "what lies below the crease has no level top and is taller than what is on it, like a body under a head"
    if found.crease < 0.55 and not found.ends:
        return "no crease sets a stand off from it"
    if found.above_turned > 0.85 and found.turned > 0.85:
        return "it is one turned form from bottom to top"
    if found.seen_top < 0.15 and not found.ends:
        return "nothing juts out below it"
    return "what lies lowest may be its own form: too little sets it off as a stand"


def leftover(mesh: TriangleMesh, *, on_piece: Bools, near_line: Bools, rise: float = 2.5) -> Separation:
    """What a scan of a stand (mm) still shows of the piece: where to cut it off, or no field when there is nothing.

    on_piece: (m,) faces that lie on the piece as another scan has it. near_line: (m,) faces so near its line that the
    crease here decides. Patches that rise by less than `rise` mm are the stand under the piece, not the piece. Faces marked
    'filled' close what was not seen, such as the stump of legs: they go with what is round them.
    """
    graph = FaceGraph.of(mesh)
    label = graph.components(on_piece)
    low, high = np.full(len(label), np.inf), np.full(len(label), -np.inf)
    np.minimum.at(low, label[on_piece], graph.centre[on_piece, 2])
    np.maximum.at(high, label[on_piece], graph.centre[on_piece, 2])
    held = on_piece & ((high - low)[np.maximum(label, 0)] > rise)
    if not held.any():
        return Separation(None, np.ones(len(label), bool), "nothing of the piece is left on it")
    unseen = mesh.face_marks.get(FILLED, np.zeros(len(label), bool))
    return find_stand(mesh, painted=np.where(near_line | unseen, 0.5, np.where(held, 0.0, 1.0)))


def _no_stand(mesh: TriangleMesh, graph: FaceGraph, stand: Bools, field: Floats) -> tuple[str, int]:
    """Why what lies under the border can be no stand, or '' (feet are several, a vessel's cut is a ring); and how many parts of
    the piece stand on it."""
    label = graph.components(stand)
    parts = np.bincount(label[stand], graph.area[stand])
    if parts.max() < 0.9 * parts.sum():
        return "what lies lowest is several parts, like feet", 0
    whole, _, segments = split(mesh, field)
    areas = np.array([vector_area(np.asarray(whole.vertices, float)[loop])[2] for loop in chain(segments)])
    if not len(areas):
        return "no border was found", 0
    outline, hollow = max(areas.sum(), -areas.sum()), min(areas[areas > 0].sum(), -areas[areas < 0].sum())
    if hollow > 0.25 * outline:
        return "it is hollow where it could be cut, like a vessel", 0
    return "", int((np.abs(areas) > 0.02 * np.abs(areas).sum()).sum())
