"""The parts of the set as Blender data, which of them a shot shows, and how the tabletop supports the subject."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import bpy
import numpy as np

from ...core.arrays import Floats, Ints
from ...core.dressing.resting import Support, rest_on
from ...core.dressing.tabletops.grid import Tabletop
from ...core.mesh.topology import joined
from ...core.mesh.triangles import TriangleMesh, face_crosses, faces_by_area, weights_within
from ...core.records import record
from .. import roles
from ..meshes import METRES, MM, make_object, read_mesh
from ..prints.fingerprint import noted, unchanged
from ..roles import OFFERED
from ..shots.cameras import vertices_mm
from ..spatial import SurfaceQueries

if TYPE_CHECKING:
    from ..stage import Stage

SHOT_SET, SHOT_HIDE = "bozzetto_set", "bozzetto_hide"
"""On a shot's camera: the name of its table if not the job's, and the names of parts to hide, separated by commas."""

PART_OF, HIDDEN_IN = "bozzetto_part_of", "bozzetto_hidden_in"
"""On a part of the set: the table that it lies on, and the names of the shots that it would obstruct, separated by commas."""

DRESSING = ("table", "backdrop", "prop", "debris")

ARRANGEMENT = "bozzetto_arrangement"
"""On a table: the seed of the boards, the props and the debris."""

TRADE = "bozzetto_trade"
"""On a table: the key of the trade whose bench it is."""

TONED = "bozzetto_toned"
"""On a room behind and on a table: its tone is by the object's colour, which the lighting sets."""

AS_TAKEN = "as taken"
"""Value of `TONED` on a photograph, which shows at its own tone."""

SPARE = "bozzetto_spare"
"""On a part of a table that only some shots use."""

BAND_MM = 25.0
"""Height in mm up to which the subject counts as an obstacle."""


def to_metres(mesh: TriangleMesh) -> TriangleMesh:
    """A mesh converted from mm to metres."""
    return replace(mesh, vertices=np.asarray(mesh.vertices, np.float32) * np.float32(METRES))


def make_part(
    name: str, mesh: TriangleMesh, materials: Sequence[bpy.types.Material | None], *, smooth: bool = True, table: str = ""
) -> bpy.types.Object:
    """A new object from a mesh in mm.

    smooth: smooth shading. table: the name of the table that it lies on.
    """
    item = make_object(name, to_metres(mesh), materials=materials, smooth=smooth)
    item[PART_OF] = table
    return item


def materials_named(names: Sequence[str]) -> list[bpy.types.Material]:
    """The materials with these names, for steps that hold names alone while the window looks at its events."""
    return [bpy.data.materials[name] for name in names]


def offer_part(stage: Stage, role: str, item: bpy.types.Object, *, key: str, name: str) -> None:
    """Offer an object of the set; materials of the previous object that the user has edited are used on the new one.

    role: as for `stage.offer`.
    """
    old = stage.find(role, key)
    edited = {}
    if old is not None and not stage.afresh:
        edited = {
            used[OFFERED]: used
            for used in old.data.materials
            if used is not None and OFFERED in used and roles.MADE in used and not unchanged(used, used[roles.MADE])
        }
    for place, material in enumerate(item.data.materials):
        if material is None or roles.MADE in material or not stage.is_new(material):
            continue
        base = roles.stem(material.name)
        if base in edited:
            item.data.materials[place] = edited[base]
            stage.note_kept(edited[base], str(edited[base][roles.MADE]))
        else:
            material[OFFERED], material[roles.MADE] = base, noted(material)
    stage.offer(role, item, key=key, name=name)


@contextlib.contextmanager
def in_own_tones(names: Sequence[str]) -> Iterator[None]:
    """Inside the block, the objects named, tables and rooms, show as they were made and not as an earlier light toned them."""
    items = [bpy.data.objects[name] for name in names]
    kept = [np.array(item.color) for item in items]
    try:
        for item in items:
            item.color[:] = (1.0, 1.0, 1.0, 1.0)
        yield
    finally:
        for item, tone in zip(items, kept, strict=True):
            item.color[:] = tone


def only_seen(item: bpy.types.Object) -> None:
    """Make an object visible to the camera without shading or lighting the set, as for distant objects."""
    item.visible_shadow = item.visible_diffuse = item.visible_glossy = False
    item.visible_transmission = True
    item.visible_volume_scatter = False


