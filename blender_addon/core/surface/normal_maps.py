"""How does a tilt of the surface become a normal map, and how do two of them join?

Tangent space as in glTF 2.0 (material.normalTexture): +X along u, +Y along v ("up"), +Z out of the surface; a component c is
stored as (c + 1) / 2. Tangents follow the open MikkTSpace rules (M. Mikkelsen, Simulation of Wrinkled Surfaces Revisited,
University of Copenhagen, 2008): a corner's tangent is the mean over the faces that share its vertex, its texture coordinate and
the side of their UVs, each weighted by its angle as seen along the smooth normal; only faces joined by edges are averaged.

Not Blender's `mesh.calc_tangents`: that needs a Blender mesh, while slopes become maps in threads beside the window, which
Blender's data must not enter, and on layouts that no mesh of the scene has (close-ups, the full scan behind a thinned one). A
test compares the two at every corner.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.components import connected_nodes
from ..mesh.triangles import across, unit
from ..records import record
from .texels import Texels


@record
class TangentFrames:
    """Tangents by corner group: corners (m, 3) int rows of tangent (k, 3); sign (m,) of the bitangent, +1 or -1 a face."""

    corners: Ints
    tangent: Floats
    sign: Floats


def encode(normals: Floats) -> Floats:
    """Components -1 to 1 stored as 0 to 1."""
    return (np.asarray(normals) * 0.5 + 0.5).astype(np.float32)


def decode(stored: Floats) -> Floats:
    """Unit normals from stored values 0 to 1 (glTF 2.0: 2c - 1, then normalise)."""
    return unit(np.asarray(stored, np.float32)[..., :3] * 2 - 1)


def reoriented(base: Floats, detail: Floats) -> Floats:
    """Unit normals (..., 3): `detail` laid onto `base`, both in tangent space.

    `detail` is turned by the shortest rotation that carries +Z to `base`. That rotation is half a turn about +Z, then half a
    turn about t = base + (0, 0, 1): with u = (-d_x, -d_y, d_z) the result is t (t . u) / t_z - u, as |t|^2 = 2 t_z.
    """
    t = np.asarray(base, float) + (0, 0, 1)
    u = np.asarray(detail, float) * (-1, -1, 1)
    return unit(t * (t * u).sum(axis=-1, keepdims=True) / np.maximum(t[..., 2:], 1e-6) - u)


def tangent_frames(vertices: Floats, faces: Ints, uv: Floats, vertex_normals: Floats) -> TangentFrames:
    """The tangents of a mesh. Faces without UV area get an arbitrary tangent.

    vertices: (n, 3). faces: (m, 3). uv: (m, 3, 2). vertex_normals: (n, 3), unit, smooth.
    """
    edge1, edge2 = uv[:, 1] - uv[:, 0], uv[:, 2] - uv[:, 0]
    turn = edge1[:, 0] * edge2[:, 1] - edge1[:, 1] * edge2[:, 0]
    sign = np.where(turn < 0, -1.0, 1.0)
    tangent = _along_u(vertices, faces, edge1, edge2, turn)
    normal = vertex_normals[faces.reshape(-1)]
    angles = _angles_seen(vertices, faces, normal.reshape(-1, 3, 3))
    key = np.concatenate(
        [
            faces.reshape(-1, 1).astype(np.int64),
            np.round(uv.reshape(-1, 2) * 2**20).astype(np.int64),
            np.repeat(sign, 3)[:, None].astype(np.int64),
        ],
        axis=1,
    )
    _, shared = np.unique(_hashed(key), return_inverse=True)
    group = _fans(shared.reshape(-1, 3))
    _, first = np.unique(group, return_index=True)
    flat = np.repeat(tangent, 3, axis=0)
    flat = unit(flat - normal * np.einsum("ij,ij->i", flat, normal)[:, None])
    total = np.stack([np.bincount(group, flat[:, axis] * angles.reshape(-1), len(first)) for axis in range(3)], axis=1)
    group_normal = normal[first]
    weak = np.linalg.norm(total, axis=1) < 1e-9
    if weak.any():
        total[weak] = across(group_normal[weak])
    return TangentFrames(group.reshape(-1, 3), unit(total.astype(float)).astype(np.float32), sign.astype(np.float32))


def _angles_seen(vertices: Floats, faces: Ints, normal: Floats) -> Floats:
    """(m, 3) angles in radians between the two edges at each corner, seen along the corner's normal (m, 3, 3)."""
    place = vertices[faces].astype(float)
    angles = np.zeros(faces.shape)
    for corner in range(3):
        along = normal[:, corner].astype(float)
        edges = [place[:, (corner + step) % 3] - place[:, corner] for step in (1, 2)]
        flat = [unit(edge - along * np.einsum("ij,ij->i", along, edge)[:, None]) for edge in edges]
        angles[:, corner] = np.arccos(np.clip(np.einsum("ij,ij->i", *flat), -1.0, 1.0))
    return angles


def _fans(shared: Ints) -> Ints:
    """(3 m,) number of the fan that each corner belongs to: corners with one number `shared` (m, 3) whose faces are joined by
    edges with equal numbers at both ends. Faces that only touch in a corner are of different fans."""
    here = np.arange(shared.size).reshape(-1, 3)
    start, end = shared.reshape(-1), np.roll(shared, -1, axis=1).reshape(-1)
    from_corner, to_corner = here.reshape(-1), np.roll(here, -1, axis=1).reshape(-1)
    swapped = start > end
    low, high = np.where(swapped, to_corner, from_corner), np.where(swapped, from_corner, to_corner)
    edge = np.minimum(start, end) * (shared.max(initial=0) + 1) + np.maximum(start, end)
    order = np.argsort(edge, kind="stable")
    twin = (edge[order[1:]] == edge[order[:-1]]) & (start != end)[order[1:]]
    first, second = order[:-1][twin], order[1:][twin]
    return connected_nodes(np.concatenate([low[first], high[first]]), np.concatenate([low[second], high[second]]), shared.size)


