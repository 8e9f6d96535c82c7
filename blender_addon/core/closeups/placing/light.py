"""What light makes the piece look as on a photograph? A room of spherical harmonics and one lamp, by the scan's normals.

The lamp is far away; what it casts in shadow is looked up from its side.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats
from ...mesh.triangles import across, unit
from ...records import record
from ...statistics import robust_deviation
from ...surface.light.spherical_harmonics import basis
from ...surface.texels import rasterize
from ..camera import PhotoCamera
from ..seen import flat_uv
from .look import Look, Skin

ORDER = 2
"""An order of 2 holds 98 % of what a matt surface makes of any light (Basri and Jacobs, Lambertian Reflectance and Linear
Subspaces, IEEE PAMI 25, 2003); what is left are cast shadows."""
ROUNDS = 4
"""Of reweighting: a guess."""
MOST = 6000
"""Pixels by which the light is fitted."""
BLACK, BLOWN = 0.002, 0.94
"""Linear light at and beyond which a pixel of a photo says nothing."""
MAP, ROUGH = 240, 120
"""Longest side in pixels of the picture that is taken from the lamp's side; and while the lamp is still looked for."""
COARSER = 2.0
"""Cells of the form that casts shadows, in its pixels: less than the 2.5 by which a surface may lie behind another unshaded."""
RINGS = ((40.0, 7), (20.0, 6), (9.0, 6))
"""Degrees round the best direction so far, and how many directions, in which the lamp is looked for."""


@record
class Light:
    """coefficients: (9 or 10,) of the harmonics and the lamp, for albedo times light to be the photo's linear grey. lamp: (3,)
    unit direction to the lamp in the piece's frame, or None. explained: share of the photo's variation over the piece that it
    explains, by the bulk of the pixels."""

    coefficients: Floats
    lamp: Floats | None
    explained: float


def grey_in(light: Light, seen: Look, skin: Skin) -> Floats:
    """(n,) linear grey of the look in a light."""
    values = _design(seen.normal, seen.position, light.lamp, skin) @ light.coefficients
    values = values * np.maximum(seen.albedo, 1e-4)
    return np.maximum(values, max(0.03 * float(np.median(values)), 1e-4)).astype(np.float32)


def fitted(seen: Look, photo: Floats, skin: Skin, lamp: Floats | None = None, *, size: int = MAP) -> Light:
    """The light of a linear grey photo (h, w), with a lamp where it was found before. size: of the lamp's picture."""
    step = max(1, len(seen.index) // MOST)
    rows = slice(None, None, step)
    values = photo.reshape(-1)[seen.index[rows]].astype(float)
    usable = (values > BLACK) & (values < BLOWN)
    albedo = np.maximum(seen.albedo[rows], 1e-4)[:, None]
    design = _design(seen.normal[rows], seen.position[rows], lamp, skin, size) * albedo
    coefficients = _robust(design, values, usable)
    return Light(coefficients, lamp, _explained(design @ coefficients, values, usable))


def lamp_of(seen: Look, photo: Floats, skin: Skin) -> Floats | None:
    """(3,) the direction of the lamp that explains most of the photo; None where no lamp does better than the room alone."""
    plain = fitted(seen, photo, skin)
    y, z, x = plain.coefficients[1:4]
    start = np.array([x, y, z], float)
    if np.linalg.norm(start) < 1e-9:
        return None
    best, how = unit(start), -np.inf
    for degrees, count in RINGS:
        for way in [best, *directions_round(best, degrees, count)]:
            explained = fitted(seen, photo, skin, way, size=ROUGH).explained
            if explained > how:
                best, how = way, explained
    return best if how > plain.explained + 0.02 else None


def directions_round(way: Floats, degrees: float, count: int) -> Floats:
    """(count, 3) unit directions evenly round a direction (3,), at an angle to it."""
    first = unit(across(way[None])[0])
    second = np.cross(way, first)
    turn = 2 * np.pi * np.arange(count) / count
    aside = np.cos(turn)[:, None] * first + np.sin(turn)[:, None] * second
    return np.asarray(np.cos(np.radians(degrees)) * way + np.sin(np.radians(degrees)) * aside)


def _design(normal: Floats, position: Floats, lamp: Floats | None, skin: Skin, size: int = MAP) -> Floats:
    columns = basis(normal.astype(float), ORDER)
    if lamp is None:
        return columns
    cosine = np.maximum(normal @ lamp, 0)
    return np.concatenate([columns, (cosine * unshaded(position, lamp, skin, size))[:, None]], axis=1)


def unshaded(position: Floats, lamp: Floats, skin: Skin, size: int = MAP) -> Floats:
    """(n,) 0 to 1: how far points of the piece are seen from a lamp far away.

    position: (n, 3) the points. lamp: (3,) the unit direction towards the lamp. size: of the picture that is taken from there,
    px.
    """
    skin = skin.fewer(COARSER * 1.05 * skin.reach / size)
    right = unit(across(lamp[None])[0])
    far = 40.0 * skin.reach
    rotation = np.stack([right, np.cross(-lamp, right), -lamp])
    camera = PhotoCamera(rotation, skin.middle + far * lamp, far / (1.05 * skin.reach) * size, 0.0, (size, size))
    vertices, faces = skin.form.vertices, skin.form.faces
    if skin.form.others is not None:
        faces = np.concatenate([faces, skin.form.others[1] + len(vertices)])
        vertices = np.concatenate([vertices, skin.form.others[0]])
    uv, depth = flat_uv(camera, vertices)
    inside = (np.abs(uv - 0.5) < 0.5).all(axis=1)[faces].all(axis=1)
    faces = faces[inside]
    order = np.argsort(-depth[faces].sum(axis=1), kind="stable")
    texels = rasterize(uv[faces[order]], height=size, width=size)
    nearest = np.full(size * size, np.inf)
    nearest[texels.index] = texels.interpolate(faces[order], depth - far)
    nearest = np.pad(nearest.reshape(size, size), 1, constant_values=np.inf)
    at, away = flat_uv(camera, position)
    column, row = (np.clip((at[:, axis] * size).astype(int), 0, size - 1) + 1 for axis in (0, 1))
    bias = 2.5 * 1.05 * skin.reach / size
    near = [away - far <= nearest[row + a, column + b] + bias for a in (-1, 0, 1) for b in (-1, 0, 1)]
    return np.mean(near, axis=0).astype(np.float32)


def _robust(design: Floats, values: Floats, usable: Bools) -> Floats:
    """Least squares with Cauchy's weights, so that what no light on the form explains bends it little."""
    weight = usable + 1e-6
    own = 1e-4 * float(np.einsum("ni,ni->i", design.T, design.T).max()) * np.eye(design.shape[1])
    own[0, 0] = 1e-12
    coefficients = np.zeros(design.shape[1])
    for _ in range(ROUNDS):
        coefficients = np.linalg.solve((design * weight[:, None]).T @ design + own, design.T @ (weight * values))
        off = values - design @ coefficients
        spread = max(robust_deviation(off[usable], 0.0) if usable.any() else 1.0, 1e-4)
        weight = (usable + 1e-6) / (1 + (off / (1.5 * spread)) ** 2)
    return np.asarray(coefficients)


def _explained(shown: Floats, values: Floats, usable: Bools) -> float:
    """1 less the mean absolute rest over the mean absolute deviation."""
    if usable.sum() < 20:
        return 0.0
    left = np.abs(values[usable] - shown[usable]).mean()
    whole = np.abs(values[usable] - np.median(values[usable])).mean()
    return float(1.0 - left / max(float(whole), 1e-6))
