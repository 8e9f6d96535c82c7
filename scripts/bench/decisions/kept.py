"""Keeps what the steps before Orientation make of every case, so that ways to decide can be tried in seconds.

    python -m scripts.bench.decisions.kept [NAME ...]      keep the cases of these scans and figures (all by themselves)

Each case is one file in `out/decisions`, an ignored folder: the clean mesh, which of its vertices are not spikes, and the
colour that the scan shows at the points that are looked at. `kept_cases` reads them without a step or a scene.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.preview import sampled_by_area
from blender_addon.core.mesh.spikes import steady_vertices
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan.standing.body import POINTS

from .. import ROOT, Options

KEPT = ROOT / "out" / "decisions"


@dataclass(frozen=True)
class Kept:
    """A case as Orientation finds it: its name ('scans/turned/lion/2'), scan and group; the clean mesh, which vertices (n,) are
    no spikes, the colours (k, 3) of its sampled points (None: it has none), the file's name; and what is true in the mesh's
    own frame: up and front (3,) (front None: none is labelled)."""

    name: str
    scan: str
    group: str
    mesh: TriangleMesh
    good: Any
    colours: Any
    file: str
    up: Any
    front: Any

    def shown(self, faces: Any, weights: Any) -> Any:
        """The colour at the sampled points, as `body_of` asks for it."""
        mine, _ = sampled_by_area(self.mesh, POINTS)
        sound = self.good[self.mesh.faces].all(axis=1)
        colours = self.colours[sound[mine]] if sound.any() else self.colours
        if len(colours) != len(faces):
            raise ValueError("these are not the points whose colours were kept")
        return colours


def keep(names: Sequence[str], folder: Path = KEPT) -> None:
    """Run intake and cleanup on every case of these scans and write what comes of it."""
    from blender_addon.scene.meshes import read_mesh
    from blender_addon.scene.thumbnails import paint_of, surface_colours

    from .scans import STEPS, made_truths, outcomes, scan_truths

    folder.mkdir(parents=True, exist_ok=True)
    for truth in [*scan_truths(), *made_truths()]:
        if names and truth.name not in names:
            continue
        for outcome in outcomes(truth, Options(folder), steps=STEPS[:2]):
            case = outcome.case
            clean = outcome.stage.require("clean", "1")
            mesh = read_mesh(clean)
            faces, weights = sampled_by_area(mesh, POINTS)
            coloured = bool(mesh.colours) or mesh.uv is not None
            arrays = {
                "vertices": mesh.vertices, "faces": mesh.faces, "good": steady_vertices(mesh),
                "filled": mesh.face_marks.get("filled", np.zeros(len(mesh.faces), bool)),
            }  # fmt: skip
            if coloured:
                arrays["colours"] = np.asarray(surface_colours(paint_of(clean), mesh, faces, weights), np.float32)
            facts = {
                "name": case.name, "scan": truth.name, "group": case.group, "file": str(clean.get("bozzetto_file", "")),
                "up": (case.turn @ truth.up).tolist(),
                "front": None if truth.front is None else (case.turn @ truth.front).tolist(),
            }  # fmt: skip
            np.savez(folder / f"{case.name.replace('/', '-')}.npz", facts=json.dumps(facts), **arrays)
            print(case.name, len(mesh.faces), f"{outcome.seconds:.1f} s", flush=True)


def kept_cases(pattern: str = "*", folder: Path = KEPT) -> Iterator[Kept]:
    """Every kept case whose file's name fits, by name."""
    for path in sorted(folder.glob(f"{pattern}.npz")):
        with np.load(path) as held:
            facts = json.loads(str(held["facts"]))
            mesh = TriangleMesh(held["vertices"], held["faces"], face_marks={"filled": held["filled"]})
            colours = held["colours"].astype(float) if "colours" in held else None
            up, front = np.array(facts["up"]), None if facts["front"] is None else np.array(facts["front"])
            yield Kept(facts["name"], facts["scan"], facts["group"], mesh, held["good"], colours, facts["file"], up, front)


if __name__ == "__main__":
    keep(sys.argv[1:])
