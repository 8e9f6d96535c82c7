"""How much light reaches each texel of a sculpture? Rays from its surface to the room, and light that bounces on it twice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import unit
from blender_addon.scene.spatial import SurfaceQueries as RayTree

from . import rooms
from .sculpture import Sculpture

Floats = Any
Ints = Any
LIFT_MM = 0.12
"""Rays start so far above the surface: a smooth normal's horizon lies below the flat triangles round it."""
BOUNCES = 2
AT_ONCE = 40_000


@dataclass(frozen=True, eq=False)
class Seen:
    """What the vertices of a sculpture, cut once more at the middle of its edges, see.

    faces: (4 m, 3) the finer faces, the four of each face of the mesh in a row. normal: (v, 3). directions: (d, 3) unit, the
    even ones first, then each lamp's. weight: (d,) steradians over pi. open: (v, d) bool, free and above the horizon. hit: (v,
    EVEN) int32 finer face that blocks an even direction, -1 where none does. spot: (v, 3) mm.
    """

    faces: Ints
    spot: Floats
    normal: Floats
    directions: Floats
    weight: Floats
    open: Any
    hit: Ints


def look(piece: Sculpture) -> Seen:
    """Cast all rays of a sculpture: about a minute."""
    faces, spot, normal = _finer(piece)
    tree = RayTree(piece.mesh.vertices, piece.mesh.faces)
    sets = [(rooms.even_directions(), 4.0 * np.pi / rooms.EVEN), *(rooms.lamp_directions(lamp) for lamp in rooms.LAMPS)]
    directions = np.concatenate([ways for ways, _ in sets])
    weight = np.concatenate([np.full(len(ways), angle / np.pi) for ways, angle in sets])
    seen, hit = np.zeros((len(spot), len(directions)), bool), np.full((len(spot), rooms.EVEN), -1, np.int32)
    start = spot + LIFT_MM * normal
    for place, way in enumerate(directions):
        rows = np.flatnonzero(normal @ way > 0.0)
        face, _ = tree.cast(start[rows], np.broadcast_to(way, (len(rows), 3)))
        seen[rows, place] = face < 0
        if place < rooms.EVEN:
            hit[rows, place] = face
    return Seen(faces, spot, normal, directions, weight, seen, hit)


def _finer(piece: Sculpture) -> tuple[Ints, Floats, Floats]:
    mesh = piece.mesh
    pairs = np.sort(np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]]), axis=1)
    ends, number = np.unique(pairs, axis=0, return_inverse=True)
    ab, bc, ca = number.reshape(3, -1) + len(mesh.vertices)
    a, b, c = mesh.faces.T
    normals = piece.surface.vertex_normal
    spot = np.concatenate([mesh.vertices, mesh.vertices[ends].mean(axis=1)])
    normal = unit(np.concatenate([normals, normals[ends].mean(axis=1)]))
    corners = ((a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca))
    return np.stack([np.stack(three, axis=1) for three in corners], axis=1).reshape(-1, 3), spot, normal


def irradiance(piece: Sculpture, seen: Seen, lights: list[str], albedo: Floats) -> list[Floats]:
    """(n, 3) float32 irradiance over pi on the true normals of the texels, for each room. albedo: (v, 3) for the bounces."""
    radiance = [_radiance(name) for name in lights]
    bounced = [_bounced(seen, light, albedo) for light in radiance]
    both = np.concatenate(radiance, axis=1).astype(np.float32) * seen.weight[:, None].astype(np.float32)
    corners, share = _places(piece, seen)
    found = [np.zeros((len(corners), 3), np.float32) for _ in lights]
    ways = seen.directions.astype(np.float32).T
    for first in range(0, len(corners), AT_ONCE):
        rows = slice(first, first + AT_ONCE)
        free = sum(seen.open[corners[rows, k]] * share[rows, k, None] for k in range(3)).astype(np.float32)
        direct = (free * np.maximum(piece.true_normal[rows] @ ways, 0.0)) @ both
        for place, flux in enumerate(bounced):
            near = sum(flux[corners[rows, k]] * share[rows, k, None, None] for k in range(3))
            again = np.maximum(np.einsum("nac,na->nc", near, piece.true_normal[rows]), 0.0)
            found[place][rows] = direct[:, 3 * place : 3 * place + 3] + again
    return found


def openness(piece: Sculpture, seen: Seen) -> Floats:
    """(n,) part 0 to 1 of an even sky's irradiance that reaches each texel on its smooth normal."""
    ways, weight = seen.directions[: rooms.EVEN], seen.weight[: rooms.EVEN]
    value = (seen.open[:, : rooms.EVEN] * np.maximum(seen.normal @ ways.T, 0.0)) @ weight
    return at_texels(piece, seen, value[:, None])[:, 0]


def at_texels(piece: Sculpture, seen: Seen, values: Floats) -> Floats:
    """(n, k) values (v, k) of the finer vertices at the texels."""
    corners, share = _places(piece, seen)
    return sum(values[corners[:, k]] * share[:, k, None] for k in range(3))


def _radiance(name: str) -> Floats:
    """(d, 3) radiance of a room in all directions of `Seen`; the lamps of other rooms are dark."""
    parts = [rooms.surroundings(name)]
    for lamp in rooms.LAMPS:
        lit = np.array(lamp.radiance) if lamp in rooms.IN_ROOM[name] else np.zeros(3)
        parts.append(np.broadcast_to(lit, (rooms.LAMP_RAYS, 3)))
    return np.concatenate(parts)


def _bounced(seen: Seen, radiance: Floats, albedo: Floats) -> Floats:
    """(v, 3, 3) flux, axis by channel, of the light that other places send."""
    ways, weight = seen.directions, seen.weight
    shown = seen.open.astype(np.float32) * np.maximum(seen.normal @ ways.T, 0.0).astype(np.float32)
    direct = shown @ (radiance * weight[:, None]).astype(np.float32)
    arrived, flux = direct, np.zeros((len(direct), 3, 3), np.float32)
    middle = 4 * np.arange(len(seen.faces) // 4)[:, None] + np.arange(4)
    for _ in range(BOUNCES):
        leaving = (arrived * albedo)[seen.faces[middle]].mean(axis=(1, 2)).astype(np.float32)
        flux = np.zeros((len(direct), 3, 3), np.float32)
        for place in range(rooms.EVEN):
            rows = np.flatnonzero(seen.hit[:, place] >= 0)
            came = leaving[seen.hit[rows, place]] * np.float32(weight[place])
            flux[rows] += ways[place].astype(np.float32)[None, :, None] * came[:, None, :]
        arrived = direct + np.maximum(np.einsum("vac,va->vc", flux, seen.normal), 0.0)
    return flux


def _places(piece: Sculpture, seen: Seen) -> tuple[Ints, Floats]:
    """(n, 3) finer vertices round each texel and their shares (n, 3) float32."""
    weight, face = piece.surface.texels.weight, piece.surface.texels.face
    corner = np.argmax(weight, axis=1)
    inner = weight[np.arange(len(weight)), corner] <= 0.5
    number = np.where(inner, 3, corner)
    corners = seen.faces[4 * face + number]
    turned = np.take_along_axis(weight, (corner[:, None] + np.arange(3)) % 3, axis=1)
    outer = np.stack([2 * turned[:, 0] - 1, 2 * turned[:, 1], 2 * turned[:, 2]], axis=1)  # at corner, ahead, behind
    middle = 1.0 - 2.0 * weight[:, [2, 0, 1]]  # at the middles of ab, bc, ca: each is far from the corner that it faces
    return corners, np.where(inner[:, None], middle, outer).astype(np.float32)