def apply_shot_set(scene: bpy.types.Scene, shot: bpy.types.Object) -> dict[str, bool]:
    """Show the set for a shot: its table, without the parts that it hides. Returns the former `hide_render` by object name.

    A part's name is its key ('jar') or the object's own name; 'props', 'debris', 'table' and 'backdrop' stand for all of a
    kind. Pass the result to `restore_set` afterwards.
    """
    wanted = str(shot.get(SHOT_SET, "")).strip().lower()
    hidden = {word.strip().lower() for word in str(shot.get(SHOT_HIDE, "")).split(",") if word.strip()}
    name = str(shot.get(roles.KEY, shot.name))
    before: dict[str, bool] = {}
    items = [item for item in scene.objects if item.get(roles.ROLE) in DRESSING and item.get(roles.JOB) == shot.get(roles.JOB)]
    tables = {str(item[roles.KEY]) for item in items if item[roles.ROLE] == "table"}
    table = wanted if wanted in tables else ""
    rises = {f"rise{item.get(PART_OF, '')}" for item in items if str(item[roles.KEY]).startswith("rise")}
    for item in items:
        role, key = str(item[roles.ROLE]), str(item[roles.KEY])
        if role == "debris" and key.endswith("library"):
            continue
        before[item.name] = item.hide_render
        words = {role, f"{role}s", key.lower(), item.name.lower()}
        away = [word.strip() for word in str(item.get(HIDDEN_IN, "")).split(",")]
        belongs = str(item.get(PART_OF, "")) == table if key != "room" else "rise" + table not in rises
        item.hide_render = (
            bool(words & hidden) or not belongs or name in away or (belongs and before[item.name] and not _swapped(item))
        )
    return before


def _swapped(item: bpy.types.Object) -> bool:
    """Whether a part is hidden because the job uses another table."""
    return bool(item.get(SPARE, False))


def restore_set(scene: bpy.types.Scene, before: dict[str, bool]) -> None:
    """Undo `apply_shot_set`."""
    for name, hidden in before.items():
        item = scene.objects.get(name)
        if item is not None:
            item.hide_render = hidden


# --- where the subject stands ------------------------------------------------------------------------------------------


@record
class Foot:
    """The lower part of the subject in mm.

    points: (n, 3) near the support plane. vertices, faces: the triangles up to `BAND_MM`. middle: (2,) centre in x and y.
    """

    points: Floats
    vertices: Floats
    faces: Ints
    middle: Floats

    @property
    def reach(self) -> float:
        """Radius of the circle round the middle that contains the foot, mm."""
        return float(np.linalg.norm(self.points[:, :2] - self.middle, axis=1).max())


def subject_foot(stage: Stage) -> Foot:
    """The subject's underside and lower part."""
    parts = [read_mesh(item, scale=MM) for item in stage.subject()]
    whole = joined(parts)
    every, triangles = whole.vertices.astype(float), whole.faces
    low = every[triangles][:, :, 2].min(axis=1) < BAND_MM
    triangles = triangles[low]
    used, place = np.unique(triangles, return_inverse=True)
    band, triangles = every[used], place.reshape(-1, 3)
    centre = 0.5 * (every[:, :2].min(axis=0) + every[:, :2].max(axis=0))
    mean = sum((part.vertices[:, :2].sum(axis=0) for part in parts), np.zeros(2)) / max(len(every), 1)
    return Foot(_underside(band, triangles), band, triangles, 0.5 * (centre + mean))


def _underside(vertices: Floats, faces: Ints, *, most: float = 2.5, density: float = 9.0) -> Floats:
    """Points of the underside within `most` mm of the lowest: vertices, and points distributed over downward faces."""
    floor = vertices[:, 2].min()
    corners = vertices[faces]
    crosses = face_crosses(vertices, faces)
    down = (crosses[:, 2] < 0) & (corners[:, :, 2].min(axis=1) < floor + most)
    points = [vertices[vertices[:, 2] < floor + most]]
    corners, area = corners[down], 0.5 * np.linalg.norm(crosses[down], axis=1)
    if len(corners):
        rng = np.random.default_rng(5)
        count = int(min(30_000, max(500, density * area.sum())))
        pick = faces_by_area(np.cumsum(area), rng.random(count))
        weights = weights_within(rng.random(count), rng.random(count))
        points.append(np.einsum("nk,nkd->nd", weights, corners[pick]))
    points = np.concatenate(points)
    return points[points[:, 2] < floor + most]


def heights_of(surface: SurfaceQueries, *, top: float = 400.0) -> Callable[[Floats], Floats]:
    """A callable from points (n, 2) to the surface's height there, by rays from `top` mm; nan where there is no surface."""

    def heights(xy: Floats) -> Floats:
        xy = np.asarray(xy, float)
        origins = np.column_stack([xy, np.full(len(xy), top)])
        _, far = surface.cast(origins, np.broadcast_to([0.0, 0.0, -1.0], origins.shape))
        return np.where(np.isfinite(far), top - far, np.nan)

    return heights


