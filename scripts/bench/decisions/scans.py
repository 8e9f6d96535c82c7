"""Which scans are decided on, how are they turned, and what is true of them? The cases that all decision benches share.

A scan is imported once; for each case its vertices are turned, scaled and moved in the scene before the steps after intake
run, which is what another export of the same scan would have given.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.job import runner, sheet
from blender_addon.job.step import Step, from_module, ordered
from blender_addon.scene.stage import Stage
from blender_addon.steps.scan import cleanup, intake, orientation, separation
from scripts.truth.pieces.figures import figures, scanned

from .. import ROOT, Options
from .standing_scans import other_axis

STEPS = ordered([from_module(module) for module in (intake, cleanup, orientation, separation)])
TURNS = 3


@dataclass(frozen=True)
class Truth:
    """What is true of a scan as exported: name, `up` and `front` (3,) unit vectors in the frame of Blender's importer (front
    None: it has none or nobody judged), the label's whole table, and the file (None: made up)."""

    name: str
    up: Any
    front: Any
    label: dict[str, Any]
    file: Path | None = None


@dataclass(frozen=True)
class Case:
    """One scan in one pose: x -> scale * turn @ x + shift from the frame of its export. `group` is 'scans/file' and so on."""

    truth: Truth
    group: str
    number: int
    turn: Any
    scale: float
    shift: Any

    @property
    def name(self) -> str:
        """'scans/turned/lion/2'."""
        return f"{self.group}/{self.truth.name}" + (f"/{self.number + 1}" if self.group.endswith("turned") else "")


@dataclass(frozen=True)
class Outcome:
    """What the steps made of a case: the report with its results, the stage to look further, and the processor seconds that the
    steps after intake took (on a machine that does other work as well the clock would count that)."""

    case: Case
    report: runner.Report
    stage: Stage
    seconds: float

    def in_upright(self, direction: Any) -> Any:
        """A direction (3,) of the export's frame as it stands after orientation: up is right when it comes out as +Z."""
        matrix = np.array(self.stage.require("upright")["bozzetto_matrix"], float).reshape(4, 4)[:3, :3]
        found = matrix @ self.case.turn @ np.asarray(direction, float)
        return found / np.linalg.norm(found)


def folder() -> Path:
    """The folder of labelled scans. Raises FileNotFoundError where there is none."""
    found = Path(os.environ.get("BOZZETTO_SCANS") or ROOT / "out" / "scans")
    if not (found / "labels.json").is_file():
        raise FileNotFoundError(f'there is no labels.json in "{found}": set BOZZETTO_SCANS to the folder of labelled scans')
    return found


def scan_truths() -> list[Truth]:
    """The labelled scans."""
    home = folder()
    labels = json.loads((home / "labels.json").read_text(encoding="utf-8"))
    return [
        Truth(name, _unit(label["up"]), _unit(label["front"]), label, home / name / label["file"])
        for name, label in labels.items()
    ]


def made_truths() -> list[Truth]:
    """The made-up figures, labelled as the scans are."""
    found = []
    for figure in figures():
        label = {"stand": figure.stand_top is not None}
        label["stand_top_share"] = None if figure.stand_top is None else figure.stand_top / figure.high[2]
        front = np.array([0.0, -1.0, 0.0]) if figure.front else None
        found.append(Truth(figure.name, np.array([0.0, 0.0, 1.0]), front, label))
    return found


def _unit(direction: Sequence[float] | None) -> Any:
    return None if direction is None else np.array(direction, float) / np.linalg.norm(direction)


def cases_of(truth: Truth, options: Options) -> list[Case]:
    """The poses of one scan that were asked for."""
    kind = "made" if truth.file is None else "scans"
    still, none = np.eye(3), np.zeros(3)
    found = [Case(truth, f"{kind}/file", 0, still, 1.0, none)]
    if truth.file is not None:
        found.append(Case(truth, "scans/axes", 0, other_axis(truth.file.suffix.lower()), 1.0, none))
    for number in range(1 if options.fast else TURNS):
        random = np.random.default_rng([number, *truth.name.encode()])
        scale = float(np.exp(random.uniform(np.log(0.05), np.log(20.0))))
        found.append(
            Case(truth, f"{kind}/turned", number, _chance_rotation(random), scale, random.uniform(-3.0, 3.0, 3) * scale)
        )
    return [case for case in found if options.wants(case.group) or options.wants(case.name)]


def _chance_rotation(random: np.random.Generator) -> Any:
    """A rotation (3, 3), all equally likely (Shoemake, *Uniform random rotations*, Graphics Gems III, 1992)."""
    w, x, y, z = (quaternion := random.normal(size=4)) / np.linalg.norm(quaternion)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def outcomes(truth: Truth, options: Options, *, steps: tuple[Step, ...] = STEPS, text: str = "") -> Iterator[Outcome]:
    """Run the steps on every case of a scan. `text` are further lines of the job sheet."""
    cases = cases_of(truth, options)
    if not cases:
        return
    stage, scan, job = _imported(truth, steps, text)
    places = np.zeros(3 * len(scan.data.vertices), np.float32)
    scan.data.vertices.foreach_get("co", places)
    original = places.reshape(-1, 3).astype(float)
    for case in cases:
        scan = stage.require("scan", "1")
        placed = case.scale * (original @ case.turn.T) + case.shift
        scan.data.vertices.foreach_set("co", placed.astype(np.float32).ravel())
        scan.data.update()
        scan["bozzetto_mm_per_unit"] = 0.0
        start = time.process_time()
        report = runner.finish(runner.run_job(steps[1:], steps, job, stage, afresh=True))
        yield Outcome(case, report, stage, time.process_time() - start)


def _imported(truth: Truth, steps: tuple[Step, ...], text: str) -> tuple[Stage, Any, sheet.JobSheet]:
    """An empty scene with the scan as intake leaves it."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    file, home = truth.file, ROOT
    if file is None:
        home = Path(bpy.app.tempdir)
        file = _written(home / f"{truth.name}.stl", scanned(next(figure for figure in figures() if figure.name == truth.name)))
    else:
        home = file.parent
    job = sheet.parse(f'bozzetto = 1\n[intake]\nscan = "{file.name}"\n{text}', steps, name="bench", folder=home)
    stage = Stage(bpy.context.scene, job)
    runner.finish(runner.run_job(steps[:1], steps, job, stage))
    return stage, stage.require("scan", "1"), job


def _written(path: Path, mesh: TriangleMesh) -> Path:
    """A binary STL of a mesh: 80 bytes of header, the count, and for each triangle normal, corners and two empty bytes."""
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
    rows = np.zeros(len(mesh.faces), record)
    rows["corners"] = mesh.vertices[mesh.faces]
    path.write_bytes(bytes(80) + np.uint32(len(rows)).tobytes() + rows.tobytes())
    return path
