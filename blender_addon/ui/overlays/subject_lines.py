"""Lines round the subject: between piece and stand, round its support, and round the area that shots need clear."""

from __future__ import annotations

import bpy
import numpy as np

from ...core.arrays import Bools, Floats, Ints
from ...core.mesh.planar import convex_outline
from ...core.mesh.sections import border_lines, hatching
from ...core.shots.keep_out import keep_out_lines
from ...scene import roles
from ...scene.meshes import MM, read_mesh
from ...scene.shots import cameras, lens_drivers
from ...scene.stage import STATE, Stage
from ...steps import catalogue
from ..on_screen import sheet_of
from .drawn_lines import EDGE, HATCHING, HEAVY, Lines, State

CONTACT_MM = 0.4
"""Height in mm within which points count as touching the table; a guess: undersides of scans are rough by 0.1 to 0.3 mm."""
TALL_MM = 12.0
"""Height in mm of an object for which the clear area is shown: about a lump of clay."""
UNEVEN_MM = 5.0
"""How far in mm a table may rise above the foot and still be the surface that lines are drawn on; a guess: boards differ
by a millimetre or two, a sheet of paper curves up."""
REACH = 2.2
"""Half the side of the area shown, over the subject's length."""


def _player(scene: bpy.types.Scene, role: str) -> bpy.types.Object | None:
    """The mesh of the scene's job that plays a role."""
    found = roles.players(scene.get(roles.JOB, ""), role=role, scene=scene, kinds=("objects",))
    return next((item for item in found if item.type == "MESH"), None)


def _state(*items: bpy.types.Object) -> State:
    """The state of lines on some meshes: the meshes and their transforms."""
    return tuple(
        (item.data.session_uid, len(item.data.vertices), *(round(value, 7) for row in item.matrix_world for value in row))
        for item in items
    )


def _world(item: bpy.types.Object) -> tuple[Floats, Ints, Bools]:
    """Vertices (n, 3) in the world in metres, triangles (m, 3) and (m,) which of them are shaded flat, as a cut's are."""
    mesh = item.data
    mesh.calc_loop_triangles()
    faces, polygon = np.zeros(len(mesh.loop_triangles) * 3, np.int32), np.zeros(len(mesh.loop_triangles), np.int32)
    mesh.loop_triangles.foreach_get("vertices", faces)
    mesh.loop_triangles.foreach_get("polygon_index", polygon)
    smooth = np.zeros(len(mesh.polygons), np.bool_)
    mesh.polygons.foreach_get("use_smooth", smooth)
    values = read_mesh(item).vertices.astype(float)
    matrix = np.array(item.matrix_world)
    return values @ matrix[:3, :3].T + matrix[:3, 3], faces.reshape(-1, 3), ~smooth[polygon]


def _line_state(scene: bpy.types.Scene) -> State | None:
    piece, stand = _player(scene, "piece"), _player(scene, "stand")
    return None if piece is None or stand is None else _state(piece, stand)


def _line_lines(scene: bpy.types.Scene) -> Lines:
    vertices, faces, cut = _world(_player(scene, "piece"))
    return {"line": (border_lines(vertices, faces, ~cut) if cut.any() else np.zeros((0, 2, 3)), HEAVY)}


def _subject(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Piece and stand, or the upright scan before they are separated."""
    found = [item for role in ("piece", "stand") if (item := _player(scene, role)) is not None]
    upright = _player(scene, "upright")
    return found or ([upright] if upright is not None else [])


def _support_state(scene: bpy.types.Scene) -> State | None:
    return _state(*_subject(scene)) or None


def _support_lines(scene: bpy.types.Scene) -> Lines:
    """Outline and hatching of the smallest convex shape round all that touches, and a cross under the middle of the subject."""
    points = np.concatenate([_world(item)[0] for item in _subject(scene)])
    level = float(points[:, 2].min())
    outline = convex_outline(points[points[:, 2] <= level + CONTACT_MM / MM][:, :2])
    if len(outline) < 3:
        return {}
    ring = np.column_stack([outline, np.full(len(outline), level)])
    fan = np.stack([np.zeros(len(ring) - 2, int), np.arange(1, len(ring) - 1), np.arange(2, len(ring))], axis=1)
    size = float(np.ptp(outline, axis=0).max())
    down, across = np.array([0.0, 0.0, 1.0]), np.array([1.0, 1.0, 0.0]) / np.sqrt(2.0)
    lines = hatching(ring, fan, axis=down, across=across, depths=(level - size, level + size), spacing=size / 25.0)
    return {"outline": (np.stack([ring, np.roll(ring, -1, axis=0)], axis=1), HEAVY), "inside": (lines, HATCHING)}


def _shots(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    return roles.players(scene.get(roles.JOB, ""), role="shot", scene=scene, kinds=("objects",))


def _keep_out_state(scene: bpy.types.Scene) -> State | None:
    shots, subject = _shots(scene), _subject(scene)
    if STATE not in scene or not shots or not subject:
        return None
    table = _player(scene, "table")
    lenses = tuple(
        tuple(round(value, 6) for row in shot.matrix_world for value in row)
        + tuple(round(float(shot[name]), 4) for name in (lens_drivers.FOCAL, lens_drivers.FNUMBER, lens_drivers.FOCUS))
        for shot in shots
    )
    return (*_state(*subject, *([] if table is None else [table])), *lenses)


def _keep_out_lines(scene: bpy.types.Scene) -> Lines:
    stage = Stage(scene, sheet_of(scene, catalogue()))
    points = cameras.subject_points(stage)
    low, high = points.min(axis=0), points.max(axis=0)
    middle, half, level = 0.5 * (low + high)[:2], REACH * float((high - low).max()), float(low[2])
    border, inside = keep_out_lines(cameras.shot_views(stage), middle=middle, half=half, level=level, tall=TALL_MM)
    lift = np.array([0.0, 0.0, surface_level(_player(scene, "table"), middle, half, level) - level])
    return {"border": ((border + lift) / MM, EDGE), "inside": ((inside + lift) / MM, HATCHING)}


def surface_level(table: bpy.types.Object | None, middle: Floats, half: float, level: float) -> float:
    """Height of the table's highest part within a square, mm: at the foot's own level, boards that stand out would hide lines.

    middle (2,), half: the square's centre and half its side. level: the height of the subject's foot. All in mm.
    """
    if table is None:
        return level
    points = MM * _world(table)[0]
    near = (np.abs(points[:, :2] - middle) <= half).all(axis=1) & (np.abs(points[:, 2] - level) <= UNEVEN_MM)
    return max(level, float(points[near, 2].max())) if near.any() else level


stand_line = (_line_state, _line_lines)
"""State and lines of the line between piece and stand."""
support = (_support_state, _support_lines)
"""State and lines of the subject's support."""
keep_out = (_keep_out_state, _keep_out_lines)
"""State and lines of the area of the table that the shots need clear."""
