"""Where does the cheapest border between a stand and a piece run? Along creases, colour and the stand's top."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.components import connected_vertices
from ..mesh.face_graph import FaceGraph, cheapest_border
from ..mesh.planar import weighted_median
from ..mesh.triangles import TriangleMesh
from ..statistics import NORMAL

Top = tuple[float, float]
"""Height of a stand's top and how far it strays, mm."""
SMOOTH_TOP, CLEAR, FOOT = 0.006, 0.008, 0.003
"""Shares of the height: how far the faces of a top may stray from one even surface, so that what stands out of it can be told
from it; how far out of it something must stand; and down to where it then reaches. Set on two scans, an eagle's
claws on an oval plate and a lion's paws on a rough slab."""
REACH = 0.03
"""Share of the height that something must run along the top, away from the line. The fillet round a foot runs less far."""
GRID, WINDOW = 80, 8
"""Cells along a stand seen from above, and half the window of an opening of its heights: what is narrower than a fifth of the
stand stands out of it (a guess)."""


def bias_of(graph: FaceGraph, normal: Floats, height: float, top: Top | None, *, held: bool = False) -> Floats:
    """(m,) the bias of each face by place and slope, in mm: < 0 stand, > 0 piece; the lowest faces and the top are fixed.

    graph: of the m faces. normal: (m, 3) smoothed over the crease's width. height: of the scan, mm.
    top: where the stand's top lies, if that is known. held: it reaches no higher, as the user says.
    """
    level, area = graph.centre[:, 2], graph.area
    bias = np.zeros(len(area))
    middle_share = 0.45 if top is None else max(0.45, top[0] / height + 0.1)
    bias += 0.04 * area * np.clip((level / height - middle_share) / 0.15, 0.0, 1.0)
    if top is not None:
        middle, spread = top
        flat = (normal[:, 2] > 0.85) & (np.abs(level - middle) < spread)
        bias -= 0.30 * area * flat
        bias -= 0.05 * area * (level < middle - spread)
        bias += 0.25 * area * np.clip((level - middle - spread) / (2.0 * spread), 0.0, 1.0)
    bias[level < (0.02 * height if top is None else min(0.02 * height, 0.6 * top[0]))] = -np.inf
    bias[level > height * min(middle_share + 0.3, 0.97)] = np.inf
    if held and top is not None:
        bias[level > top[0] + 0.04 * height] = np.inf
    return bias


def level_top(graph: FaceGraph, normal: Floats, height: float) -> tuple[float, float] | None:
    """Height of a stand's level top and how far it strays (mm), or None: where most level area lies, below half the height.

    It must be a fifth of the outline's box, and something must stand on it.
    """
    level = graph.centre[:, 2]
    up = (normal[:, 2] > 0.9) & (level > 0.015 * height)
    bins = np.linspace(0.0, height, 121)
    found, _ = np.histogram(level[up], bins, weights=graph.area[up])
    smooth = np.convolve(found, np.ones(5), "same")[:70]
    place = int(np.argmax(smooth))
    box = float(np.prod(np.ptp(graph.centre[level < 0.5 * height, :2], axis=0)))
    if smooth[place] < 0.2 * box:
        return None
    near = up & (np.abs(level - 0.5 * (bins[place] + bins[place + 1])) < 0.025 * height)
    if not near.any():  # the peak of the smoothed levels can lie between two groups of faces
        return None
    order = np.argsort(level[near])
    share = np.cumsum(graph.area[near][order])
    low, middle, high = np.interp(np.array([0.05, 0.5, 0.95]) * share[-1], share, level[near][order])
    return float(middle), float(max(high - middle, middle - low, 0.006 * height))


