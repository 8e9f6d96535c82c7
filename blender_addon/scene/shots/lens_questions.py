"""Answers the lens panel's questions for a shot's camera, and sets the camera accordingly, as an edit that later runs keep.

The questions: which f-number keeps a depth sharp, where to place the camera for a size in the picture, or at another focal
length; and, where no lens can do it, a focus bracket or the departure from the true lens.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from mathutils import Matrix

from ...core.arrays import Floats
from ...core.mesh.triangles import vertex_normals
from ...core.records import record
from ...core.shots import lens_moves
from ...core.shots.focus_bracket import bracket
from ...core.shots.formats import frame_used
from ...core.shots.framing import CameraPose
from ...core.shots.lens_answers import Answer, hold
from ...core.shots.shot_plan import FACE
from ...core.shots.subject import Subject, thinned
from ...core.shots.visible import visible
from ...job.errors import SubjectError
from .. import roles
from ..meshes import read_mesh
from . import lens_drivers as key
from .cameras import MM, optics_of, vertices_mm

if TYPE_CHECKING:
    import bpy


@record
class Asked:
    """An answer. ends: near and far end in mm along the axis, for a question on depth. pose: new pose, for one on place."""

    answer: Answer
    ends: tuple[float, float] | None = None
    pose: CameraPose | None = None


# --- questions ------------------------------------------------------------------------------------------------------------


def hold_points(camera: bpy.types.Object, points_mm: Floats) -> Asked:
    """The f-number and focus that keep all points (n, 3; mm, world) sharp."""
    pose = pose_of(camera)
    depths = (np.asarray(points_mm, float) - pose.position) @ -pose.rotation[:, 2]
    near, far = float(depths.min()), float(depths.max())
    if near <= 0.0:
        raise SubjectError(f"A point lies behind {camera.name}: pick points that it sees")
    pinned = camera.data.dof.focus_object is not None
    try:
        answer = hold(optics_of(camera), near, far, camera[key.COC], keep_focus=pinned)
    except ValueError as error:
        raise SubjectError(f"The lens can't hold that: {error}") from None
    return Asked(answer, (near, far))


def hold_part(camera: bpy.types.Object, part: str) -> Asked:
    """The f-number and focus that keep the visible side of the piece sharp: its 'face', or the 'whole'."""
    subject = _subject(camera)
    pose = pose_of(camera)
    seen = visible(subject.points, subject.normals, position=pose.position, rotation=pose.rotation)
    if part == "face":
        if not subject.upright:
            raise SubjectError("The piece is wider than tall, so no face is looked for: ask for the whole, or pick two points")
        seen &= subject.band(*FACE)
    if not seen.any():
        raise SubjectError(f"The {part} is not seen from {camera.name}: turn the camera to it, or pick two points")
    points = subject.points[seen]
    depths = (points - pose.position) @ -pose.rotation[:, 2]
    low, high = np.percentile(depths, [1.0, 99.0])  # outliers are left out
    return hold_points(camera, points[(depths >= low) & (depths <= high)])


def fill_height(camera: bpy.types.Object, share: float) -> Asked:
    """The pose from which piece and stand fill a share (0 to 1) of the picture's height."""
    move = lens_moves.fill_height(_outline(camera), pose_of(camera), optics_of(camera), _frame(camera), share=share)
    return Asked(move.answer, pose=move.pose)


def other_focal(camera: bpy.types.Object, focal_mm: float) -> Asked:
    """The pose from which the subject has the same size in the picture at another focal length."""
    move = lens_moves.other_focal(_outline(camera), pose_of(camera), optics_of(camera), focal_mm=focal_mm)
    return Asked(move.answer, pose=move.pose)


# --- setting --------------------------------------------------------------------------------------------------------------


