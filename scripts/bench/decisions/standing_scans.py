"""How do the scans of a folder come to stand as their labels say? For benches of what is decided after that.

`labels.json` gives for each scan its file, and by eye which way is up and where its front is, in the frame in which Blender's
importer leaves it. The steps are the product's own but for Orientation, which here stands the scan by its label (and turned
about its vertical, leaning a little, in another size), so that what follows is judged on scans that stand right.
"""

from __future__ import annotations

import json
import os
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.similarity import rotation_about
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan.upright import rotation_between

from .. import ROOT

FOLDER = "BOZZETTO_SCANS"
"""Variable that names the folder of labelled scans."""
SIZE_MM = 80.0
"""Longest side of a scan whose true size is not known, as the step Orientation assumes it."""
LEFT_OUT = ("relief", "albedo", "material", "reference")
"""Steps that nothing here asks about and that take long, and one that needs what they make."""
Tables = dict[str, dict[str, Any]]
"""A table of settings a step, as a job sheet has them."""
Z_UP_FORMATS = (".ply", ".stl")
"""Formats that Blender reads as they are; the others it reads as y up."""
LEANS_DEG = 1.5
"""How far a turned copy leans: what is found by itself is rarely better."""


@dataclass(frozen=True)
class LabelledScan:
    """A scan of the folder: name, file, and its label as it is written (up, front, stand, stand_top_share, head_z_share)."""

    name: str
    path: Path
    label: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Pose:
    """How a copy stands beside its label: turned about the vertical and leaning, in degrees, and its longest side in mm."""

    yaw_deg: float = 0.0
    lean_deg: float = 0.0
    size_mm: float = SIZE_MM


def scans_folder() -> Path:
    """The folder in the variable `BOZZETTO_SCANS`, by default one beside the project. Raises FileNotFoundError where there is
    none."""
    folder = Path(os.environ.get(FOLDER) or ROOT / "out" / "scans")
    if not (folder / "labels.json").is_file():
        raise FileNotFoundError(f'there is no labels.json in "{folder}": set {FOLDER} to the folder of labelled scans')
    return folder


def labelled_scans(folder: Path | None = None) -> list[LabelledScan]:
    """The labelled scans of a folder (by default that of `scans_folder`), by name."""
    folder = folder or scans_folder()
    labels = json.loads((folder / "labels.json").read_text(encoding="utf-8"))
    return [LabelledScan(name, folder / name / label["file"], label) for name, label in sorted(labels.items())]


def turned_poses(name: str, count: int = 3) -> list[Pose]:
    """Random poses of a scan's copies, the same on every run."""
    random = np.random.default_rng([7, *name.encode()])
    return [
        Pose(float(random.uniform(0.0, 360.0)), LEANS_DEG, float(SIZE_MM * np.exp(random.uniform(-0.7, 0.7))))
        for _ in range(count)
    ]


def other_axis(suffix: str) -> Any:
    """The rotation (3, 3) by which a scan comes in that was written z up into a y-up format, or the other way round."""
    sign = -1.0 if suffix in Z_UP_FORMATS else 1.0
    return np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -sign], [0.0, sign, 0.0]])


def labelled_turn(label: dict[str, Any], pose: Pose) -> Any:
    """(3, 3) rotation from the importer's frame to a standing scan: up along +Z, its labelled front (where known) along -Y,
    then turned and leaning as the pose says."""
    up = np.asarray(label["up"], float)
    turn = rotation_between(up / np.linalg.norm(up), np.array([0.0, 0.0, 1.0]))
    if label.get("front"):
        front = turn @ np.asarray(label["front"], float)
        turn = rotation_about("z", np.radians(-90.0 - float(np.degrees(np.arctan2(front[1], front[0]))))) @ turn
    lean = np.radians(pose.lean_deg)
    tipped = np.array([np.sin(lean), 0.0, np.cos(lean)])
    return rotation_between(np.array([0.0, 0.0, 1.0]), tipped) @ rotation_about("z", np.radians(pose.yaw_deg)) @ turn


def run_steps(
    scan: LabelledScan, *, last: str, pose: Pose | None = None, settings: Tables | None = None, other_axes: bool = False
) -> Any:
    """Run the product's steps up to `last` on a scan in an emptied scene; returns (stage, report).

    other_axes: the scan comes in as if exported with the other up axis, so that cleanup and all that follows sees it so.
    """
    tables: Tables = {"intake": {"scan": scan.path.name}, **(settings or {})}
    label, turn = scan.label, None
    if other_axes:
        turn = other_axis(scan.path.suffix.lower())
        label = label | {key: (turn @ np.asarray(label[key], float)).tolist() for key in ("up", "front") if label.get(key)}
    return _run(_standing_by_label(label, pose or Pose()), scan.name, scan.path.parent, "intake", last, tables, turn)


