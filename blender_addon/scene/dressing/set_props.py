"""Props as Blender data: generated or from the user's collection, resting on the table, out of every shot's way."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import bpy
import numpy as np
from mathutils import Matrix

from ...core.arrays import Floats
from ...core.dressing.compose import Bench, Spot, Thing, compose, spread_points
from ...core.dressing.props import make_prop
from ...core.dressing.resting import rest_on
from ...core.mesh.blue_noise import Thrower
from ...core.mesh.triangles import TriangleMesh, face_areas, face_crosses, unit
from ...core.records import record
from ...job.errors import SubjectError
from ..meshes import METRES, MM, read_mesh
from ..nodes.props import ANY_CHROMA, prop_chroma
from .set_materials import prop_material
from .set_parts import HIDDEN_IN, make_part

if TYPE_CHECKING:
    from ...core.shots.sight import ShotView

FLAT_ANGLE = np.radians(38.0)
"""Edges with a larger angle between their faces (radians) are shaded sharp."""

TALL_MM = 14.0
"""Height from which a prop belongs behind the piece; set by eye."""

PLACE = "role"
"""On an object of the user's collection of props: where it goes, 'back' or 'beside'."""

INDIVIDUALS = 6
"""How many variants of a prop are generated to find one with little colour."""


@record
class Candidate:
    """A prop before it is placed: its name, its mesh in mm about the origin, its materials' names or the user's object.

    chroma: largest chroma C* of its colours; others are greyed. light: likewise for their luminance. soiled:
    how much dry slip is left on it, 0 to 1. place: 'back' or 'beside',
    '' to decide by its height.
    """

    name: str
    mesh: TriangleMesh
    materials: tuple[str, ...] = ()
    original: str = ""
    chroma: float = ANY_CHROMA
    light: float = 1.0
    soiled: float = 1.0
    place: str = ""


def made_candidates(
    names: Sequence[str], *, seed: int, chroma: float = ANY_CHROMA, light: float = 1.0, soiled: float = 1.0
) -> list[Candidate]:
    """Props by name, no more colourful and no lighter than the piece. soiled: as on a `Candidate`.

    Of a few variants the first is taken whose colours all have at most the chroma `chroma` (C*, CIE L*a*b*), else the one with
    the least. Colours that still have more are greyed, and those with a higher luminance than `light` darkened.
    """
    found = []
    for place, name in enumerate(names):
        best, least = None, np.inf
        for number in range(INDIVIDUALS):
            prop = make_prop(name, seed=seed * 100 + place + 7919 * number)
            loudness = max(prop_chroma(material) for material in prop.materials)
            if best is None or loudness < least:
                best, least = prop, loudness
            if least <= chroma:
                break
        if best is not None:
            found.append(Candidate(name, best.mesh, best.materials, chroma=chroma, light=light, soiled=soiled))
    return found


def collected_candidates(collection: str) -> list[Candidate]:
    """Props from a collection of the user's: each mesh object at its own size and orientation.

    Raises SubjectError when there is no such collection or it contains no mesh.
    """
    home = bpy.data.collections.get(collection)
    items: list[bpy.types.Object] = (
        [] if home is None else [item for item in home.all_objects if item.type == "MESH" and len(item.data.polygons)]
    )
    if not items:
        raise SubjectError(
            f'The prop collection "{collection}" holds no mesh; put objects of true size into it, or clear the field'
        )
    found = []
    for item in items:
        mesh = read_mesh(item, scale=MM)
        points = mesh.vertices.astype(float)
        middle = 0.5 * (points[:, :2].min(axis=0) + points[:, :2].max(axis=0))
        shift = np.array([*middle, points[:, 2].min()])
        place = str(item.get(PLACE, "")).strip().lower()
        if place not in ("", "back", "beside"):
            raise SubjectError(f'The prop "{item.name}" has the role "{place}"; a prop stands "back" or lies "beside"')
        found.append(Candidate(item.name, replace(mesh, vertices=points - shift), original=item.name, place=place))
    return found


@record
class Place:
    """A placed prop: the prop, its spot in the composition, its (4, 4) matrix in mm, the remaining gap to the table in mm."""

    prop: Candidate
    spot: Spot
    matrix: Floats
    gap: float


def found_places(
    candidates: Sequence[Candidate],
    views: Sequence[ShotView],
    bench: Bench,
    *,
    seed: int,
    most: float = np.inf,
    wanted: int | None = None,
) -> list[Place]:
    """The candidates for which there is a place, with their places. Uses no Blender data. most, wanted: see `compose`."""
    things = [
        Thing(candidate.name, spread_points(candidate.mesh.vertices, candidate.mesh.faces), _stands_back(candidate))
        for candidate in candidates
    ]
    found = []
    for candidate, spot in zip(candidates, compose(things, views, bench, seed=seed, most=most, wanted=wanted), strict=True):
        if spot is None:
            continue
        matrix, gap = settled(candidate.mesh, spot, bench.heights)
        if matrix is not None:
            found.append(Place(candidate, spot, matrix, gap))
    return found


