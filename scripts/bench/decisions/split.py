"""Is a stand distinguished from a piece's own form, and does the cut run where it should? Part of the bench `decisions`.

On scans that stand right, by their labels, so that nothing here depends on the decision on up: as exported (`scans/file`),
turned about the vertical, leaning by 1.5 degrees and in another size (`scans/turned`), and on the made-up pieces of
`scripts/truth/pieces/footings.py` (`made/...`; `tried` are those that constants were set on, and count for nothing).
Where a scan's head is labelled the same run goes on to the camera, and `close.py` judges the close look.
`python -m scripts.bench.decisions.split [GROUP ...]` runs it by itself.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, vertex_normals
from scripts.truth.pieces.footings import COUNTED, KINDS, TRIED, footing
from scripts.truth.pieces.stands import Subject, meshed

from .. import ROOT, Options, Record
from .._processes import Part
from .close import CloseLook, add_close_looks, close_poses, looked
from .standing_scans import LabelledScan, Pose, labelled_scans, run_made, run_steps

WITHIN = 0.02
"""How far, over the whole height, the cut may lie from where the piece begins."""
STEP_MM, NOISE_MM = 0.9, 0.04
GROUPS = ("scans/file", "scans/axes", "scans/turned", "made/file", "made/turned")
LIMITS = {"split_right_percent": (">= 99", ">= 94"), "false_cuts": ("== 0", ""), "split_seconds_most": ("<= 5", "")}
"""Goal and floor of each rate."""


@dataclass(frozen=True)
class Split:
    """What was found: whether there is a stand, its top over the height (nan: none), whether it was asked, how sure."""

    stand: bool
    top_share: float
    asked: bool
    confidence: float
    seconds: float
    words: str


@dataclass(frozen=True)
class Case:
    """What came of one case: its group and name, what was found, whether it has a stand, where that ends over the height
    (None: not known), and the close look where a head is labelled."""

    group: str
    name: str
    split: Split
    stand: bool
    share: float | None
    close: CloseLook | None = None

    @property
    def right(self) -> bool:
        """Whether stand or none is right, and the cut within `WITHIN`."""
        if self.split.stand != self.stand:
            return False
        return not self.stand or self.share is None or abs(self.split.top_share - self.share) <= WITHIN


def parts(record: Record, options: Options) -> list[Part]:
    """A part for each labelled scan in each group, and for each kind of made-up piece."""
    try:
        scans = labelled_scans()
    except FileNotFoundError as missing:
        record.fail(str(missing))
        scans = []
    groups = [group for group in GROUPS if options.wants(group)]
    found = [Part("split", of_scan, (scan, group)) for group in groups if group.startswith("scans") for scan in scans]
    return found + [Part("split", of_made, (kind, group)) for group in groups if group.startswith("made") for kind in KINDS]


def report(record: Record, found: list[list[Case]]) -> None:
    """The rows of stands and of close looks, group by group."""
    cases = sorted((case for part in found for case in part), key=lambda case: (case.group, case.name))
    for group in dict.fromkeys(case.group for case in cases):
        mine = [case for case in cases if case.group == group]
        for case in mine:
            print(f"{group} {case.name}: {'right' if case.right else 'WRONG'} {_said(case.split, case.stand, case.share)}")
            record.add("case_split_right", float(case.right), case=f"{group}/{case.name}")
        for metric, value in _rates(mine).items():
            goal, floor = LIMITS.get(metric, ("", ""))
            record.add(metric, value, case=group, goal=goal, floor=floor)
        add_close_looks(record, group, {case.name: case.close for case in mine if case.close is not None})


def _rates(cases: Sequence[Case]) -> dict[str, float]:
    count = max(len(cases), 1)
    return {
        "split_right_percent": 100.0 * sum(case.right for case in cases) / count,
        "false_cuts": float(sum(case.split.stand and not case.stand for case in cases)),
        "split_wrong_unasked_percent": 100.0 * sum(not case.right and not case.split.asked for case in cases) / count,
        "split_asked_percent": 100.0 * sum(case.split.asked for case in cases) / count,
        "split_seconds_most": max((case.split.seconds for case in cases), default=0.0),
    }


def _said(split: Split, stand: bool, share: float | None) -> str:
    mine = f"stand to {split.top_share:.3f}" if split.stand else "none"
    true = (f"stand to {share:.3f}" if share else "a stand") if stand else "none"
    asked = "asked" if split.asked else "not asked"
    return f"({mine}, labelled {true}, {asked}, {split.confidence:.2f}; {split.seconds:.1f} s; {split.words[:130]})"


def of_scan(scan: LabelledScan, group: str) -> list[Case]:
    """A labelled scan in the poses of a group."""
    head = scan.label.get("head_z_share")
    poses = close_poses(scan) if group == "scans/turned" else [Pose()]
    found = []
    for number, pose in enumerate(poses, 1):
        last = "camera" if head else "separation"
        stage, report = run_steps(scan, last=last, pose=pose, other_axes=group == "scans/axes")
        name = scan.name if len(poses) == 1 else f"{scan.name} {number}"
        close = looked(stage, report, head) if head else None
        split = _found(stage, report)
        found.append(Case(group, name, split, bool(scan.label["stand"]), scan.label["stand_top_share"], close))
    return found


def of_made(kind: str, group: str) -> list[Case]:
    """A kind of made-up piece, all its seeds."""
    found = []
    for seed in TRIED if group.startswith("tried") else COUNTED:
        mesh, share = made_scan(footing(kind, seed), turned=group.endswith("turned"), seed=seed)
        stage, report = run_made(kind, mesh, last="separation")
        found.append(Case(group, f"{kind} {seed}", _found(stage, report), share is not None, share))
    return found


def made_scan(subject: Subject, *, turned: bool, seed: int) -> tuple[TriangleMesh, float | None]:
    """A made-up piece as a scan leaves it, with noise, standing on z = 0, and where its stand ends over its height.

    Turned: about the vertical and leaning a little. Vertex colours are there where the stand has its own.
    """
    vertices, faces = meshed(subject.whole, STEP_MM, low=-46.0, high=92.0)
    middle = vertices[faces].mean(axis=1)
    piece = np.asarray(subject.is_piece(middle))
    random = np.random.default_rng(seed)
    colour = subject.paint(vertices)
    noisy = vertices + vertex_normals(vertices, faces) * random.normal(0.0, NOISE_MM, (len(vertices), 1))
    share = None
    if not piece.all():
        across = _border_heights(vertices, faces, piece)
        share = float((np.median(across) - vertices[:, 2].min()) / np.ptp(vertices[:, 2]))
    if turned:
        yaw, lean = random.uniform(0, 2 * np.pi), np.radians(1.5)
        cosine, sine = np.cos(yaw), np.sin(yaw)
        turn = np.array([[cosine, -sine, 0], [sine, cosine, 0], [0, 0, 1.0]])
        tip = np.array([[np.cos(lean), 0, np.sin(lean)], [0, 1, 0], [-np.sin(lean), 0, np.cos(lean)]])
        noisy = noisy @ (tip @ turn).T
    noisy = noisy - [0.0, 0.0, noisy[:, 2].min()]
    colours = {}
    if float(np.ptp(colour, axis=0).max()) > 0.02:
        grain = random.normal(1.0, 0.1, (len(vertices), 1))
        colours = {"Colour": np.concatenate([np.clip(colour * grain, 0, 1), np.ones((len(vertices), 1))], axis=1)}
    return TriangleMesh(noisy.astype(np.float32), np.asarray(faces, np.int32), colours=colours), share


def _border_heights(vertices: Any, faces: Any, piece: Any) -> Any:
    """(k,) heights of the vertices that faces of the piece and of the stand share."""
    on = [np.unique(faces[which]) for which in (piece, ~piece)]
    return vertices[np.intersect1d(*on), 2]


def _found(stage: Any, report: Any) -> Split:
    """What the step Separation made of the scan on a stage."""
    result = report.results["separation"]
    height = float(np.array([corner[2] for corner in stage.require("upright").bound_box]).max()) * 1000.0
    decision = next((decision for decision in result.decisions if decision.key == "stand"), None)
    stand = bool(result.figures.get("stand"))
    top = float(result.figures.get("top_mm", np.nan)) / height if stand else float("nan")
    return Split(
        stand,
        top,
        bool(decision and decision.asked),
        decision.confidence if decision else 1.0,
        report.seconds["separation"],
        result.words,
    )


def main(groups: Sequence[str]) -> int:
    """Print what comes of the groups named (all but the tried by themselves)."""
    record = Record("split")
    chosen = parts(record, Options(ROOT / "out", cases=tuple(groups)))
    if any(group.startswith("tried") for group in groups):
        chosen += [Part("split", of_made, (kind, group)) for group in groups if group.startswith("tried") for kind in KINDS]
    report(record, [part.work(*part.given) for part in chosen])
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