def run_made(name: str, mesh: TriangleMesh, *, last: str, settings: Tables | None = None) -> Any:
    """The same on a made-up piece (mm, standing on z = 0) that needs neither intake nor cleanup; a layer of colours is its
    vertices' colour."""
    return _run(_standing_as_it_is(mesh), name, Path.cwd(), "orientation", last, settings or {})


def _run(stood: Any, name: str, folder: Path, first: str, last: str, settings: Tables, turn: Any = None) -> Any:
    """turn: (3, 3) rotation of the imported scan, or None."""
    import bpy

    from blender_addon.job import runner, sheet
    from blender_addon.scene.stage import Stage
    from blender_addon.steps import catalogue

    bpy.ops.wm.read_factory_settings(use_empty=True)
    needs = ("clean",) if first == "intake" else ()
    steps = tuple(replace(step, run=stood, needs=needs) if step.name == "orientation" else step for step in catalogue())
    job = sheet.blank(steps, name=name, folder=folder)
    for step, table in settings.items():
        for setting, value in table.items():
            sheet.override(job, f"{step}.{setting}={json.dumps(value)}")
    stage = Stage(bpy.context.scene, job)
    chosen = runner.chosen(steps, first=first, last=last)
    wanted = tuple(
        replace(step, needs=tuple(role for role in step.needs if role != "clean")) if first != "intake" else step
        for step in chosen
        if step.name not in LEFT_OUT
    )
    if turn is not None:
        runner.finish(runner.run_job(wanted[:1], steps, job, stage))
        turn_vertices(stage.require("scan", "1"), turn)
        wanted = wanted[1:]
    return stage, runner.finish(runner.run_job(wanted, steps, job, stage))


def turn_vertices(item: Any, turn: Any) -> None:
    """Turn the vertices of an object's mesh by (3, 3), as another export would have them."""
    places = np.zeros(3 * len(item.data.vertices), np.float32)
    item.data.vertices.foreach_get("co", places)
    item.data.vertices.foreach_set("co", (places.reshape(-1, 3).astype(float) @ turn.T).astype(np.float32).ravel())
    item.data.update()


def _standing_as_it_is(mesh: TriangleMesh) -> Any:
    """The step Orientation, offering a mesh that stands already."""

    def run(stage: Any, settings: Any) -> Iterator[Any]:
        from blender_addon.job.step import Progress, Result
        from blender_addon.scene.meshes import make_object

        yield Progress(0.5, "Standing as it was made")
        scaled = replace(mesh, vertices=(np.asarray(mesh.vertices, float) / 1000.0).astype(np.float32))
        stage.offer("upright", make_object("Upright", scaled), key="1", name="Upright")
        return Result("stands as it was made", {"height_mm": float(mesh.vertices[:, 2].max())})

    return run


def _standing_by_label(label: dict[str, Any], pose: Pose) -> Any:
    """The step Orientation, standing the scan by its label."""

    def run(stage: Any, settings: Any) -> Iterator[Any]:
        from blender_addon.job.step import Progress, Result
        from blender_addon.scene.meshes import make_object, read_mesh

        yield Progress(0.1, "Standing it by its label")
        clean = stage.require("clean", "1")
        mesh = read_mesh(clean)
        turn = labelled_turn(label, pose)
        standing = np.asarray(mesh.vertices, float) @ turn.T
        low, high = standing.min(axis=0), standing.max(axis=0)
        metres = pose.size_mm / float((high - low).max()) / 1000.0
        shift = -np.array([*(0.5 * (low + high))[:2], low[2]])
        scaled = replace(mesh, vertices=((standing + shift) * metres).astype(np.float32))
        item = make_object("Upright", scaled, materials=[slot.material for slot in clean.material_slots])
        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = turn * metres, shift * metres
        item["bozzetto_matrix"] = matrix.ravel().tolist()
        item["bozzetto_mm_per_unit"], item["bozzetto_assumed"] = metres * 1000.0, True
        stage.offer("upright", item, key="1", name="Upright")
        return Result("stood by its label", {"height_mm": float((high - low)[2]) * metres * 1000.0})

    return run


def write_png(path: Path, picture: Any) -> None:
    """An 8-bit RGB picture (h, w, 3), row 0 on top, as PNG (ISO/IEC 15948)."""
    picture = np.ascontiguousarray(picture, np.uint8)
    lines = np.concatenate([np.zeros((len(picture), 1), np.uint8), picture.reshape(len(picture), -1)], axis=1)
    parts = (
        (b"IHDR", struct.pack(">IIBBBBB", picture.shape[1], picture.shape[0], 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(lines.tobytes())),
        (b"IEND", b""),
    )
    content = b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in parts
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + content)
