"""What debris needs to know of the scene: its colour, what is in its way, and the painted mask."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np

from ...core.mesh.triangles import TriangleMesh
from ...job.errors import SubjectError
from ..images import read_pixels
from ..nodes.materials import albedo_of
from ..spatial import Surface
from .set_parts import BAND_MM, Foot, world_mesh

CLAY = (0.28, 0.255, 0.22)
OAK = (0.30, 0.19, 0.105)
STONE = (0.30, 0.29, 0.27)
BODY_COLOUR = {"clay": CLAY, "wood": OAK, "stone": STONE}


def body_and_tone(stage: Any, body: str | None, tone: Sequence[float] | None) -> tuple[str, tuple[float, float, float]]:
    """What the pieces are of and their albedo: as asked, else as the piece's material says."""
    material = stage.find("surface", "piece")
    words = f"{material.name} {material.get('bozzetto_material', '')}".lower() if material is not None else ""
    if body is None:
        body = "wood" if "wood" in words else "stone" if any(word in words for word in ("stone", "plaster")) else "clay"
    if tone is not None:
        return body, tuple(tone)  # type: ignore[return-value]
    fits = any(word in words for word in ({"stone": ("stone", "plaster")}.get(body, (body,))))
    return body, (albedo_of(material) if fits else None) or BODY_COLOUR[body]


def distance_test(meshes: Sequence[TriangleMesh]) -> Any:
    """A callable (places (n, 3), reach (n,)) -> (n,) bool: whether one of the meshes comes nearer than the reach."""
    meshes = [mesh for mesh in meshes if len(mesh.faces)]
    surfaces = [(Surface(m.vertices, m.faces), m.vertices.min(axis=0), m.vertices.max(axis=0)) for m in meshes]

    def near(places: Any, reach: Any) -> Any:
        found = np.zeros(len(places), bool)
        for surface, low, high in surfaces:
            outside = np.maximum(np.maximum(low - places, places - high), 0.0)
            ask = np.flatnonzero(~found & ((outside**2).sum(axis=1) < reach**2))
            _, face, far = surface.nearest(places[ask], float(reach.max()) if len(reach) else 0.0)
            found[ask] |= (face >= 0) & (far < reach[ask])
        return found

    return near


def obstacles(stage: Any, foot: Foot) -> Any:
    """`distance_test` against the lower part of the subject and all props."""
    props = [world_mesh(item) for item in stage.find_all("prop").values() if item.type == "MESH" and not item.hide_render]
    return distance_test([TriangleMesh(foot.vertices, foot.faces), *(_lower(mesh) for mesh in props)])


def _lower(mesh: TriangleMesh) -> TriangleMesh:
    low = mesh.vertices[mesh.faces][:, :, 2].min(axis=1) < mesh.vertices[:, 2].min() + BAND_MM
    return TriangleMesh(mesh.vertices, mesh.faces[low])


def mask_density(stage: Any, name: str | None, table: TriangleMesh) -> Any:
    """The painted mask as a density: a picture laid over the table's extent from above, its luminance 0 to 1.

    Raises SubjectError when there is no such picture or it has no pixels.
    """
    if not name:
        return None
    image = bpy.data.images.get(name)
    if image is None or not image.size[0] or not image.size[1]:
        raise SubjectError(
            f'The debris mask "{name}" is not a picture in this file; load or paint it first, or clear the field'
        )
    grey = read_pixels(image)[..., :3] @ np.array([0.2126, 0.7152, 0.0722])
    low, high = table.vertices[:, :2].min(axis=0), table.vertices[:, :2].max(axis=0)
    rows, columns = grey.shape

    def density(points: Any) -> Any:
        share = np.clip((points[:, :2] - low) / (high - low), 0.0, 1.0 - 1e-9)
        return grey[(share[:, 1] * rows).astype(int), (share[:, 0] * columns).astype(int)]

    return density
