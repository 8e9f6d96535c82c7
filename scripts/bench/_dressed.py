"""Measures a dressed scene by what Blender evaluates: instances, their meshes, the table, the subject. Run as a module.

Nothing here asks the code that laid the pieces: positions come from the evaluated scene, heights and hits from rays.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import bpy
import numpy as np

from blender_addon.core.mesh.solids import lathe, moved, rounded_rectangle, slab
from blender_addon.core.mesh.topology import joined
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.job.runner import finish
from blender_addon.job.sheet import JobSheet
from blender_addon.job.step import from_module
from blender_addon.scene import roles
from blender_addon.scene.dressing.set_parts import to_metres
from blender_addon.scene.meshes import make_object, read_mesh
from blender_addon.scene.shots.cameras import shot_views
from blender_addon.scene.spatial import SurfaceQueries
from blender_addon.scene.stage import Stage
from blender_addon.steps.dressing import debris, tabletop
from blender_addon.steps.shots import camera

DOWN, UP = np.array([0.0, 0.0, -1.0]), np.array([0.0, 0.0, 1.0])


def subject_on_stand() -> tuple[TriangleMesh, TriangleMesh]:
    """A skittle with an arm that overhangs, and a slab: mm."""
    z = np.linspace(0, 1, 60)
    body = lathe(
        np.column_stack([np.sqrt(np.clip(1 - (2 * z - 1) ** 8, 0, 1)) * (16 - 7 * np.sin(3.0 * z)), 62 * z + 13]), sides=64
    )
    arm = moved(
        lathe(np.column_stack([[0, 3.0, 3.5, 2.5, 0], [0, 0.5, 20, 38, 39]])),
        np.array([[0, 0, 1], [0, 1, 0], [-1, 0, 0]]),
        [8, 0, 46],
    )
    return joined([body, arm]), slab(rounded_rectangle(52.0, 44.0, 2.0, 5), 13.2, rounding=0.8)


def dressed(
    kind: str, count: int, *, seed: int = 1, subject: tuple[TriangleMesh, TriangleMesh] | None = None, **more: Any
) -> Stage:
    """A scene with subject, shots, table, props and debris."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    stage = Stage(bpy.context.scene, JobSheet("bench", Path(), {}), seed=seed)
    for role, mesh in zip(("piece", "stand"), subject or subject_on_stand(), strict=True):
        item = make_object(role, to_metres(mesh))
        stage.scene.collection.objects.link(item)
        roles.mark(item, job=stage.job, step="separation", role=role, key="")
    take(stage, camera)
    take(stage, tabletop, kind=kind, **{k: v for k, v in more.items() if k in ("props", "seed", "things", "collection")})
    take(
        stage,
        debris,
        count=count,
        powder=more.get("powder", 0),
        **{k: v for k, v in more.items() if k in ("on_stand", "falloff", "body")},
    )
    return stage


def take(stage: Stage, module: ModuleType, *, afresh: bool = False, **values: Any) -> Any:
    """Run one step as the runner does; afresh: what the user changed is made ours again."""
    step = from_module(module)
    settings = step.settings(**values)
    stage.sheet.settings[step.name] = settings
    stage.begin(step, afresh=afresh)
    try:
        result = finish(step.run(stage, settings))
        stage.swap()
    except BaseException:
        stage.discard()
        raise
    return result


def measured(stage: Stage) -> dict[str, float]:
    """The figures of a dressed scene, mm."""
    shown = _shown(stage)
    table = _world(stage.require("table", ""))
    ground = SurfaceQueries(table.vertices, table.faces)
    subject = [_world(item) for item in stage.subject()]
    props = [_world(item) for item in stage.find_all("prop").values()]
    floats, sunk = _resting(shown, ground)
    return {
        "pieces": float(len(shown)), "inside_subject": float(_inside(shown, subject)),
        "inside_props": float(_inside(shown, props)),
        "overlaps": float(_overlaps(shown)), "in_sight_line": float(_in_sight(stage, shown, subject)),
        "float_mm": floats, "sunk_of_thickness": sunk, "rest_gap_mm": _rest_gap(subject, ground, table),
        "prop_gap_mm": max((_rest_gap([prop], ground, table) for prop in props), default=0.0), "props": float(len(props)),
    }  # fmt: skip


def _world(item: Any) -> TriangleMesh:
    return read_mesh(item, scale=1000.0)


