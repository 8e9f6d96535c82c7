"""Does the close look show the whole head in focus, where there is a head? Part of the bench `decisions`.

On labelled scans that stand right (`scans/file`) and on copies turned about the vertical, leaning a little and in other sizes
(`scans/turned`; their front turns with them where it is labelled). A head is what lies between two shares of the height.
Right: nine tenths of what the camera can see of it lie in the frame, and the plane of focus runs through it.
`split.py` runs the steps, since what a close look shows depends on where piece and stand part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from blender_addon.core.mesh.preview import sampled_by_area
from blender_addon.core.mesh.triangles import face_normals
from blender_addon.core.shots.framing import project
from blender_addon.core.shots.visible import visible

from .. import Record
from .standing_scans import LabelledScan, Pose, turned_poses

GOAL, FLOOR = ">= 95", ">= 80"
IN_FRAME = 0.9
SEEN_POINTS, SEEN_CELLS = 60_000, 110


@dataclass(frozen=True)
class CloseLook:
    """What a close look shows: the share (0 to 1) of what can be seen of the head that lies in the frame, whether the focus
    runs through it, whether it was asked about and how sure it was, in words what it shows, and seconds of the camera step."""

    share: float
    focused: bool
    asked: bool
    confidence: float
    words: str
    seconds: float
    picture: Any = None

    @property
    def right(self) -> bool:
        """Whether it shows the head in focus."""
        return self.share >= IN_FRAME and self.focused


def looked(stage: Any, report: Any, head: Sequence[float]) -> CloseLook:
    """What the step Camera made of a scan with a labelled head (from and to which share of the height it reaches)."""
    share, focused = judged(stage, head)
    decisions = report.results["camera"].decisions
    decision = next((candidate for candidate in decisions if candidate.key == "close_look"), None)
    seconds = report.seconds["camera"]
    if decision is None:
        return CloseLook(share, focused, False, 1.0, "no close look", seconds)
    chosen = decision.choice
    return CloseLook(share, focused, decision.asked, decision.confidence, chosen.words, seconds, chosen.picture)


def add_close_looks(record: Record, group: str, found: Mapping[str, CloseLook]) -> None:
    """The rows of a group's close looks, by the names of their cases."""
    if not found:
        return
    for name, look in found.items():
        said = f"{look.share:.2f} in the frame, focus {look.focused}; {look.words}, {look.confidence:.2f}"
        print(f"{group} {name}: {'right' if look.right else 'WRONG'} ({said})", flush=True)
        record.add("case_close_look_right", float(look.right), case=f"{group}/{name}")
    looks = list(found.values())
    right = 100.0 * sum(look.right for look in looks) / len(looks)
    unasked = 100.0 * sum(not look.right and not look.asked for look in looks) / len(looks)
    record.add("close_look_right_percent", right, case=group, goal=GOAL, floor=FLOOR)
    record.add("close_look_wrong_unasked_percent", unasked, case=group)
    record.add("close_look_asked_percent", 100.0 * sum(look.asked for look in looks) / len(looks), case=group)
    record.add("camera_seconds_most", max(look.seconds for look in looks), case=group)


def close_poses(scan: LabelledScan) -> list[Pose]:
    """Random poses; where a front is labelled, turned by no more than a front that is right may be off."""
    poses = turned_poses(scan.name)
    if not scan.label.get("front"):
        return poses
    return [replace(pose, yaw_deg=(pose.yaw_deg % 50.0) - 25.0) for pose in poses]


def judged(stage: Any, head: Sequence[float]) -> tuple[float, bool]:
    """Share (0 to 1) of what the first close look's camera can see of a head that lies in its frame, and whether the plane of
    focus runs through it. head: from and to which share of the upright scan's height it reaches."""
    from blender_addon.scene.meshes import read_mesh
    from blender_addon.scene.shots.cameras import shot_view

    mesh = read_mesh(stage.require("upright"), scale=1000.0)
    faces, weights = sampled_by_area(mesh, SEEN_POINTS)
    places = np.einsum("nk,nkd->nd", weights, np.asarray(mesh.vertices, float)[mesh.faces[faces]])
    normals = face_normals(np.asarray(mesh.vertices, float), mesh.faces)[faces]
    view = shot_view(stage.require("shot", "detail"))
    position = np.asarray(view.position, float)
    share = places[:, 2] / places[:, 2].max()
    seen = visible(places, normals, position=position, rotation=view.rotation, cells=SEEN_CELLS)
    seen &= (share >= head[0]) & (share <= head[1] + 1e-6)
    if not seen.any():
        return 0.0, False
    slopes, depth = project(places[seen], position, view.rotation)
    inside = (np.abs(slopes) <= np.asarray(view.half_slopes)).all(axis=1)
    low, high = np.percentile(depth, [1.0, 99.0])
    return float(inside.mean()), bool(low <= view.focus_mm <= high) and bool(inside.any())
