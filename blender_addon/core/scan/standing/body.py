"""What is needed of a scan to decide which way is up? Points on its surface, its hull, its centre of mass, its open rims."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.holes import Rim, fans, openings
from ...mesh.planar import convex_outline
from ...mesh.preview import sampled_by_area
from ...mesh.spikes import steady_vertices
from ...mesh.triangles import TriangleMesh, face_crosses, signed_volume, unit
from ...records import record

Hull = Callable[[Floats], Ints]
"""Points (n, 3) to the triangles (m, 3) of their convex hull, looking outwards."""
POINTS = 30_000
"""Points of the surface by which poses are measured, to bound the time."""


@record
class Body:
    """A scan prepared for this, in the scan's own unit and axes.

    points, normals: (n, 3) random points spread evenly over the surface, and unit normals. filled: (n,) bool, where a hole was
    filled. area: of the whole surface. mass: (3,) the centre of what is enclosed, its openings closed. extremes: (k, 3) the
    outermost points and hull: (h, 3) their hull's triangles. rims: those that are still open. diagonal: of the box without
    spikes. brightness: (n,) linear luminance of the scan's own colour, or None where it has none.
    """

    points: Floats
    normals: Floats
    filled: Bools
    area: float
    mass: Floats
    extremes: Floats
    hull: Ints
    rims: tuple[Rim, ...]
    diagonal: float
    brightness: Floats | None = None


def body_of(
    mesh: TriangleMesh, hull: Hull, *, good: Bools | None = None,
    colours: Callable[[Ints, Floats], Floats] | None = None,
) -> Body:  # fmt: skip
    """Prepare a mesh. good: (n,) which vertices are not spikes, where that is known. colours: faces (k,) and barycentric
    weights (k, 3) to the colour (k, 3) that the scan shows there, 0 to 1."""
    vertices = mesh.vertices.astype(float)
    good = np.asarray(steady_vertices(mesh) if good is None else good, bool)
    sound = good[mesh.faces].all(axis=1)
    if not sound.any():
        sound = np.ones(len(mesh.faces), bool)
    used = np.zeros(len(vertices), bool)
    used[mesh.faces[sound]] = True  # a vertex that touches only spikes may be one
    steady = vertices[good & used] if (good & used).any() else vertices
    faces, weights = sampled_by_area(mesh, POINTS)
    kept = sound[faces] if sound[faces].any() else np.ones(len(faces), bool)  # of very few faces none may be drawn
    faces, weights = faces[kept], weights[kept]
    crosses = face_crosses(vertices, mesh.faces)
    found = openings(mesh)
    extremes = extreme_points(steady)
    return Body(
        np.einsum("nk,nkd->nd", weights, vertices[mesh.faces[faces]]),
        unit(crosses)[faces],
        mesh.face_marks.get("filled", np.zeros(len(mesh.faces), bool))[faces],
        0.5 * float(np.linalg.norm(crosses, axis=1).sum()),
        centre_of_mass(*fans(mesh, found.rims)),
        extremes,
        hull(extremes),
        found.rims,
        float(np.linalg.norm(np.ptp(steady, axis=0))),
        None if colours is None else brightness(colours(faces, weights)),
    )


def brightness(colours: Floats) -> Floats:
    """(n,) linear luminance of display colours (n, 3) in sRGB (IEC 61966-2-1; BT.709 weights)."""
    linear = np.where(colours < 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]), float)


def centre_of_mass(vertices: Floats, faces: Ints) -> Floats:
    """Centre (3,) of the enclosed volume (Mirtich, *Fast and accurate computation of polyhedral mass properties*, J. Graphics
    Tools 1, 1996); of the surface where the mesh encloses next to nothing."""
    origin = vertices.mean(axis=0)
    a, b, c = (vertices[faces[:, corner]] - origin for corner in range(3))
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    total = volumes.sum()
    box = float(np.prod(np.maximum(np.ptp(vertices, axis=0), 1e-30)))
    if abs(total) > 0.01 * box and signed_volume(vertices, faces) != 0.0:
        return origin + (volumes[:, None] * (a + b + c) / 4.0).sum(axis=0) / total
    areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return origin + (areas[:, None] * (a + b + c) / 3.0).sum(axis=0) / areas.sum()


def fibonacci_directions(count: int) -> Floats:
    """(count, 3) unit vectors spread evenly over the sphere (Swinbank and Purser, QJRMS 132, 2006)."""
    step = np.arange(count) + 0.5
    z = 1.0 - 2.0 * step / count
    angle = np.pi * (1.0 + np.sqrt(5.0)) * step
    ring = np.sqrt(1.0 - z**2)
    return np.stack([ring * np.cos(angle), ring * np.sin(angle), z], axis=1)


def extreme_points(points: Floats, count: int = 1500) -> Floats:
    """The points that are furthest in one of `count` directions: few, with nearly the hull of all."""
    directions = fibonacci_directions(count).astype(np.float32)
    small = np.ascontiguousarray((points - points.mean(axis=0)).T, np.float32)
    best = np.full(count, -np.inf, np.float32)
    place = np.zeros(count, np.int64)
    for start in range(0, small.shape[1], 8192):
        reach = directions @ small[:, start : start + 8192]
        row = reach.argmax(axis=1)
        value = reach[np.arange(count), row]
        better = value > best
        best[better], place[better] = value[better], row[better] + start
    return points[np.unique(place)]


def flat_outline(points: Floats, first: Floats, second: Floats) -> Floats:
    """Convex outline (k, 2) of points (n, 3) seen along the normal of two directions."""
    return convex_outline(np.stack([points @ first, points @ second], axis=1))