def _shown(stage: Stage) -> list[tuple[np.ndarray, np.ndarray]]:
    """Of each piece that the scene shows: its vertices (n, 3) and its (4, 4) matrix, mm."""
    item = stage.require("debris", "table")
    graph = bpy.context.evaluated_depsgraph_get()
    meshes: dict[int, np.ndarray] = {}
    found = []
    for instance in graph.object_instances:
        if not instance.is_instance or instance.parent is None or instance.parent.original != item:
            continue
        data = instance.object.data
        key = data.as_pointer()
        if key not in meshes:
            points = np.zeros(3 * len(data.vertices), np.float32)
            data.vertices.foreach_get("co", points)
            meshes[key] = 1000.0 * points.reshape(-1, 3).astype(float)
        matrix = np.array(instance.matrix_world, float)
        matrix[:3, 3] *= 1000.0
        found.append((meshes[key], matrix))
    return found


def _placed(piece: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    points, matrix = piece
    return points @ matrix[:3, :3].T + matrix[:3, 3]


def _inside(shown: Any, solids: list[TriangleMesh]) -> int:
    """How many pieces have a vertex inside a solid: the number of surfaces above it is odd."""
    count = 0
    hulls = [
        (SurfaceQueries(s.vertices, s.faces), s.vertices.min(axis=0), s.vertices.max(axis=0)) for s in solids if len(s.faces)
    ]
    for piece in shown:
        at = _placed(piece)
        for surface, low, high in hulls:
            near = ((at > low) & (at < high)).all(axis=1)
            if near.any() and _odd(surface, at[near]).any():
                count += 1
                break
    return count


def _odd(surface: SurfaceQueries, points: np.ndarray) -> np.ndarray:
    """Inside by rays in four directions that must agree: one alone may pass along an edge or through a doubled face."""
    inside = np.ones(len(points), bool)
    for way in ((0.0009, 0.0013, 1.0), (0.71, 0.02, 0.7), (-0.35, 0.61, 0.71), (-0.33, -0.62, 0.71)):
        crossings = np.zeros(len(points), int)
        at, alive = points.copy(), np.arange(len(points))
        for _ in range(24):
            _, far = surface.cast(at[alive], np.tile(way, (len(alive), 1)))
            hit = np.isfinite(far)
            alive = alive[hit]
            if not len(alive):
                break
            crossings[alive] += 1
            at[alive] += (far[hit] + 1e-3)[:, None] * way
        inside &= crossings % 2 == 1
    return inside


def _overlaps(shown: Any) -> int:
    """Pairs of pieces whose bounding discs meet."""
    centres = np.array([matrix[:3, 3] for _, matrix in shown])
    radii = np.array([np.linalg.norm(points[:, :2], axis=1).max() * np.linalg.norm(matrix[:3, 0]) for points, matrix in shown])
    order = np.argsort(centres[:, 0])
    centres, radii = centres[order], radii[order]
    most, count = radii.max(), 0
    for place in range(len(centres)):
        end = np.searchsorted(centres[:, 0], centres[place, 0] + radii[place] + most)
        gap = np.linalg.norm(centres[place + 1 : end] - centres[place], axis=1)
        count += int((gap < radii[place] + radii[place + 1 : end] - 1e-4).sum())
    return count


def _resting(shown: Any, ground: SurfaceQueries) -> tuple[float, float]:
    """The worst height above ground, mm, and the worst depth in it over the thickness, by the lower half of the vertices."""
    rows, owner, tall = [], [], []
    for number, piece in enumerate(shown):
        at = _placed(piece)
        low = at[at[:, 2] < at[:, 2].min() + 0.5 * np.ptp(at[:, 2])]
        rows.append(low[:: max(1, len(low) // 160)])
        rows.append(at[np.argsort(at[:, 2])[:12]])
        owner += [number] * (len(rows[-2]) + len(rows[-1]))
        tall.append(_thickness(piece))
    every, owner = np.concatenate(rows), np.array(owner)
    _, far = ground.cast(every + [0, 0, 200.0], np.tile(DOWN, (len(every), 1)))
    gap = every[:, 2] - (every[:, 2] + 200.0 - far)
    least = np.full(len(shown), np.inf)
    np.minimum.at(least, owner, np.where(np.isfinite(gap), gap, np.inf))
    return float(np.maximum(least, 0).max()), float((np.maximum(-least, 0) / np.array(tall)).max())


def _thickness(piece: tuple[np.ndarray, np.ndarray]) -> float:
    """Of a piece's body: twice its volume over its surface would need faces; its least extent is at hand and no less."""
    points, matrix = piece
    spread = np.linalg.eigvalsh(np.cov(points.T))
    return float(np.sqrt(12 * max(spread[0], 1e-9)) * np.linalg.norm(matrix[:3, 0]))


def _rest_gap(solids: list[TriangleMesh], ground: SurfaceQueries, table: TriangleMesh) -> float:
    """How far the lowest contact of a thing is from the ground, mm, either way: vertices of each against the other."""
    gaps = []
    for solid in solids:
        corners = solid.vertices[solid.faces]
        lower = solid.faces[corners[:, :, 2].min(axis=1) < solid.vertices[:, 2].min() + 30.0]
        low = solid.vertices[np.unique(lower)]
        _, far = ground.cast(low + [0, 0, 100.0], np.tile(DOWN, (len(low), 1)))
        gaps.append(float(np.nanmin(np.where(np.isfinite(far), far - 100.0, np.nan))))
        under = table.vertices[
            ((table.vertices[:, :2] > low[:, :2].min(0)) & (table.vertices[:, :2] < low[:, :2].max(0))).all(axis=1)
        ]
        depth = low[:, 2].min() - 30.0
        _, far = SurfaceQueries(solid.vertices, lower).cast(under * [1, 1, 0] + [0, 0, depth], np.tile(UP, (len(under), 1)))
        gaps.append(float(np.min((depth + far - under[:, 2])[np.isfinite(far)], initial=1e9)))
    return abs(min(gaps))


def _in_sight(stage: Stage, shown: Any, subject: list[TriangleMesh]) -> int:
    """How many pieces a ray from the lens to the subject meets: nine points of the opening to 400 points of the surface.

    A piece counts as the upright cylinder that holds it.
    """
    boxes, owner = _cylinders(shown)
    debris_tree = SurfaceQueries(boxes.vertices, boxes.faces)
    whole = joined(subject)
    tree = SurfaceQueries(whole.vertices, whole.faces)
    rng = np.random.default_rng(2)
    blocked: set[int] = set()
    for view in shot_views(stage):
        if view.kind == "turntable":
            continue
        targets = whole.vertices[rng.choice(len(whole.vertices), 400)].astype(float)
        for angle in np.arange(9):
            off = 0.0 if angle == 8 else 0.5 * view.aperture_mm
            lens = view.position + off * (
                np.cos(angle * np.pi / 4) * view.rotation[:, 0] + np.sin(angle * np.pi / 4) * view.rotation[:, 1]
            )
            way = targets - lens
            length = np.linalg.norm(way, axis=1)
            way = way / length[:, None]
            _, first = tree.cast(np.tile(lens, (len(way), 1)), way)
            seen = np.minimum(first, length)
            face, far = debris_tree.cast(np.tile(lens, (len(way), 1)), way)
            slopes = (targets - view.position) @ view.rotation
            framed = (np.abs(slopes[:, :2] / -slopes[:, 2:]) < np.array(view.half_slopes)).all(axis=1)
            hit = framed & (face >= 0) & (far < seen - 1e-3)
            blocked |= set(owner[face[hit]].tolist())
    return len(blocked)


def _cylinders(shown: Any) -> tuple[TriangleMesh, np.ndarray]:
    parts, owner = [], []
    for number, piece in enumerate(shown):
        at = _placed(piece)
        centre = piece[1][:2, 3]
        radius = np.linalg.norm(at[:, :2] - centre, axis=1).max()
        mesh = lathe(
            np.array([[0, at[:, 2].min()], [radius, at[:, 2].min()], [radius, at[:, 2].max()], [0, at[:, 2].max()]]), sides=10
        )
        parts.append(moved(mesh, np.eye(3), [*centre, 0.0]))
        owner += [number] * len(mesh.faces)
    return joined(parts), np.array(owner)


def main(count: int) -> None:
    """Measure the tabletops with debris, and print the figures as one line of JSON."""
    found = {}
    for kind, amount in (
        ("planks", count),
        ("slate", max(count // 10, 200)),
        ("cloth", max(count // 10, 200)),
        ("bat", max(count // 10, 200)),
    ):
        stage = dressed(kind, amount, falloff=120.0 if amount > 3000 else None)
        found[f"dressed {kind}"] = measured(stage)
    print("figures " + json.dumps(found))


if __name__ == "__main__":
    main(int(sys.argv[1]))