def settle_under(mesh: TriangleMesh, foot: Foot) -> tuple[TriangleMesh, Support, float]:
    """The tabletop moved so that it supports the subject at three points; also the support plane and the largest gap, mm.

    The subject stays at z = 0; the whole top is lowered and tilted by a fraction of a degree.
    """
    heights = heights_of(SurfaceQueries(mesh.vertices, mesh.faces))
    lower = _ground_peaks(mesh, foot)
    ground = heights(foot.points[:, :2])
    known = np.isfinite(ground)
    xy = np.concatenate([foot.points[known, :2], lower[:, :2]])
    rise = np.concatenate([(ground - foot.points[:, 2])[known], lower[:, 2]])
    support = rest_on(xy, rise, foot.middle)
    vertices = np.asarray(mesh.vertices, float).copy()
    vertices[:, 2] -= support.at(vertices[:, :2])
    gap = float(np.abs((rise - support.at(xy)).max())) if len(xy) else 0.0
    return replace(mesh, vertices=vertices), support, gap


def settled_top(top: Tabletop, foot: Foot) -> tuple[TriangleMesh, list[str], Support, float]:
    """A tabletop under the subject, with the surface below it, as one mesh; its slots' materials, support and gap, mm."""
    mesh, support, gap = settle_under(top.mesh, foot)
    mesh = replace(mesh, material=np.zeros(len(mesh.faces), np.int32))
    if top.below is None:
        return mesh, [top.material], support, gap
    below = top.below.mesh
    # the lower surface touches the upper one's underside at its highest point below it
    low, high = mesh.vertices[:, :2].min(axis=0), mesh.vertices[:, :2].max(axis=0)
    base = np.asarray(below.vertices, float)
    inside = ((base[:, :2] > low) & (base[:, :2] < high)).all(axis=1)
    level = float(base[inside, 2].max()) if inside.any() else float(base[:, 2].max())
    moved = base - [0.0, 0.0, level + top.thickness]
    moved[:, 2] -= support.at(moved[:, :2])
    joined = {
        name: np.concatenate([np.zeros((len(mesh.vertices), 4), np.float32), values]) for name, values in below.colours.items()
    }
    whole = TriangleMesh(
        np.concatenate([mesh.vertices, moved]), np.concatenate([mesh.faces, below.faces + len(mesh.vertices)]),
        material=np.concatenate([mesh.material, np.ones(len(below.faces), np.int32)]), colours=joined,
    )  # fmt: skip
    return whole, [top.material, top.below.material], support, gap


def follow(mesh: TriangleMesh, support: Support) -> TriangleMesh:
    """A mesh moved in the same way as its tabletop."""
    vertices = np.asarray(mesh.vertices, float).copy()
    vertices[:, 2] -= support.at(vertices[:, :2])
    return replace(mesh, vertices=vertices)


def spare(item: bpy.types.Object, yes: bool) -> bpy.types.Object:
    """The part; if `yes`, hidden until a shot uses its table."""
    if yes:
        item.hide_render = item.hide_viewport = True
        item[SPARE] = True
    return item


def _ground_peaks(mesh: TriangleMesh, foot: Foot) -> Floats:
    """(n, 3) x and y of the top's vertices under the subject, and how far each is above the subject's underside."""
    low, high = foot.points[:, :2].min(axis=0), foot.points[:, :2].max(axis=0)
    vertices = np.asarray(mesh.vertices, float)
    inside = ((vertices[:, :2] > low) & (vertices[:, :2] < high)).all(axis=1)
    under = vertices[inside]
    if not len(under):
        return np.zeros((0, 3))
    origins = np.column_stack([under[:, :2], np.full(len(under), -50.0)])
    _, far = SurfaceQueries(foot.vertices, foot.faces).cast(origins, np.broadcast_to([0.0, 0.0, 1.0], origins.shape), 54.0)
    hit = np.isfinite(far)
    return np.column_stack([under[hit, :2], under[hit, 2] - (far[hit] - 50.0)])


def world_mesh(item: bpy.types.Object) -> TriangleMesh:
    """An object's triangles at its place in the scene, mm."""
    return read_mesh(item, scale=MM)


__all__ = [
    "BAND_MM", "DRESSING", "HIDDEN_IN", "PART_OF", "SHOT_HIDE", "SHOT_SET", "Foot", "apply_shot_set", "heights_of", "make_part",
    "only_seen", "restore_set", "settle_under", "subject_foot", "to_metres", "vertices_mm", "world_mesh",
]  # fmt: skip
