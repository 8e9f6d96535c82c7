"""Do the small pieces lie as they should, and how fast? Blue noise at 100 k, and a dressed scene of 10 k measured again."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
from pathlib import Path

import numpy as np

from blender_addon.cli.itself import own_environment
from blender_addon.core.mesh.triangles import face_areas
from scripts.bench._poisson_points import ROOM, poisson_points

from . import ROOT, Options, Record, median_ratio, median_seconds


def run(record: Record, options: Options) -> None:
    """Times and guarantees of the sampler, memory against objects, and a dressed scene."""
    count = 10_000 if options.fast else 100_000
    if options.wants("table"):
        _sampler(record, "table", *_table_mesh(), count)
    if options.wants("ball"):
        _sampler(record, "ball", *_ball_mesh(), count)
    if options.wants("memory"):
        _memory(record, count)
    if options.wants("dressed"):
        _dressed(record, 1_000 if options.fast else 10_000)


def _table_mesh() -> tuple[np.ndarray, np.ndarray]:
    """A rolling surface of 80 k triangles, 700 by 560 mm."""
    g = np.linspace(0, 700, 200)
    x, y = np.meshgrid(g, 0.8 * g)
    z = 3 * np.sin(x / 40) * np.cos(y / 30)
    place = np.arange(40_000).reshape(200, 200)
    a, b, c, d = place[:-1, :-1], place[:-1, 1:], place[1:, 1:], place[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    return np.stack([x, y, z], -1).reshape(-1, 3), faces


def _ball_mesh() -> tuple[np.ndarray, np.ndarray]:
    from blender_addon.core.mesh.solids import ball

    mesh = ball(6)
    return 40.0 * mesh.vertices, mesh.faces


def _sampler(record: Record, case: str, vertices: np.ndarray, faces: np.ndarray, count: int) -> None:
    spread = poisson_points(vertices, faces, count, seed=3)
    requested = ROOM * np.sqrt(2 * face_areas(vertices, faces).sum() / (np.sqrt(3) * count))
    record.add("min_distance_ratio", _nearest(spread.points).min() / requested, case=case, goal=">= 0.999999")
    record.add("count_percent", 100.0 * len(spread.points) / count, case=case, unit="%", goal=">= 99.9")
    size = np.ptp(vertices, axis=0)
    density = np.clip(np.exp(-np.linalg.norm((vertices - vertices.mean(axis=0))[:, :2], axis=1) / (0.26 * size[0])), 0.02, 1.0)
    fine = poisson_points(vertices, faces, count, seed=3, density=density)
    record.add("weighted_distance_ratio", float((_nearest(fine.points) / fine.reach).min()), case=case, goal=">= 0.999999")
    record.add("weighted_count_percent", 100.0 * len(fine.points) / count, case=case, unit="%", floor=">= 85", goal=">= 99.9")
    seconds = median_seconds(lambda: poisson_points(vertices, faces, count, seed=3))
    record.add("seconds_100k", seconds, case=case, unit="s", goal="<= 1.2")
    weighted = median_seconds(lambda: poisson_points(vertices, faces, count, seed=3, density=density))
    record.add("seconds_100k_weighted", weighted, case=case, unit="s", goal="<= 2.5")
    try:
        o3d = importlib.import_module("open3d")
    except (ImportError, OSError) as error:
        record.fail(f"the peer Open3D is missing, so that there is no speed_over_open3d; loading it said: {error}")
        return
    mesh = o3d.geometry.TriangleMesh(o3d.utility.Vector3dVector(vertices), o3d.utility.Vector3iVector(faces.astype(np.int32)))
    ratio, mine, theirs = median_ratio(
        lambda: poisson_points(vertices, faces, count, seed=3), lambda: mesh.sample_points_poisson_disk(count)
    )
    yardstick = f"{theirs:.2f} s, {os.environ.get('OMP_NUM_THREADS', os.cpu_count())} threads; ours {mine:.2f} s, 1"
    record.add("speed_over_open3d", ratio, case=case, yardstick=yardstick, goal=">= 3")


def _nearest(points: np.ndarray) -> np.ndarray:
    """Distance to the nearest other point, by a tree that is not ours (scipy's)."""
    tree = importlib.import_module("scipy.spatial").cKDTree(points)
    return tree.query(points, k=2)[0][:, 1]


# --- memory ------------------------------------------------------------------------------------------------------------


def _memory(record: Record, count: int) -> None:
    """Build and first frame: our points object against linked objects, each in a process of its own."""
    taken = {}
    for way in ("points", "objects"):
        words = subprocess.run(
            [sys.executable, "-c", f"from scripts.bench.debris import build_many; build_many({way!r}, {count})"],
            cwd=ROOT, capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        taken[way] = float(words.rsplit("extra_mb", 1)[1].split()[0])
    record.add("memory_mb", taken["points"], case="memory", unit="MB", yardstick=taken["objects"])
    record.add(
        "memory_over_objects", taken["objects"] / taken["points"], case="memory", yardstick="linked objects", goal=">= 20"
    )


def build_many(way: str, count: int) -> None:
    """Make `count` pieces 'points' or 'objects', evaluate the first frame, and print the memory that took in MB."""
    import bpy

    from blender_addon.core.dressing.debris.pieces import library
    from blender_addon.scene.dressing import set_parts
    from blender_addon.scene.dressing.instances import make_library, make_points

    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    pieces = library("clay", seed=1)
    rng = np.random.default_rng(1)
    places = rng.uniform(-0.3, 0.3, (count, 3)) * [1, 1, 0]
    shape = rng.integers(len(pieces), size=count)
    meshes = [set_parts.to_metres(piece.mesh) for piece in pieces]
    before = _held_mb("VmRSS")
    if way == "points":
        shapes = make_library("shapes", meshes, [])
        item = make_points("points", places, shape, np.tile(np.eye(3), (count, 1, 1)), np.ones(count), np.ones(count), shapes)
        for block in (shapes, item):
            scene.collection.objects.link(block)
    else:
        from blender_addon.scene.meshes import make_mesh

        blocks = [make_mesh("shape", mesh) for mesh in meshes]
        for number in range(count):
            item = bpy.data.objects.new("piece", blocks[shape[number]])
            item.location = places[number]
            scene.collection.objects.link(item)
    graph = bpy.context.evaluated_depsgraph_get()
    graph.update()
    shown = sum(1 for instance in graph.object_instances if instance.is_instance or way == "objects")
    assert shown >= count, f"{shown} of {count} pieces are shown"
    print(f"extra_mb {_held_mb('VmHWM') - before:.1f}")


def _held_mb(which: str) -> float:
    """Memory held now ('VmRSS') or at the most ('VmHWM'), MB, as Linux counts it.

    Not by getrusage: what that calls the most of a process begins with what its parent held.
    """
    words = Path("/proc/self/status").read_text(encoding="ascii")
    return float(words.split(f"{which}:")[1].split()[0]) / 1e3


# --- a dressed scene ---------------------------------------------------------------------------------------------------


def _dressed(record: Record, count: int) -> None:
    words = subprocess.run(
        [sys.executable, "-m", "scripts.bench._dressed", str(count)], cwd=ROOT, capture_output=True, text=True, check=False,
        env=own_environment(),
    )  # fmt: skip
    if words.returncode:
        record.fail(f"the dressed scene could not be made: {words.stderr.strip().splitlines()[-1] if words.stderr else ''}")
        return
    import json

    found = json.loads(words.stdout.rsplit("figures ", 1)[1].splitlines()[0])
    goals = {
        "inside_subject": "== 0", "inside_props": "== 0", "overlaps": "== 0", "in_sight_line": "== 0", "float_mm": "<= 0.1",
        "sunk_of_thickness": "<= 0.3", "rest_gap_mm": "<= 0.05", "prop_gap_mm": "<= 0.05",
    }  # fmt: skip
    for case, values in found.items():
        for name, value in values.items():
            record.add(name, value, case=case, goal=goals.get(name, ""))


__all__ = ["Path", "build_many", "run"]
