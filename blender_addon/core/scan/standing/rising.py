"""How does what stands rise from the ground? Steeply on walls, on separate legs, or curving away as a belly does.

A thing that lies on its back or side touches the ground where its round form happens to, so that just over the ground its
surface still faces down. A base, a plinth, feet and legs rise from it.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.components import connected_nodes
from ...mesh.holes import basis
from ...mesh.planar import convex_outline, outline_area
from .body import Body

BELLY, LEGS = (0.012, 0.036), (0.012, 0.06)
"""Heights over the ground, over the diagonal, between which is looked for bellies and for legs: over what counts as contact,
below the top of a slab, and below knees (guesses)."""
DOWN = 0.7
"""How far down a surface faces that is a belly's: 45 degrees. Of 0.4 to 0.8 tried, all made labelled scans and forms of a
public mesh library likelier, and synthetic ones no worse."""
FEWEST = 30
"""Points of walls below which they say little."""
CELL = 1.0 / 40.0
"""Size of the cells, over the diagonal, that tell legs apart: half the gap between them."""
LEAST_LEG = 0.04
"""Share of the band's points that make a leg."""
APART, STEEP = (0.3, 0.6), (0.3, 0.5)
"""Share of the outline of all legs that is legs, and share of their walls that is within 30 degrees of upright, between which
they become legs: four-legged animals 0.1 to 0.4 and 0.45 to 0.7; bumps on which a body lies 0.5 to 1 and 0.1 to 0.4 (by
labelled scans and a public mesh library)."""
OF_TWO = 0.6
"""How much two legs count: a body that lies on two bumps is commoner than one on three (a guess)."""


def belly(body: Body, up: Floats, point: Floats) -> float:
    """0 where the surface just over the ground (through `point`, its normal `up`) rises from it, 1 where all of it faces
    down."""
    lean = _lean_in_band(body, up, point, BELLY)[1]
    down, rising = int((lean < -DOWN).sum()), int((np.abs(lean) <= DOWN).sum())
    return down / max(down + rising, FEWEST)


def legs(body: Body, up: Floats, point: Floats) -> float:
    """0 to 1: how far it stands on separate legs that rise steeply, with much empty ground between them."""
    places, lean = _lean_in_band(body, up, point, LEGS)
    if len(lean) < 2 * FEWEST:
        return 0.0
    first, second = basis(up)
    plan = np.stack([places @ first, places @ second], axis=1)
    island = islands(plan, CELL * body.diagonal)
    count = np.bincount(island)
    large = np.flatnonzero(count > LEAST_LEG * len(plan))
    if len(large) < 2:
        return 0.0
    areas = sum(outline_area(convex_outline(plan[island == number])) for number in large)
    whole = outline_area(convex_outline(plan[np.isin(island, large)]))
    full = areas / whole if whole > 0 else 1.0
    apart = float(np.clip((APART[1] - full) / (APART[1] - APART[0]), 0.0, 1.0))
    steep = float((np.abs(lean) < 0.5).mean())
    return (1.0 if len(large) > 2 else OF_TWO) * apart * float(np.clip((steep - STEEP[0]) / (STEEP[1] - STEEP[0]), 0.0, 1.0))


def islands(plan: Floats, cell: float) -> Ints:
    """(n,) which island each point (n, 2) belongs to: points in neighbouring cells are of one island."""
    place = np.floor((plan - plan.min(axis=0)) / cell).astype(np.int64) + 1
    width = int(place[:, 1].max()) + 2
    cells, mine = np.unique(place[:, 0] * width + place[:, 1], return_inverse=True)
    pairs = []
    for step in (1, width - 1, width, width + 1):
        other = np.searchsorted(cells, cells + step)
        found = np.minimum(other, len(cells) - 1)
        near = np.flatnonzero(cells[found] == cells + step)
        pairs.append(np.stack([near, found[near]]))
    first, second = np.concatenate(pairs, axis=1)
    return connected_nodes(first, second, len(cells))[mine.reshape(-1)]


def _lean_in_band(body: Body, up: Floats, point: Floats, band: tuple[float, float]) -> tuple[Floats, Floats]:
    """The points (k, 3) in a band over the ground, and how far up (1) or down (-1) the surface faces there (k,)."""
    height = (body.points - point) @ up
    near = (height > band[0] * body.diagonal) & (height < band[1] * body.diagonal)
    return body.points[near], body.normals[near] @ up
