"""Is a stand told from a piece's own form, and does the cut run where it should? Part of the bench `decisions`.

On scans that stand right, by their labels, so that nothing here depends on the decision on up: as exported (`scans/file`),
turned about the vertical, leaning by 1.5 degrees and in another size (`scans/turned`), and on the made-up pieces of
`scripts/truth/footings.py` (`made/...`; `tried` are those that constants were set on, and count for nothing).
`python -m scripts.bench._decisions_split [GROUP ...]` runs it by itself.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, vertex_normals
from scripts.truth.footings import COUNTED, KINDS, TRIED, footing
from scripts.truth.stands import Subject, meshed

from . import Options, Record
from ._standing_scans import LabelledScan, Pose, labelled_scans, run_made, run_steps, turned_poses

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


def run(record: Record, options: Options) -> None:
    """The rows of the groups asked for, into a bench's record."""
    try:
        scans = labelled_scans()
    except FileNotFoundError as missing:
        record.fail(str(missing))
        scans = []
    for row in rows(scans, [group for group in GROUPS if options.wants(group)]):
        goal, floor = LIMITS.get(row["metric"], ("", "")) if not row["metric"].startswith("case_") else ("", "")
        record.add(row["metric"], row["value"], case=row["case"], goal=goal, floor=floor)


def rows(scans: Sequence[LabelledScan], groups: Sequence[str] = GROUPS) -> list[dict[str, Any]]:
    """Rows {case, metric, value} of the groups asked for: one a single case (metric `case_...`) and the rates of each group."""
    found: list[dict[str, Any]] = []
    for group in groups:
        outcomes = list(_outcomes(group, scans))
        right = [_right(split, stand, share) for _, split, stand, share in outcomes]
        false = sum(split.stand and not stand for _, split, stand, _ in outcomes)
        for (name, split, stand, share), is_right in zip(outcomes, right, strict=True):
            found.append({"case": f"{group}/{name}", "metric": "case_split_right", "value": float(is_right)})
            print(f"{group} {name}: {'right' if is_right else 'WRONG'} {_said(split, stand, share)}", flush=True)
        count = max(len(outcomes), 1)
        unasked = sum(not ok and not split.asked for ok, (_, split, _, _) in zip(right, outcomes, strict=True))
        values = {
            "split_right_percent": 100.0 * sum(right) / count,
            "false_cuts": float(false),
            "split_wrong_unasked_percent": 100.0 * unasked / count,
            "split_asked_percent": 100.0 * sum(split.asked for _, split, _, _ in outcomes) / count,
            "split_seconds_most": max((split.seconds for _, split, _, _ in outcomes), default=0.0),
        }
        found += [{"case": group, "metric": metric, "value": value} for metric, value in values.items()]
    return found


def _said(split: Split, stand: bool, share: float | None) -> str:
    mine = f"stand to {split.top_share:.3f}" if split.stand else "none"
    true = (f"stand to {share:.3f}" if share else "a stand") if stand else "none"
    asked = "asked" if split.asked else "not asked"
    return f"({mine}, labelled {true}, {asked}, {split.confidence:.2f}; {split.seconds:.1f} s; {split.words[:130]})"


def _right(split: Split, stand: bool, share: float | None) -> bool:
    if split.stand != stand:
        return False
    return not stand or share is None or abs(split.top_share - share) <= WITHIN


def _outcomes(group: str, scans: Sequence[LabelledScan]) -> Iterator[tuple[str, Split, bool, float | None]]:
    """Name, what was found, and the truth, of every case of a group."""
    if group.startswith("scans"):
        for scan in scans:
            poses = turned_poses(scan.name) if group == "scans/turned" else [Pose()]
            for number, pose in enumerate(poses, 1):
                stage, report = run_steps(scan, last="separation", pose=pose, other_axes=group == "scans/axes")
                name = scan.name if len(poses) == 1 else f"{scan.name} {number}"
                yield name, _found(stage, report), bool(scan.label["stand"]), scan.label["stand_top_share"]
        return
    for seed in TRIED if group.startswith("tried") else COUNTED:
        for kind in KINDS:
            mesh, share = made_scan(footing(kind, seed), turned=group.endswith("turned"), seed=seed)
            stage, report = run_made(kind, mesh, last="separation")
            yield f"{kind} {seed}", _found(stage, report), share is not None, share


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
    """Print the rates of the groups named (all but the tried by themselves)."""
    for row in rows(labelled_scans(), groups or GROUPS):
        if not row["metric"].startswith("case_"):
            print(f"{row['case']:14} {row['metric']:30} {row['value']:.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
