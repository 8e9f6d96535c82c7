"""Fits the light of a textured surface: visibility, bounced light and the environment, on vertex clusters of a large mesh."""

from __future__ import annotations

from functools import lru_cache
from hashlib import blake2b

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.triangles import edges, unit
from ...records import record
from ..textured_surface import TexturedSurface
from .evidence import LightEvidence, light_evidence
from .light import Light, Shading, bounced, fit_light, half_sphere, shade, sky_design
from .visibility import look_round, spread_samples

Inputs = tuple[TexturedSurface, Floats, tuple[Floats, Ints] | None, int]
"""Surface, colours, occluders and seed of a fit."""


@record
class LamplightConstants:
    """Numbers of the fit's size; all bound time and memory."""

    samples: int = 150_000
    """Places on all surfaces that shade and reflect, to bound memory."""
    directions: int = 64
    """Directions in which a place looks, and as many opposite ones."""
    large: int = 45_000
    """Vertices above which receivers are clustered."""
    receivers: int = 25_000
    """Clusters that stand for the vertices of a large mesh, to bound memory."""
    kept: int = 4
    """Fits that are kept: those of a piece, its stand, and what was scanned beside them."""


LAMPLIGHT = LamplightConstants()


@record
class Lit:
    """A surface's light.

    light: the fitted environment. shading: its irradiance and flux at the v vertices.
    openness: (v,) ambient occlusion: the part 0 to 1 of a uniform sky's irradiance that reaches them.
    evidence: whether there is a light at all.
    """

    light: Light
    shading: Shading
    openness: Floats
    evidence: LightEvidence


def fit_surface_light(
    surface: TexturedSurface, colours: Floats, *, occluders: tuple[Floats, Ints] | None = None, seed: int = 1
) -> Lit:
    """Fit the light of a surface's texture.

    colours: (n, 3) linear, at the texels. occluders: other parts that stood there, vertices in mm and faces.
    seed: of the samples that visibility is traced with.

    The last few fits are kept: relief and albedo ask for the same light one after the other.
    """
    return _fit_of(_Request(surface, colours, occluders, seed))


class _Request:
    """A request for a fit, equal to another whose inputs have the same digest. Once answered it drops its large inputs."""

    def __init__(self, surface: TexturedSurface, colours: Floats, occluders: tuple[Floats, Ints] | None, seed: int):
        digest, texels = blake2b(f"{seed} {surface.texels.shape}".encode()), surface.texels
        parts = (surface.vertices, surface.vertex_normal, surface.faces, surface.uv, texels.index, texels.face, colours)
        for part in (*parts, *(occluders or ())):
            digest.update(f"{part.shape} {part.dtype}".encode())
            digest.update(np.ascontiguousarray(part).data)
        self.digest = digest.digest()
        self.inputs: Inputs | None = (surface, colours, occluders, seed)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Request) and self.digest == other.digest

    def __hash__(self) -> int:
        return hash(self.digest)


@lru_cache(maxsize=LAMPLIGHT.kept)
def _fit_of(request: _Request) -> Lit:
    inputs, request.inputs = request.inputs, None
    assert inputs is not None, "a request is answered once"
    return _fitted(*inputs)


def _fitted(surface: TexturedSurface, colours: Floats, occluders: tuple[Floats, Ints] | None, seed: int) -> Lit:
    vertices, faces = surface.vertices, surface.faces
    means, weight = surface.texels.gather(faces, colours, len(vertices))
    means = np.maximum(means, 1e-4).astype(np.float32)
    group = (
        clusters(vertices, surface.vertex_normal, LAMPLIGHT.receivers)
        if len(vertices) > LAMPLIGHT.large
        else np.arange(len(vertices))
    )
    point, normal, texture, count = _receivers(group, vertices, surface.vertex_normal, means, weight)
    all_vertices, all_faces = vertices, faces
    if occluders is not None and len(occluders[1]):
        all_vertices = np.concatenate([vertices, occluders[0].astype(np.float32)])
        all_faces = np.concatenate([faces, occluders[1] + len(vertices)])
    samples = spread_samples(all_vertices, all_faces, count=LAMPLIGHT.samples, seed=seed)
    seen = look_round(samples, point, normal, half_sphere(LAMPLIGHT.directions))
    shown = np.concatenate([means, np.broadcast_to(np.median(texture, axis=0), (len(all_vertices) - len(vertices), 3))])
    radiance = np.einsum("sk,skc->sc", samples.weight, shown[all_faces[samples.face]]).astype(np.float32)
    bounce, bounce_flux = bounced(seen, normal, radiance)
    light = fit_light(seen, normal, texture, count, bounce)
    shading = shade(light, seen, normal, bounce_flux)
    evidence = light_evidence(point, normal, texture, count, shading.irradiance)
    flux = shading.flux[group]
    if len(point) != len(vertices):
        flux = _smoothed(flux.reshape(len(flux), 9), faces).reshape(-1, 3, 3)
    openness = sky_design(seen, normal).sum(axis=1)[group]
    return Lit(light, Shading(np.einsum("nac,na->nc", flux, surface.vertex_normal), flux), openness, evidence)


def clusters(vertices: Floats, normals: Floats, wanted: int) -> Ints:
    """(v,) cluster of each vertex: those in one box that face the same way; about `wanted` of them."""
    size = np.ptp(vertices, axis=0)
    side = float(np.sqrt(2 * (size[0] * size[1] + size[1] * size[2] + size[2] * size[0]) / wanted))
    axis = np.argmax(np.abs(normals), axis=1)
    way = 2 * axis + (normals[np.arange(len(normals)), axis] > 0)
    for _ in range(4):
        place = np.floor((vertices - vertices.min(axis=0)) / max(side, 1e-9)).astype(np.int64)
        key = ((place[:, 0] * 8192 + place[:, 1]) * 8192 + place[:, 2]) * 6 + way
        _, group = np.unique(key, return_inverse=True)
        found = int(group.max()) + 1
        if found < 1.5 * wanted:
            break
        side *= np.sqrt(found / wanted)
    return group.reshape(-1)


def _receivers(
    group: Ints, vertices: Floats, normals: Floats, means: Floats, weight: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Position, normal, texture and weight of each cluster."""
    count = int(group.max()) + 1
    size = np.maximum(np.bincount(group, minlength=count), 1)
    texels = np.asarray(np.bincount(group, weight, count), float)

    def averaged(values: Floats, share: Floats, total: Floats) -> Floats:
        return np.stack([np.bincount(group, values[:, k] * share, count) for k in range(3)], axis=1) / total[:, None]

    even = np.ones(len(group))
    texture = averaged(means, weight, np.maximum(texels, 1e-9))
    return (
        averaged(vertices, even, size).astype(np.float32),
        unit(averaged(normals, even, size)).astype(np.float32),
        np.maximum(texture, 1e-4).astype(np.float32),
        texels,
    )


def _smoothed(values: Floats, faces: Ints, rounds: int = 16) -> Floats:
    """Vertex values averaged with their neighbours again and again, so that clusters leave no steps."""
    pairs, _ = edges(faces)
    both = np.concatenate([pairs[:, 0], pairs[:, 1]])
    other = np.concatenate([pairs[:, 1], pairs[:, 0]])
    count = np.bincount(both, minlength=len(values))[:, None] + 1.0
    for _ in range(rounds):
        total = values.astype(float)
        near = values[other]
        total += np.stack([np.bincount(both, near[:, k], len(values)) for k in range(values.shape[1])], axis=1)
        values = (total / count).astype(np.float32)
    return values