def border(graph: FaceGraph, cost: Floats, bias: Floats, height: float) -> Bools:
    """(m,) stand or not: the cheapest border, first between clusters of faces, then between the faces near it.

    graph: of the m faces. cost: (e,) of a border along each edge. bias: (m,) towards the piece (> 0) or the stand (< 0); inf
    holds.
    height: of the scan.
    """
    cluster, count = _clusters(graph, height / 45.0)
    a, b = cluster[graph.first], cluster[graph.second]
    crossing = a != b
    low, high = np.minimum(a, b)[crossing], np.maximum(a, b)[crossing]
    keys, place = np.unique(low * count + high, return_inverse=True)
    coarse_cost = np.bincount(place.ravel(), cost[crossing], len(keys))
    held_stand = np.bincount(cluster, bias == -np.inf, count) > 0
    held_piece = np.bincount(cluster, bias == np.inf, count) > 0
    coarse_bias = np.bincount(cluster, np.where(np.isfinite(bias), bias, 0.0), count)
    held: Floats = np.where(held_piece, np.inf, np.where(held_stand, -np.inf, coarse_bias))
    coarse = cheapest_border(count, keys // count, keys % count, np.asarray(coarse_cost, float), held, rounds=900)
    stand = coarse[cluster] > 0.5
    near = _within(graph, stand, rounds=_rings(graph, height / 25.0))
    inside = near[graph.first] | near[graph.second]
    fixed: Floats = np.where(near, bias, np.where(stand, -np.inf, np.inf))
    used = np.unique(np.concatenate([graph.first[inside], graph.second[inside]]))
    if not len(used):
        return stand
    number = np.full(len(stand), -1)
    number[used] = np.arange(len(used))
    fine = cheapest_border(
        len(used), number[graph.first[inside]], number[graph.second[inside]], cost[inside], fixed[used],
        rounds=700, start=stand[used].astype(float),
    )  # fmt: skip
    out = stand.copy()
    out[used] = fine > 0.5
    return out


def _clusters(graph: FaceGraph, cell: float) -> tuple[Ints, int]:
    """(m,) cluster of each face, by cell of space and the side it faces, and how many there are."""
    place = np.floor((graph.centre - graph.centre.min(axis=0)) / cell).astype(np.int64)
    facing = (graph.normal > 0) @ np.array([1, 2, 4])
    key = ((place[:, 0] * 4096 + place[:, 1]) * 4096 + place[:, 2]) * 8 + facing
    _, cluster = np.unique(key, return_inverse=True)
    return cluster.ravel(), int(cluster.max()) + 1


def _rings(graph: FaceGraph, reach: float) -> int:
    spacing = float(np.median(np.linalg.norm(graph.centre[graph.first] - graph.centre[graph.second], axis=1)))
    return int(np.clip(np.ceil(reach / max(spacing, 1e-30)), 2, 40))


def _within(graph: FaceGraph, stand: Bools, *, rounds: int) -> Bools:
    """(m,) faces within `rounds` steps of the border."""
    near = np.zeros(len(stand), bool)
    across = stand[graph.first] != stand[graph.second]
    near[graph.first[across]] = near[graph.second[across]] = True
    for _ in range(rounds):
        touched = near[graph.first] | near[graph.second]
        near[graph.first[touched]] = near[graph.second[touched]] = True
    return near


def colour_bias(graph: FaceGraph, colour: Floats, stand: Bools) -> Floats | None:
    """(m,) the bias of each face by colour, in mm, or None where the two parts look alike (a dusted scan).

    Log chroma and log luminance of each part as a normal distribution (Gaussian discriminant); counts where their means lie
    more than 1.5 standard deviations apart.
    """
    logs = np.log(np.clip(colour, 0.0, None) + 0.02)
    values = np.stack([logs[:, 0] - logs[:, 1], logs[:, 2] - logs[:, 1], 0.5 * logs.mean(axis=1)], axis=1)
    log_likelihood, means, spreads = [], [], []
    for part in (~stand, stand):
        if part.sum() < 50:
            return None
        mean = np.average(values[part], axis=0, weights=graph.area[part])
        spread = np.cov(values[part].T, aweights=graph.area[part] + 1e-12) + 1e-4 * np.eye(3)
        off = values - mean
        log_likelihood.append(
            -0.5 * np.einsum("ij,jk,ik->i", off, np.linalg.inv(spread), off) - 0.5 * np.linalg.slogdet(spread)[1]
        )
        means.append(mean)
        spreads.append(spread)
    gap = means[1] - means[0]
    if gap @ np.linalg.solve(0.5 * (spreads[0] + spreads[1]), gap) < 1.5**2:
        return None
    return 0.10 * graph.area * np.clip(log_likelihood[0] - log_likelihood[1], -2.0, 2.0)


def without_islands(graph: FaceGraph, stand: Bools) -> Bools:
    """The labels with patches of less than 3 % of the area given to what surrounds them."""
    stand = stand.copy()
    for kind in (True, False):
        which = stand == kind
        label = graph.components(which)
        size = np.bincount(label[which], graph.area[which], len(stand))
        small = which & (size[np.maximum(label, 0)] < 0.03 * graph.area.sum())
        stand[small] = not kind
    return stand


def without_toes(graph: FaceGraph, normal: Floats, stand: Bools, height: float) -> Bools:
    """The labels with toes, claws and hems given to the piece: what stands out of the stand's even top and joins the piece.

    The cheapest border cuts across a toe that lies along the top, since that is shorter than the way round it. graph: of the m
    faces. normal: (m, 3) smoothed lightly. stand: (m,). height: of the scan, mm.
    """
    across = stand[graph.first] != stand[graph.second]
    line = 0.5 * (graph.centre[graph.first[across]] + graph.centre[graph.second[across]])
    if not len(line):
        return stand
    level = stand & (normal[:, 2] > 0.85) & (graph.centre[:, 2] > 0.5 * float(np.median(line[:, 2])))
    if level.sum() < 50:
        return stand
    over, stray = _over_even(graph.centre[:, :2], graph.centre[:, 2], graph.area, level)
    if not stray < SMOOTH_TOP * height:
        return stand
    over = np.minimum(over, _over_round(graph.centre, stand))
    clear = stand & (over > max(CLEAR * height, 5.0 * stray))
    flank = stand & (over > max(FOOT * height, 2.0 * stray)) & (normal[:, 2] < 0.9)
    out = clear | flank
    label = graph.components(out)
    beside = np.zeros(len(stand), bool)
    beside[graph.first[across]] = beside[graph.second[across]] = True
    joined = np.intersect1d(label[out & beside], label[clear])
    far = [entry for entry in joined if _reach(graph.centre, line, clear & (label == entry)) > REACH * height]
    toes = out & np.isin(label, far)
    return stand & ~toes if graph.area[toes].sum() < 0.5 * graph.area[level].sum() else stand


def _reach(centre: Floats, line: Floats, part: Bools) -> float:
    """How far some faces (m,) bool lie at most from a line (k, 3), seen from above; of many of either a sample is measured."""
    spots = centre[part][:: 1 + int(part.sum()) // 2000, :2]
    along = line[:: 1 + len(line) // 1000, :2]
    if not len(spots):
        return 0.0
    return float(np.sqrt(((spots[:, None] - along[None]) ** 2).sum(axis=2).min(axis=1).max()))


def _over_round(centre: Floats, stand: Bools) -> Floats:
    """How far (m,) faces lie over the lowest of the stand round them: over its heights seen from above after an opening (Serra,
    Image Analysis and Mathematical Morphology, 1982), which takes away what is narrower than the window. 0 off the stand."""
    place = centre[stand, :2]
    low = place.min(axis=0)
    cell = max(float(np.ptp(place, axis=0).max()) / GRID, 1e-9)
    column, row = np.minimum((place - low) / cell, GRID - 1).astype(int).T
    heights = np.full((GRID, GRID), np.inf)
    np.minimum.at(heights, (row, column), centre[stand, 2])
    least = _filtered(np.minimum, heights, np.inf)
    least[np.isinf(heights)] = -np.inf
    over = np.zeros(len(centre))
    over[stand] = centre[stand, 2] - _filtered(np.maximum, least, -np.inf)[row, column]
    return over


def _filtered(take: np.ufunc, values: Floats, beyond: float) -> Floats:
    """The least or greatest of (GRID, GRID) values in the square window round each; beyond: what lies outside of them."""
    for axis in (0, 1):
        wide = np.pad(values, [(WINDOW, WINDOW) if k == axis else (0, 0) for k in (0, 1)], constant_values=beyond)
        values = take.reduce([np.take(wide, np.arange(k, k + GRID), axis) for k in range(2 * WINDOW + 1)])
    return values


def _over_even(place: Floats, level: Floats, area: Floats, top: Bools) -> tuple[Floats, float]:
    """How far (m,) faces lie over the even surface through most of a top (m,) bool, and how far that top strays from it: a
    quadric by robust least squares (Tukey's biweight), and the median deviation as a standard deviation."""
    middle, scale = place[top].mean(axis=0), max(float(np.ptp(place[top], axis=0).max()), 1e-9)
    x, y = ((place - middle) / scale).T
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
    weight = area[top].copy()
    stray = np.inf
    over = level - float(np.median(level[top]))
    for _ in range(12):
        root = np.sqrt(weight)[:, None]
        found = np.linalg.lstsq(root * terms[top], root[:, 0] * level[top], rcond=None)[0]
        over = level - terms @ found
        stray = NORMAL * weighted_median(np.abs(over[top]), area[top])
        weight = area[top] * np.maximum(1.0 - (over[top] / max(4.7 * stray, 1e-9)) ** 2, 0.0) ** 2
    return over, stray


def border_facts(graph: FaceGraph, stand: Bools, crease: Floats, width: float) -> tuple[float, float, float]:
    """Share of the border in a crease, share above a ledge of the stand, and its median height.

    stand: (m,) bool a face. crease: (e,) radians an edge. width: of a crease, mm.
    """
    across = np.flatnonzero(stand[graph.first] != stand[graph.second])
    if not len(across):
        return 0.0, 0.0, 0.0
    length = graph.length[across]
    total = max(float(length.sum()), 1e-12)
    spots = 0.5 * (graph.centre[graph.first[across]] + graph.centre[graph.second[across]])
    creased = float(length @ np.clip(crease[across], 0.0, 1.0)) / total
    up = stand & (graph.normal[:, 2] > 0.6)
    cell = 2.5 * width
    ledge_cells = np.unique(_keys(graph.centre[up], cell))
    near = np.zeros(len(spots), bool)
    for x in (-1, 0, 1):
        for y in (-1, 0, 1):
            for z in (-1, 0):
                near |= np.isin(_keys(spots + cell * np.array([x, y, z]), cell), ledge_cells)
    rising = np.argsort(spots[:, 2])
    middle = int(np.searchsorted(np.cumsum(length[rising]), 0.5 * total).clip(0, len(spots) - 1))
    return creased, float(length[near].sum()) / total, float(spots[rising[middle], 2])


def _keys(points: Floats, cell: float) -> Ints:
    place = np.floor(points / cell).astype(np.int64) + 100_000
    return (place[:, 0] * 1_000_003 + place[:, 1]) * 1_000_003 + place[:, 2]


def clean_line(mesh: TriangleMesh, graph: FaceGraph, stand: Bools, width: float) -> Floats:
    """(n,) a field at the vertices whose zero is the border without its jags: the labels spread out over about `width`.

    stand: (m,) bool a face. width: mm.
    """
    count = len(mesh.vertices)
    value = np.where(stand, -1.0, 1.0)
    spacing = float(np.median(graph.length))
    faces = mesh.faces
    shared = np.maximum(np.bincount(faces.ravel(), minlength=count), 1)
    field = np.zeros(count)
    for _ in range(int(np.clip(round((width / max(spacing, 1e-30)) ** 2), 2, 12))):
        field = sum(np.bincount(faces[:, corner], value, count) for corner in range(3)) / shared
        value = field[faces].mean(axis=1)
    return _one_line(faces, np.where(np.abs(field) < 1e-9, 1e-9, field), graph.area)


def _one_line(faces: Ints, field: Floats, area: Floats) -> Floats:
    """The field with the sign of specks turned: patches of less than 0.5 % of the area, and single vertices.

    area: (m,) of the faces; by area, since a plain plate may be a handful of large triangles.
    """
    over = field > 0
    sides = over[faces].sum(axis=1)
    label = connected_vertices(faces[(sides == 0) | (sides == 3)], len(field))
    share = np.bincount(faces.ravel(), np.repeat(area, 3), len(field))
    small = np.bincount(label, share)[label] < 0.005 * share.sum()
    return np.where(small, -field, field)
