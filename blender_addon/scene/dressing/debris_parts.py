"""Reads from the scene what the debris depends on: its colour, the obstacles, and the painted mask."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import bpy
import numpy as np

from ...core.arrays import Bools, Floats
from ...core.colour import lab
from ...core.dressing.trades import debris_of
from ...core.mesh.triangles import TriangleMesh
from ...core.records import record
from ...core.srgb import luminance
from ...job.errors import SubjectError
from ..images import read_pixels
from ..nodes.materials import KIND, STATE, albedo_of
from ..spatial import SurfaceQueries
from .set_parts import BAND_MM, Foot, world_mesh

if TYPE_CHECKING:
    from ..stage import Stage

Colour = tuple[float, float, float]

CLAY = (0.28, 0.255, 0.22)
OAK = (0.30, 0.19, 0.105)
STONE = (0.30, 0.29, 0.27)
"""Albedos where the piece's own colour is not known; set by eye."""
BODY_COLOUR = {"clay": CLAY, "wood": OAK, "stone": STONE}


@record
class Work:
    """The piece's material: its kind ('clay', ...), the state of its clay, its albedo where it has a single colour."""

    kind: str
    state: str
    albedo: Colour | None

    @property
    def chroma(self) -> float:
        """Chroma C* of its colour in CIE L*a*b*; that of bone-dry clay where it has no single colour."""
        return float(np.hypot(*lab(np.array(self.albedo or CLAY))[1:]))

    @property
    def light(self) -> float:
        """Luminance of its albedo; that of bone-dry clay where it has no single colour."""
        return float(luminance(np.array(self.albedo or CLAY)))


def work_on(stage: Stage) -> Work:
    """The piece's material; bone-dry clay where it has none yet."""
    material = stage.find("surface", "piece")
    if material is None:
        return Work("clay", "dry", None)
    return Work(str(material.get(KIND, "")), str(material.get(STATE, "")), albedo_of(material))


def body_and_tone(stage: Stage, body: str | None, tone: Sequence[float] | None) -> tuple[str | None, Colour]:
    """The debris's body and albedo: as requested, else those of the piece's material; body None where it sheds nothing."""
    work = work_on(stage)
    body = body or debris_of(work.kind, work.state)
    if tone is not None:
        return body, tuple(tone)  # type: ignore[return-value]
    if body is not None and body == debris_of(work.kind) and work.albedo is not None:
        return body, work.albedo
    return body, BODY_COLOUR[body or "clay"]


def distance_test(meshes: Sequence[TriangleMesh]) -> Callable[[Floats, Floats], Bools]:
    """A callable (points (n, 3), distance (n,)) -> (n,) bool: whether any of the meshes is nearer than the distance."""
    meshes = [mesh for mesh in meshes if len(mesh.faces)]
    surfaces = [(SurfaceQueries(m.vertices, m.faces), m.vertices.min(axis=0), m.vertices.max(axis=0)) for m in meshes]

    def near(places: Floats, reach: Floats) -> Bools:
        found = np.zeros(len(places), bool)
        for surface, low, high in surfaces:
            outside = np.maximum(np.maximum(low - places, places - high), 0.0)
            ask = np.flatnonzero(~found & ((outside**2).sum(axis=1) < reach**2))
            _, face, far = surface.nearest(places[ask], float(reach.max()) if len(reach) else 0.0)
            found[ask] |= (face >= 0) & (far < reach[ask])
        return found

    return near


def obstacles(stage: Stage, foot: Foot) -> list[TriangleMesh]:
    """The obstacles for `distance_test`: the lower parts of the subject and of every prop."""
    props = [world_mesh(item) for item in stage.find_all("prop").values() if item.type == "MESH" and not item.hide_render]
    return [TriangleMesh(foot.vertices, foot.faces), *(_lower(mesh) for mesh in props)]


def _lower(mesh: TriangleMesh) -> TriangleMesh:
    low = mesh.vertices[mesh.faces][:, :, 2].min(axis=1) < mesh.vertices[:, 2].min() + BAND_MM
    return TriangleMesh(mesh.vertices, mesh.faces[low])


def mask_density(stage: Stage, name: str | None, table: TriangleMesh) -> Callable[[Floats], Floats] | None:
    """The painted mask as a density function: the luminance, 0 to 1, of an image over the table's extent as seen from above.

    Raises SubjectError when there is no such image or it has no pixels.
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

    def density(points: Floats) -> Floats:
        share = np.clip((points[:, :2] - low) / (high - low), 0.0, 1.0 - 1e-9)
        return grey[(share[:, 1] * rows).astype(int), (share[:, 0] * columns).astype(int)]

    return density