def set_lens(camera: bpy.types.Object, asked: Asked) -> None:
    """Set the camera as answered, moved if necessary; the shot becomes a single exposure."""
    lens = asked.answer.optics
    camera[key.FOCAL], camera[key.FNUMBER] = float(lens.focal_mm), float(lens.fnumber)
    if camera.data.dof.focus_object is None:
        camera[key.FOCUS] = float(lens.focus_mm)
    if asked.pose is not None:
        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = asked.pose.rotation, asked.pose.position / MM
        camera.matrix_basis = (_hung_on(camera).inverted() @ Matrix(matrix.tolist())) if camera.parent else Matrix(matrix)
    _one_exposure(camera)
    camera.update_tag()


def set_bracket(camera: bpy.types.Object, asked: Asked, *, overlap: float = 0.3, frames: bool = False) -> int:
    """Make the shot a focus bracket from end to end at the answer's f-number; returns the number of slices.

    overlap: share of a slice's depth that the next one also holds sharp. frames: keep the slices as files instead of merging
    them.
    """
    assert asked.ends is not None
    lens = asked.answer.optics
    try:
        slices = bracket(lens, *asked.ends, camera[key.COC], overlap=overlap).focus_mm
    except ValueError as error:
        raise SubjectError(f"{camera.name} can't be bracketed: {error}") from None
    set_lens(camera, replace(asked, pose=None))
    camera[key.DEPTH], camera[key.SLICES] = "frames" if frames else "bracket", [float(distance) for distance in slices]
    camera["bozzetto_caption"] = f"{_name(camera)} (focus bracket of {len(slices)})"
    return len(slices)


def set_departure(camera: bpy.types.Object) -> None:
    """Make the shot one with a sharp subject before a blurred set, which no lens gives; its caption says so."""
    _one_exposure(camera)
    camera[key.DEPTH] = "departure"
    camera["bozzetto_caption"] = f"{_name(camera)} (sharper than a lens can)"
    camera.update_tag()


def _one_exposure(camera: bpy.types.Object) -> None:
    for name in (key.DEPTH, key.SLICES):
        if roles.has(camera, name):
            del camera[name]
    camera["bozzetto_caption"] = _name(camera)


# --- reading the scene ----------------------------------------------------------------------------------------------------


def pose_of(camera: bpy.types.Object) -> CameraPose:
    """A camera's present pose, mm."""
    matrix = np.array(_hung_on(camera) @ camera.matrix_basis, float)
    rotation = matrix[:3, :3] / np.linalg.norm(matrix[:3, :3], axis=0)
    return CameraPose(matrix[:3, 3] * MM, rotation, optics_of(camera).focus_mm)


def _hung_on(camera: bpy.types.Object) -> Matrix:
    return camera.parent.matrix_world @ camera.matrix_parent_inverse if camera.parent else Matrix.Identity(4)


def _name(camera: bpy.types.Object) -> str:
    return str(camera.get(roles.KEY, camera.name)).capitalize()


def _frame(camera: bpy.types.Object) -> tuple[float, float]:
    return frame_used(camera[key.FORMAT][0], camera[key.FORMAT][1], tuple(camera[key.RESOLUTION]))


def _outline(camera: bpy.types.Object) -> Floats:
    """(n, 3) the points of piece and stand, mm."""
    job = camera.get(roles.JOB, "")
    found = [vertices_mm(item) for role in ("piece", "stand") for item in roles.players(job, role=role)]
    if not found or sum(map(len, found)) < 2:
        raise SubjectError("There is no piece to look at: run the steps of Scan first")
    return np.concatenate(found).astype(float)


def _subject(camera: bpy.types.Object) -> Subject:
    pieces = roles.players(camera.get(roles.JOB, ""), role="piece")
    if not pieces or not len(pieces[0].data.polygons):
        raise SubjectError("There is no piece to look at: run the steps of Scan first")
    mesh = read_mesh(pieces[0], scale=MM)
    chosen = thinned(len(mesh.vertices), 40000)
    points, normals = mesh.vertices[chosen].astype(float), vertex_normals(mesh.vertices, mesh.faces)[chosen]
    return Subject(points, points, normals, np.ones(len(points)))


__all__ = [
    "Asked",
    "fill_height",
    "hold_part",
    "hold_points",
    "other_focal",
    "pose_of",
    "set_bracket",
    "set_departure",
    "set_lens",
]  # fmt: skip
