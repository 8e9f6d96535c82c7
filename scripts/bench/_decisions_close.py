"""Does the close look show the whole head, sharp, where there is a head? Part of the bench `decisions`.

On labelled scans that stand right (`scans/file`) and on copies turned about the vertical, leaning a little and in other sizes
(`scans/turned`; their front turns with them where it is labelled). A head is what lies between two shares of the height.
Right: nine tenths of what the camera can see of it lie in the frame, and the plane of focus runs through it. `python -m
scripts.bench._decisions_close [GROUP ...]` runs it by itself; `--pictures FOLDER` leaves a picture of each close look.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.preview import strewn
from blender_addon.core.mesh.triangles import face_normals
from blender_addon.core.shots.framing import project
from blender_addon.core.shots.visible import visible

from . import Options, Record
from ._standing_scans import LabelledScan, Pose, labelled_scans, run_steps, turned_poses, write_png

GROUPS = ("scans/file", "scans/axes", "scans/turned")
GOAL, FLOOR = ">= 95", ">= 80"
IN_FRAME = 0.9
SEEN_POINTS, SEEN_CELLS = 60_000, 110


def run(record: Record, options: Options) -> None:
    """The rows of the groups asked for, into a bench's record."""
    try:
        scans = labelled_scans()
    except FileNotFoundError as missing:
        record.fail(str(missing))
        return
    for row in rows(scans, [group for group in GROUPS if options.wants(group)]):
        rate = row["metric"] == "close_look_right_percent"
        record.add(row["metric"], row["value"], case=row["case"], goal=GOAL if rate else "", floor=FLOOR if rate else "")


def rows(scans: Sequence[LabelledScan], groups: Sequence[str] = GROUPS, pictures: Path | None = None) -> list[dict[str, Any]]:
    """Rows {case, metric, value} of the groups asked for: one a single case (metric `case_...`) and the rates of each group."""
    found: list[dict[str, Any]] = []
    for group in groups:
        right: list[bool] = []
        seconds: list[float] = []
        asked = 0
        for scan in scans:
            if not scan.label.get("head_z_share"):
                continue
            for number, pose in enumerate(_poses(scan, group), 1):
                stage, report = run_steps(scan, last="camera", pose=pose, other_axes=group == "scans/axes")
                share, focused = judged(stage, scan.label["head_z_share"])
                seconds.append(report.seconds["camera"])
                right.append(share >= IN_FRAME and focused)
                decision = next(
                    (candidate for candidate in report.results["camera"].decisions if candidate.key == "close_look"), None
                )
                asked += bool(decision and decision.asked)
                name = f"{group}/{scan.name}" + (f" {number}" if group.endswith("turned") else "")
                found.append({"case": name, "metric": "case_close_look_right", "value": float(right[-1])})
                words = decision.choice.words if decision else "no close look"
                print(
                    f"{name}: {'right' if right[-1] else 'WRONG'} ({share:.2f} in the frame, focus {focused}; {words})",
                    flush=True,
                )
                if pictures is not None and decision is not None:
                    write_png(pictures / f"{name.replace('/', '_')}.png", decision.choice.picture)
        count = max(len(right), 1)
        values = {
            "close_look_right_percent": 100.0 * sum(right) / count,
            "close_look_asked_percent": 100.0 * asked / count,
            "camera_seconds_most": max(seconds, default=0.0),
        }
        found += [{"case": group, "metric": metric, "value": value} for metric, value in values.items()]
    return found


def _poses(scan: LabelledScan, group: str) -> list[Pose]:
    """As labelled; or turned, by no more than a front that is right may be off where one is labelled."""
    if group != "scans/turned":
        return [Pose()]
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
    faces, weights = strewn(mesh, SEEN_POINTS)
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


def main(words: Sequence[str]) -> int:
    """Print the rates of the groups named (all by themselves)."""
    words = list(words)
    pictures = None
    if "--pictures" in words:
        place = words.index("--pictures")
        pictures = Path(words[place + 1])
        del words[place : place + 2]
    for row in rows(labelled_scans(), words or GROUPS, pictures):
        if not row["metric"].startswith("case_"):
            print(f"{row['case']:14} {row['metric']:30} {row['value']:.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