def _stands_back(candidate: Candidate) -> bool:
    return candidate.place == "back" if candidate.place else float(np.ptp(candidate.mesh.vertices[:, 2])) > TALL_MM


def made_props(places: Sequence[Place], tone: Sequence[float]) -> Iterator[tuple[str, bpy.types.Object]]:
    """The key and a new object for each place, one after the other."""
    keys: set[str] = set()
    for place in places:
        name = place.prop.name
        key = name if name not in keys else f"{name} {len(keys) + 1}"
        keys.add(key)
        yield key, _object(place.prop, place.matrix, place.spot, tone)


def settled(mesh: TriangleMesh, spot: Spot, heights: Callable[[Floats], Floats]) -> tuple[Floats | None, float]:
    """The (4, 4) matrix, mm, of a prop that rests on the ground at a spot, and the remaining gap, mm.

    The prop is tilted until it rests on three points about its middle, then lowered until it just touches. None where there is
    no ground.
    """
    vertices = np.asarray(mesh.vertices, float)
    below, middle = _underside(mesh), _middle(mesh)
    c, s = np.cos(spot.turn), np.sin(spot.turn)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    for _ in range(3):
        points = below @ turn.T + [*spot.place, 0.0]
        ground = heights(points[:, :2])
        known = np.isfinite(ground)
        if not known.any():
            return None, 0.0
        support = rest_on(points[known, :2], (ground - points[:, 2])[known], middle @ turn[:2].T + spot.place, steepest=0.25)
        if not support.stable or np.hypot(*support.slope) < 1e-7:
            break
        tip = _tipping(support.slope)
        turn = tip @ turn
    points = np.concatenate([vertices, below]) @ turn.T + [*spot.place, 0.0]
    near = points[:, 2] < points[:, 2].min() + 6.0
    ground = heights(points[near, :2])
    gap = points[near, 2] - ground
    lift = -np.nanmin(gap)
    matrix = np.eye(4)
    matrix[:3, :3] = turn
    matrix[:3, 3] = [*spot.place, lift]
    return matrix, float(abs(np.nanmin(gap + lift)))


def _middle(mesh: TriangleMesh) -> Floats:
    """(3,) area-weighted centre of the surface, which is near the centre of mass whatever the tessellation."""
    vertices = np.asarray(mesh.vertices, float)
    area = face_areas(vertices, mesh.faces)
    return area @ vertices[mesh.faces].mean(axis=1) / max(float(area.sum()), 1e-12)


def _underside(mesh: TriangleMesh) -> Floats:
    """(n, 3) points that can touch the ground: the lowest vertex of each 1.5 mm cell, and points on downward faces."""
    vertices = np.asarray(mesh.vertices, float)
    limit = vertices[:, 2].min() + min(0.35 * np.ptp(vertices[:, 2]) + 1.0, 6.0)
    low = np.flatnonzero(vertices[:, 2] < limit)
    cell = np.floor(vertices[low, :2] / 1.5).astype(np.int64)
    order = np.lexsort((vertices[low, 2], cell[:, 1], cell[:, 0]))
    first = np.ones(len(order), bool)
    first[1:] = (np.diff(cell[order], axis=0) != 0).any(axis=1)
    down = (face_crosses(vertices, mesh.faces)[:, 2] < 0) & (vertices[mesh.faces][:, :, 2].min(axis=1) < limit)
    points = [vertices[low[order[first]]]]
    if down.any():
        area = float(face_areas(vertices, mesh.faces[down]).sum())
        count = int(np.clip(5.0 * area, 200, 9000))
        points.append(Thrower(vertices, mesh.faces[down]).throw(count, np.random.default_rng(3))[0])
    return np.concatenate(points)


def _tipping(slope: Floats) -> Floats:
    """(3, 3) the smallest rotation that turns the vertical into the normal of a plane of this slope."""
    normal = unit(np.array([-slope[0], -slope[1], 1.0]))
    axis = np.cross([0.0, 0.0, 1.0], normal)
    sine, cosine = float(np.linalg.norm(axis)), float(normal[2])
    if sine < 1e-12:
        return np.eye(3)
    k = axis / sine
    cross = np.array([[0.0, -k[2], k[1]], [k[2], 0.0, -k[0]], [-k[1], k[0], 0.0]])
    return np.eye(3) + sine * cross + (1 - cosine) * cross @ cross


def _object(candidate: Candidate, matrix: Floats, spot: Spot, tone: Sequence[float]) -> bpy.types.Object:
    if candidate.original:
        source = bpy.data.objects[candidate.original]
        item = make_part(candidate.name, candidate.mesh, [slot.material for slot in source.material_slots])
    else:
        item = make_part(
            candidate.name,
            candidate.mesh,
            [
                prop_material(name, tone, chroma=candidate.chroma, light=candidate.light, soiled=candidate.soiled)
                for name in candidate.materials
            ],
        )
        item.data.set_sharp_from_angle(angle=float(FLAT_ANGLE))
    metres = np.array(matrix)
    metres[:3, 3] *= METRES
    item.matrix_basis = Matrix(metres.tolist())
    item[HIDDEN_IN] = ",".join(spot.hidden_in)
    return item
