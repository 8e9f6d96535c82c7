"""What is the evidence for a stand under a line, and how sure is it? Features that a piece's own form does not have.

A crease all round and a ledge below it, a low broad plate that rests on its whole outline, level and upright faces, straight or
turned walls that end where another form begins, feet that only this plate joins, another colour: each counts
separately. One is not enough, since haunches, soles, skirts and a tool's foot have one or two of them.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from ..mesh.face_graph import FaceGraph
from ..mesh.planar import convex_outline, outline_area
from ..mesh.preview import sampled_by_area
from ..mesh.topology import submesh
from ..mesh.triangles import TriangleMesh
from ..records import record
from .regular_walls import Walls, planar_share

SLOPE, MIDDLE = 2.77, 1.25
"""How a sum of evidence becomes a chance: 0.5 at `MIDDLE`, 0.2 and 0.8 half a point below and above. These and the weights
below were set on synthetic pieces (the tried seeds) and on our labelled scans."""
WHOLLY_TURNED = 0.75, 0.92
"""Share of round walls above the line between which the whole becomes one turned form, which has no stand."""


@record
class Measures:
    """The measurements of a proposed stand; shares are 0 to 1.

    crease: of the line in a crease. ledge: of the line over a ledge. level_upright: of what was taken off that is level or
    upright. straight, turned: of its walls that are so. rectangle: its plan's hull over the smallest rectangle round it.
    solid: its plan over that plan's convex hull. footing: the hull of what it rests on over that of its plan. seen_top: its
    upward area over its plan. flat: its height over its plan's breadth. feet: how many parts of the piece stand on it.
    above_straight, above_turned: as below, of the walls over the line. ends: whether regular walls end at the line.
    colour_gap: how many spreads apart the colours on both sides of the line are. top: its height over the whole.
    """

    crease: float
    ledge: float
    level_upright: float
    straight: float
    turned: float
    rectangle: float
    solid: float
    footing: float
    seen_top: float
    flat: float
    feet: int
    above_straight: float
    above_turned: float
    ends: bool
    goes_on: bool
    colour_gap: float
    top: float


def ramp(value: float, low: float, high: float) -> float:
    """0 up to `low`, 1 from `high`, straight between."""
    return float(np.clip((value - low) / (high - low), 0.0, 1.0))


def points_for(found: Measures) -> dict[str, float]:
    """The points of each kind of evidence for a stand, by the words that name it."""
    plate = ramp(found.solid, 0.8, 0.95) * ramp(found.footing, 0.75, 0.93)
    set_off = ramp(found.crease, 0.55, 0.85) * ramp(found.ledge, 0.55, 0.9) * ramp(found.seen_top, 0.1, 0.25)
    low = 1.0 - ramp(found.flat, 0.4, 0.65)
    edges = max(ramp(found.straight, 0.45, 0.75), ramp(found.rectangle, 0.88, 0.95) * plate)
    turned = ramp(found.turned, 0.85, 0.97)
    points = {
        "a low plate that a crease sets off all round": 0.8 * set_off * plate * low,
        "level and upright faces": 0.6 * ramp(found.level_upright, 0.6, 0.75),
        "straight edges": edges if edges >= turned else 0.0,
        "a turned outline": turned if turned > edges else 0.0,
        "it joins feet that nothing else joins": 0.7 * plate * ramp(found.crease, 0.5, 0.8) if found.feet > 1 else 0.0,
        "a colour of its own": 1.3 * ramp(found.colour_gap, 1.2, 2.5) * ramp(found.crease, 0.4, 0.7),
        "a broad top": 0.2 * ramp(found.seen_top, 0.3, 0.5) * low,
        "its regular walls end where another form begins": 0.4 if found.ends else 0.0,
    }
    return points


def counter_for(found: Measures) -> dict[str, float]:
    """The points of each kind of evidence against a stand, likewise."""
    return {
        "it is tall": 0.8 * ramp(found.top, 0.33, 0.5),
        "what stands on it goes on in the same way": 1.2 * ramp(found.above_straight, 0.45, 0.7)
        + 2.5 * ramp(found.above_turned, *WHOLLY_TURNED) * ramp(found.turned, 0.75, 0.9),
        "nothing sets it off": 0.6
        * (1.0 - ramp(found.crease, 0.3, 0.55))
        * (0.0 if found.ends and found.straight > 0.6 else 1.0),
        "its walls go on over the line": 0.8 if found.goes_on else 0.0,
        "it is a block with one thing on it, like the foot of a tool": 0.3
        * ramp(found.flat, 0.45, 0.65)
        * (0.0 if found.ends or found.feet > 1 else 1.0),
        "it is shaped as freely as what stands on it, like a rock": 0.9
        * (1.0 - ramp(found.level_upright, 0.3, 0.55))
        * (1.0 - ramp(found.straight, 0.3, 0.6))
        * (1.0 - ramp(found.turned, 0.8, 0.95))
        * (1.0 - ramp(found.colour_gap, 1.2, 2.5)),
        "it is no plate": 0.6 * (1.0 - ramp(found.solid, 0.6, 0.8) * ramp(found.footing, 0.55, 0.75)),
    }


def chance(found: Measures) -> float:
    """0 to 1: how likely it is that this is a stand."""
    total = sum(points_for(found).values()) - sum(counter_for(found).values())
    return float(1.0 / (1.0 + np.exp(-SLOPE * (total - MIDDLE))))


def words_for(found: Measures) -> tuple[str, ...]:
    """The evidence in words, the strongest first; the evidence against after it."""
    speaks = sorted(((value, words) for words, value in points_for(found).items() if value > 0.15), reverse=True)
    against = sorted(((value, words) for words, value in counter_for(found).items() if value > 0.15), reverse=True)
    return tuple(words for _, words in speaks) + tuple(f"against it: {words}" for _, words in against)


@record
class Shown:
    """What a scan shows: its mesh and graph; normals (m, 3) smoothed lightly, and over much of a wall, which rough walls need;
    its regular walls; colour (m, 3) or None; unseen (m,) faces that fill what was not seen, which say nothing."""

    mesh: TriangleMesh
    graph: FaceGraph
    normals: tuple[Floats, Floats]
    walls: Walls
    colour: Floats | None
    unseen: Bools


def measures(shown: Shown, stand: Bools, border: tuple[float, float, float], feet: int) -> Measures:
    """Measure a proposed stand (m,). border: crease share, ledge share and top (mm). feet: parts of the piece on it."""
    mesh, graph, normals, walls = shown.mesh, shown.graph, shown.normals, shown.walls
    colour, unseen = shown.colour, shown.unseen
    height = max(float(graph.centre[:, 2].max()), 1e-9)
    top, normal = border[2], normals[0]
    area, level = graph.area, graph.centre[:, 2]
    body = stand & ~unseen & ~((normal[:, 2] < -0.7) & (level < max(0.03 * height, 0.3 * top)))
    rise = normal[:, 2]
    steep = body & (np.abs(rise) < 0.6)
    regular = body & ((np.abs(rise) < 0.2) | (rise > 0.95))
    shares = [planar_share(graph.centre[steep], entry[steep], area[steep]) for entry in normals]
    straight, turned = max(share[0] for share in shares), max(share[1] for share in shares)
    solid, footing, plan, rectangle = _plan(mesh, stand, height, top)
    kind = "straight" if straight >= turned else "turned"
    return Measures(
        crease=border[0],
        ledge=border[1],
        level_upright=float(area[regular].sum() / max(area[body].sum(), 1e-12)),
        straight=straight,
        turned=turned,
        rectangle=rectangle,
        solid=solid,
        footing=footing,
        seen_top=float(area[body & (rise > 0.8)].sum() / max(plan, 1e-12)),
        flat=top / max(float(np.sqrt(plan)), 1e-12),
        feet=feet,
        above_straight=walls.share("straight", height, top + 0.04 * height, min(2.5 * top + 0.1 * height, 0.9 * height)),
        above_turned=walls.share("turned", height, top + 0.04 * height, 0.9 * height),
        ends=walls.kind == kind and abs(walls.top - top) < 0.03 * height,
        goes_on=walls.kind == kind and walls.top > top + 0.05 * height,
        colour_gap=0.0 if colour is None else _colour_gap(graph, stand, colour),
        top=top / height,
    )


def _plan(mesh: TriangleMesh, stand: Bools, height: float, top: float) -> tuple[float, float, float, float]:
    """Seen from above: plan over its hull, hull of what it rests on over the plan's, the plan's area, hull over rectangle."""
    part = submesh(mesh, stand)
    faces, weights = sampled_by_area(part, 20_000)
    spots = np.einsum("nk,nkd->nd", weights, np.asarray(part.vertices, float)[part.faces[faces]])
    breadth = float(np.ptp(spots[:, :2], axis=0).max())
    cell = max(breadth / 60.0, 1e-12)
    cells = np.unique(np.floor(spots[:, :2] / cell).astype(int), axis=0)
    plan = len(cells) * cell**2
    outline = convex_outline(np.concatenate([cells + [x, y] for x in (0.15, 0.85) for y in (0.15, 0.85)]) * cell)
    hull = outline_area(outline)
    low = spots[spots[:, 2] < max(0.02 * height, 0.15 * top, 0.03 * breadth)]
    low = np.unique(np.floor(low[:, :2] / cell).astype(int), axis=0)
    rest = outline_area(convex_outline((low + 0.5) * cell)) if len(low) > 3 else 0.0
    footing = min(rest / max(outline_area(convex_outline((cells + 0.5) * cell)), 1e-12), 1.0)
    return min(plan / max(hull, 1e-12), 1.0), footing, plan, hull / max(_least_rectangle(outline), 1e-12)


def _least_rectangle(outline: Floats) -> float:
    """Area of the smallest rectangle round a convex outline (k, 2): it lies along one of the edges (Freeman and Shapira, CACM
    18, 1975)."""
    along = np.roll(outline, -1, axis=0) - outline
    along = along / np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-12)
    over = outline @ along.T
    beside = outline @ np.stack([-along[:, 1], along[:, 0]])
    return float((np.ptp(over, axis=0) * np.ptp(beside, axis=0)).min()) if len(outline) > 2 else 0.0


def _colour_gap(graph: FaceGraph, stand: Bools, colour: Floats, rings: int = 8) -> float:
    """Difference of chroma and lightness between the two sides of the line, within some rings of faces, in standard
    deviations."""
    near = np.zeros(len(stand), bool)
    across = stand[graph.first] != stand[graph.second]
    near[graph.first[across]] = near[graph.second[across]] = True
    for _ in range(rings):
        touched = near[graph.first] | near[graph.second]
        near[graph.first[touched]] = near[graph.second[touched]] = True
    logs = np.log(np.clip(colour, 0.0, None) + 0.02)
    values = np.stack([logs[:, 0] - logs[:, 1], logs[:, 2] - logs[:, 1], 0.5 * logs.mean(axis=1)], axis=1)
    means, spreads = [], []
    for part in (near & stand, near & ~stand):
        if part.sum() < 30:
            return 0.0
        means.append(np.average(values[part], axis=0, weights=graph.area[part] + 1e-12))
        spreads.append(np.cov(values[part].T, aweights=graph.area[part] + 1e-12) + 1e-3 * np.eye(3))
    gap = means[0] - means[1]
    return float(np.sqrt(gap @ np.linalg.solve(0.5 * (spreads[0] + spreads[1]), gap)))