def _along_u(vertices: Floats, faces: Ints, edge1: Floats, edge2: Floats, turn: Floats) -> Floats:
    """(m, 3) direction in which the surface point moves as u grows with v held (dP/du), unit."""
    a, b, c = (vertices[faces[:, corner]].astype(float) for corner in range(3))
    moved = (b - a) * edge2[:, 1:] - (c - a) * edge1[:, 1:]
    return unit(moved * np.where(turn < 0, -1.0, 1.0)[:, None])


def _hashed(key: Ints) -> Ints:
    """(n,) one number a row of small whole numbers; wraps, which a 64-bit mix makes harmless."""
    with np.errstate(over="ignore"):
        total = np.zeros(len(key), np.uint64)
        for column in range(key.shape[1]):
            total = (total ^ key[:, column].astype(np.uint64)) * np.uint64(0x9E3779B97F4A7C15)
            total ^= total >> np.uint64(29)
    return total


def tangent_space(texels: Texels, frames: TangentFrames, normals: Floats, slopes: Floats, strength: float = 1.0) -> Floats:
    """(n, 3) float32 unit tangent-space normals of the surface tilted by `slopes`.

    texels: where on the mesh the n texels lie. frames: the mesh's tangents.
    normals: (n, 3) unit smooth normals. slopes: (n, 3) surface gradient of the height (rise over run, a tangent vector in 3D).
    strength: factor of the slopes: the tilted normal is n - strength * slope.
    """
    tangent = unit(texels.interpolate(frames.corners, frames.tangent))
    bitangent = np.cross(normals, tangent) * frames.sign[texels.face][:, None]
    tilted = np.stack(
        [
            -strength * np.einsum("ij,ij->i", slopes, tangent),
            -strength * np.einsum("ij,ij->i", slopes, bitangent),
            np.ones(len(slopes), np.float32),
        ],
        axis=1,
    )
    return unit(tilted).astype(np.float32)


def from_tangent_space(texels: Texels, frames: TangentFrames, normals: Floats, mapped: Floats) -> Floats:
    """(n, 3) float32 unit normals in 3D of tangent-space normals.

    texels: where on the mesh the n texels lie. frames: the mesh's tangents. normals: (n, 3) unit smooth normals of the surface.
    mapped: (n, 3) tangent-space normals.
    """
    tangent = unit(texels.interpolate(frames.corners, frames.tangent))
    bitangent = np.cross(normals, tangent) * frames.sign[texels.face][:, None]
    return unit(mapped[:, :1] * tangent + mapped[:, 1:2] * bitangent + mapped[:, 2:] * normals).astype(np.float32)


def slopes_from_raster(texels: Texels, raster: Floats, u_gradient: Floats, v_gradient: Floats) -> Floats:
    """(n, 3) surface gradients of a height raster (height, width) in mm, from differences inside the covered texels.

    u_gradient, v_gradient: (m, 3) of `surface_frames`, per mm. A difference that would leave the layout is one-sided.
    """
    height, width = texels.shape
    mask = texels.mask()
    rise_u = _difference(raster, mask, 1).reshape(-1)[texels.index] * width
    rise_v = _difference(raster, mask, 0).reshape(-1)[texels.index] * height
    return (rise_u[:, None] * u_gradient[texels.face] + rise_v[:, None] * v_gradient[texels.face]).astype(np.float32)


def _difference(raster: Floats, mask: Bools, axis: int) -> Floats:
    ahead = np.roll(raster, -1, axis) - raster
    ahead_ok = np.roll(mask, -1, axis) & mask
    behind, behind_ok = np.roll(ahead, 1, axis), np.roll(ahead_ok, 1, axis)
    total = np.where(ahead_ok, ahead, 0) + np.where(behind_ok, behind, 0)
    return (total / np.maximum(ahead_ok.astype(np.float32) + behind_ok, 1)).astype(np.float32)


def green_down(picture: Floats) -> bool | None:
    """Whether a tangent-space normal map (h, w, 3) is -Y; None where that is unclear.

    A surface's slopes have no curl: d(rise along u)/dv = d(rise along v)/du. With green upside down that sum does not vanish.
    """
    normal = 2.0 * picture[..., :3] - 1.0
    usable = normal[..., 2] > 0.2
    rise = np.where(usable[..., None], -normal[..., :2] / np.maximum(normal[..., 2:], 0.2), 0.0)
    across = rise[1:-1, 2:, 1] - rise[1:-1, :-2, 1]  # of the rise along v, in u
    upward = rise[2:, 1:-1, 0] - rise[:-2, 1:-1, 0]  # of the rise along u, in v
    steps = (across, upward)
    limit = [np.quantile(np.abs(step), 0.98) for step in steps]  # islands' borders are steps of no surface
    kept = (np.abs(across) <= limit[0]) & (np.abs(upward) <= limit[1]) & usable[1:-1, 1:-1]
    plus = float(np.square(across - upward)[kept].sum())
    minus = float(np.square(across + upward)[kept].sum())
    if max(plus, minus) < 1e-6 * max(int(kept.sum()), 1) or 0.87 < plus / max(minus, 1e-12) < 1.15:
        return None
    return minus < plus
