"""Does a further scan find its place, is `sure` never wrong, and does the stand come off where it should?

Six made-up subjects and the demo's owl, each scanned as a whole (underside unseen) and again: the stand alone, or the whole
turned. The second scan has another triangulation, noise of 0.04 mm, up to 30 % cropped away, holes, its underside seen or not,
another light, and a random rotation, place and scale (1/20 to 20). Traps, where no answer may be sure: another subject's stand,
and the round stand without its colour. `success_percent`: called sure, rotation off by < 1 degree and scale by < 0.5 %.
Yardsticks on two poses a subject in the same run: Open3D (FPFH and RANSAC on six scales over the lowest part, then ICP
with scale, best fitness; its default threads) and trimesh's scaled ICP from its principal axes. `tilt_deg`: how far the first
scan, turned at random and with 10 % of its vertices thrown off, stands from upright, on those subjects that have a level base.
"""

from __future__ import annotations

import importlib
import importlib.util
import json
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from blender_addon.core.mesh.similarity import Similarity, angle_between
from blender_addon.core.mesh.topology import submesh
from blender_addon.core.mesh.triangles import TriangleMesh, face_areas, face_normals, vertex_normals
from blender_addon.core.scan.registration import SURE, Registration, register
from blender_addon.core.scan.separation import find_stand
from scripts.truth.modelling.fields import rotation
from scripts.truth.pieces.stands import Subject, meshed, subjects

from .. import ROOT, Options, Record, median_seconds
from .tilt import add_tilt

NOISE_MM = 0.04
POSES, FAST_POSES, PEER_POSES = 40, 3, 2
STEP_MM, FINE_STEP_MM = 0.9, 0.6


@dataclass(frozen=True)
class Pair:
    """Two scans and the truth: moving onto fixed. colours a vertex, or None."""

    fixed: TriangleMesh
    moving: TriangleMesh
    truth: Similarity
    fixed_colour: Any
    moving_colour: Any
    partial: bool


@dataclass(frozen=True)
class Shapes:
    """The clean meshes of a subject: whole and what is scanned again, with colours a vertex."""

    whole: TriangleMesh
    again: TriangleMesh
    whole_colour: Any
    again_colour: Any
    partial: bool


def run(record: Record, options: Options) -> None:
    """Registration over all poses, traps, peers, time; then separation."""
    shapes = {name: subject for name, subject in _all_shapes() if options.wants(name)}
    poses = FAST_POSES if options.fast else POSES
    outcomes = []
    for name, subject in shapes.items():
        mine = [_outcome(_pair(subject, name, number), number) for number in range(poses)]
        _add(record, name, mine)
        outcomes += mine
    if not outcomes:
        return
    _add(record, "all", outcomes, goal=">= 98")
    _traps(record, shapes, outcomes, max(2, poses // 4))
    _time(record)
    _peers(record, shapes, options)
    _separation(record, options)
    _tilt(record, shapes, 4 if options.fast else 12)


# --- scans -----------------------------------------------------------------------------------------------------------------


def _all_shapes() -> Iterator[tuple[str, Shapes]]:
    for name, subject in subjects().items():
        yield name, _shapes(subject, STEP_MM)
    owl = _owl()
    if owl is not None:
        yield "owl", owl


def _shapes(subject: Subject, step: float) -> Shapes:
    whole = TriangleMesh(*meshed(subject.whole, step))
    other = subject.stand or subject.piece
    again = TriangleMesh(*meshed(other, 0.9 * step, turn=rotation(("x", 17), ("y", 31), ("z", 8))))
    return Shapes(whole, again, subject.paint(whole.vertices), subject.paint(again.vertices), subject.stand is not None)


def _owl() -> Shapes | None:
    """The demo's scans in millimetres, brought into one frame by their known poses."""
    truth = ROOT / "assets_demo" / "truth.json"
    if not truth.exists():
        return None
    scans = json.loads(truth.read_text(encoding="utf-8"))["scans"]
    parts = []
    for name in ("owl_dusted", "stand_bare"):
        vertices, faces = _obj(ROOT / "assets_demo" / f"{name}.obj")
        pose = np.array(scans[name]["to_truth"], float)
        parts.append(_welded(TriangleMesh(vertices @ pose[:3, :3].T + pose[:3, 3], faces)))
    return Shapes(parts[0], parts[1], None, None, True)


def _obj(path: Any) -> tuple[Any, Any]:
    lines = path.read_text(encoding="utf-8").splitlines()
    vertices = np.array([line.split()[1:4] for line in lines if line.startswith("v ")], float)
    faces = np.array([[int(part.split("/")[0]) for part in line.split()[1:4]] for line in lines if line.startswith("f ")]) - 1
    return vertices, faces


def _welded(mesh: TriangleMesh) -> TriangleMesh:
    keys = np.round(np.asarray(mesh.vertices), 6)
    unique, inverse = np.unique(keys, axis=0, return_inverse=True)
    return replace(mesh, vertices=unique, faces=inverse.reshape(-1)[mesh.faces])


def _pair(shapes: Shapes, name: str, number: int) -> Pair:
    """One pose: what the two scans of it look like."""
    random = np.random.default_rng([number, *name.encode()])
    noise = 0.0 if name == "owl" else NOISE_MM  # the owl's scans bring their own
    fixed = _noisy(shapes.whole, random, noise)
    fixed = replace(fixed, face_marks={"filled": _underside(shapes.whole)})
    whole = _noisy(shapes.again, random, noise)
    keep = _kept(whole, random)
    if random.integers(2):
        keep &= ~_underside(whole)
    moving = submesh(replace(whole, face_marks={}), keep)
    used = np.unique(whole.faces[keep])
    scale, shift = float(np.exp(random.uniform(-3.0, 3.0))), random.normal(size=3) * 100.0
    truth = Similarity(scale, _turn(random), scale * shift).inverse()
    colours = []
    for colour, places in ((shapes.whole_colour, fixed.vertices), (shapes.again_colour, shapes.again.vertices)):
        light = 0.7 * (1.0 + 0.4 * np.tanh(places @ random.normal(size=3) / 60.0)) * random.normal(1.0, 0.1, len(places))
        colours.append(None if colour is None else colour * np.clip(light, 0.05, None)[:, None] * random.uniform(0.8, 1.0, 3))
    placed = replace(moving, vertices=truth.inverse().apply(moving.vertices))
    return Pair(fixed, placed, truth, colours[0], None if colours[1] is None else colours[1][used], shapes.partial)


def _turn(random: np.random.Generator) -> Any:
    """A rotation, uniform over all (a unit quaternion)."""
    w, x, y, z = (q := random.normal(size=4)) / np.linalg.norm(q)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def _noisy(mesh: TriangleMesh, random: np.random.Generator, noise: float) -> TriangleMesh:
    normals = vertex_normals(mesh.vertices, mesh.faces)
    return replace(mesh, vertices=mesh.vertices + normals * random.normal(0.0, noise, (len(normals), 1)))


def _underside(mesh: TriangleMesh) -> Any:
    middle = mesh.vertices[mesh.faces].mean(axis=1)[:, 2]
    return (face_normals(mesh.vertices, mesh.faces)[:, 2] < -0.8) & (middle < mesh.vertices[:, 2].min() + 2.5)


def _kept(mesh: TriangleMesh, random: np.random.Generator) -> Any:
    """Without what lies past a random plane (up to 30 % of the surface), and without four holes."""
    middle, area = mesh.vertices[mesh.faces].mean(axis=1), face_areas(mesh.vertices, mesh.faces)
    direction = random.normal(size=3)
    order = np.argsort(middle @ direction)
    keep = np.ones(len(area), bool)
    keep[order[np.cumsum(area[order]) < random.uniform(0.0, 0.3) * area.sum()]] = False
    for _ in range(4):
        keep[np.linalg.norm(middle - middle[random.integers(len(middle))], axis=1) < random.uniform(2.0, 6.0)] = False
    return keep


# --- measuring -------------------------------------------------------------------------------------------------------------


def _ours(pair: Pair, seed: int, *, colour: bool = True) -> Registration:
    return register(
        pair.fixed, pair.moving, seed=seed, partial=pair.partial,
        fixed_colour=pair.fixed_colour if colour else None, moving_colour=pair.moving_colour if colour else None,
    )  # fmt: skip


def _outcome(pair: Pair, seed: int) -> dict[str, Any]:
    start = time.perf_counter()
    found = _ours(pair, seed + 1)
    seconds = time.perf_counter() - start
    best = found.best
    off = (180.0, 100.0) if best is None else _errors(best.pose, pair.truth)
    right = off[0] < 1.0 and off[1] < 0.5
    sure = found.verdict == SURE
    return {
        "rotation": off[0], "scale": off[1], "rms": best.evidence.rms if best else np.inf, "seconds": seconds,
        "success": sure and right, "false": sure and not right, "sure": sure,
    }  # fmt: skip


def _errors(pose: Similarity, truth: Similarity) -> tuple[float, float]:
    return angle_between(pose.rotation, truth.rotation), 100.0 * abs(pose.scale / truth.scale - 1.0)


def _add(record: Record, case: str, outcomes: list[dict[str, Any]], goal: str = "") -> None:
    succeeded = [outcome for outcome in outcomes if outcome["success"]]
    record.add("success_percent", 100.0 * len(succeeded) / len(outcomes), case=case, unit="%", goal=goal)
    record.add("false_sure", sum(outcome["false"] for outcome in outcomes), case=case, goal="== 0")
    for metric, key, unit, limit in (
        ("rotation_deg", "rotation", "deg", "< 0.1"),
        ("scale_percent", "scale", "%", "< 0.1"),
        ("rms_mm", "rms", "mm", "< 0.05"),
    ):
        value = np.median([outcome[key] for outcome in succeeded]) if succeeded else np.inf
        record.add(metric, float(value), case=case, unit=unit, goal=limit if case == "all" else "")
    record.add("seconds", float(np.median([outcome["seconds"] for outcome in outcomes])), case=case, unit="s")


def _traps(record: Record, shapes: dict[str, Shapes], outcomes: list[dict[str, Any]], count: int) -> None:
    """Pairs with no right answer: whatever is called sure is wrong."""
    wrong = 0
    names = [name for name in shapes if shapes[name].partial]
    for place, name in enumerate(names):
        other = names[(place + 1) % len(names)]
        if other == name:
            continue
        for number in range(count):
            mine = _pair(shapes[name], name, number)
            stranger = _pair(shapes[other], other, number + 1000)
            wrong += _ours(replace(mine, moving=stranger.moving), number + 1, colour=False).verdict == SURE
    record.add("false_sure", wrong, case="another's stand", goal="== 0")
    if "disc" in shapes:
        plain = [_ours(_pair(shapes["disc"], "disc", number), number + 1, colour=False) for number in range(count)]
        record.add("false_sure", sum(result.verdict == SURE for result in plain), case="round without colour", goal="== 0")


def _time(record: Record) -> None:
    subject = subjects()["slab"]
    pair = _pair(_shapes(subject, FINE_STEP_MM), "slab", 0)
    record.add("triangles", len(pair.fixed.faces), case="time")
    record.add("seconds", median_seconds(lambda: _ours(pair, 1)), case="100 k triangles", unit="s", goal="< 1.5")


# --- peers -----------------------------------------------------------------------------------------------------------------


def _peers(record: Record, shapes: dict[str, Shapes], options: Options) -> None:
    count = 1 if options.fast else PEER_POSES
    pairs = [(name, _pair(subject, name, number)) for name, subject in shapes.items() for number in range(count)]
    if _open3d_runs(record):
        ratios: dict[str, list[float]] = {}
        right = 0
        for name, pair in pairs:
            start = time.perf_counter()
            _ours(pair, 1)
            middle = time.perf_counter()
            off = _errors(_open3d(pair), pair.truth)
            ratios.setdefault(name, []).append((time.perf_counter() - middle) / (middle - start))
            right += off[0] < 1.0 and off[1] < 0.5
        record.add("open3d_success_percent", 100.0 * right / len(pairs), unit="%")
        for name, own in ratios.items():
            record.add("speed_over_open3d", float(np.median(own)), case=name, unit="x", yardstick="Open3D")
        every = float(np.median([ratio for own in ratios.values() for ratio in own]))
        record.add("speed_over_open3d", every, unit="x", yardstick="Open3D", goal=">= 5")
    if importlib.util.find_spec("trimesh") and importlib.util.find_spec("scipy"):
        right = 0
        for _, pair in pairs:
            off = _errors(_trimesh(pair), pair.truth)
            right += off[0] < 1.0 and off[1] < 0.5
        record.add("trimesh_success_percent", 100.0 * right / len(pairs), unit="%")
    else:
        record.fail("the peer trimesh (with SciPy) is missing")


def _open3d_runs(record: Record) -> bool:
    """Whether Open3D is there and can be loaded: it needs system libraries that pip does not bring, libusb-1.0 among them."""
    try:
        importlib.import_module("open3d")
    except (ImportError, OSError) as error:
        record.fail(f"the peer Open3D is missing, so that there is no speed_over_open3d; loading it said: {error}")
        return False
    return True


def _open3d(pair: Pair) -> Similarity:
    """Open3D as well as it could be set up: scale guesses, features, RANSAC, then point-to-point ICP with scale."""
    import open3d

    pipeline = open3d.pipelines.registration
    open3d.utility.random.seed(1)

    def cloud(mesh: TriangleMesh, count: int) -> Any:
        surface = open3d.geometry.TriangleMesh(
            open3d.utility.Vector3dVector(mesh.vertices), open3d.utility.Vector3iVector(mesh.faces.astype(np.int32))
        )
        surface.compute_vertex_normals()
        return surface.sample_points_uniformly(count)

    target, source = cloud(pair.fixed, 20000), cloud(pair.moving, 20000)
    if pair.partial:
        height = np.asarray(target.points)[:, 2]
        target = target.select_by_index(np.flatnonzero(height < height.min() + 0.35 * np.ptp(height)).tolist())
    size = [float(np.sqrt(np.var(np.asarray(cloud.points), axis=0).sum())) for cloud in (target, source)]
    voxel = 0.035 * size[0] * 2.0
    best, pose = -1.0, np.eye(4)
    for guess in (0.75, 0.85, 0.95, 1.05, 1.15, 1.3):
        scaled = open3d.geometry.PointCloud(source).scale(guess * size[0] / size[1], np.zeros(3))
        coarse = []
        for scanned in (scaled, target):
            down = scanned.voxel_down_sample(voxel)
            down.estimate_normals(open3d.geometry.KDTreeSearchParamHybrid(2.0 * voxel, 30))
            coarse.append(
                (down, pipeline.compute_fpfh_feature(down, open3d.geometry.KDTreeSearchParamHybrid(5.0 * voxel, 100)))
            )
        found = pipeline.registration_ransac_based_on_feature_matching(
            coarse[0][0], coarse[1][0], coarse[0][1], coarse[1][1], True, 1.5 * voxel,
            pipeline.TransformationEstimationPointToPoint(False), 3,
            [pipeline.CorrespondenceCheckerBasedOnEdgeLength(0.9), pipeline.CorrespondenceCheckerBasedOnDistance(1.5 * voxel)],
            pipeline.RANSACConvergenceCriteria(100000, 0.999),
        )  # fmt: skip
        for reach in (1.5 * voxel, 0.4 * voxel):
            found = pipeline.registration_icp(
                scaled, target, reach, found.transformation, pipeline.TransformationEstimationPointToPoint(True),
                pipeline.ICPConvergenceCriteria(max_iteration=60),
            )  # fmt: skip
        if found.fitness > best:
            best = found.fitness
            pose = found.transformation @ np.diag([*([guess * size[0] / size[1]] * 3), 1.0])
    return Similarity.from_matrix(pose)


def _trimesh(pair: Pair) -> Similarity:
    import trimesh

    fixed = trimesh.Trimesh(pair.fixed.vertices, pair.fixed.faces, process=False)
    moving = trimesh.Trimesh(pair.moving.vertices, pair.moving.faces, process=False)
    start = np.eye(4)
    ratio = fixed.scale / moving.scale
    start[:3, :3] *= ratio
    start[:3, 3] = fixed.centroid - ratio * moving.centroid
    points = trimesh.sample.sample_surface(moving, 2000, seed=1)[0]
    there = trimesh.sample.sample_surface(fixed, 20000, seed=1)[0]
    matrix, _, _ = trimesh.registration.icp(points, there, initial=start, max_iterations=60, scale=True, reflection=False)
    return Similarity.from_matrix(matrix)


# --- separation ------------------------------------------------------------------------------------------------------------


def _separation(record: Record, options: Options) -> None:
    """Share of the area that both call piece over the area that either does, with the scan's colour and dusted white."""
    for name, subject in subjects().items():
        if not options.wants(name):
            continue
        vertices, faces = meshed(subject.whole, STEP_MM)
        mesh = _noisy(TriangleMesh(vertices - [0.0, 0.0, vertices[:, 2].min()], faces), np.random.default_rng(3), NOISE_MM)
        middle = vertices[faces].mean(axis=1)
        colour = subject.paint(middle) * np.random.default_rng(4).normal(1.0, 0.15, (len(middle), 1))
        for metric, seen, goal in (("separation_iou", colour, ">= 0.95"), ("separation_iou_dusted", None, "")):
            value = _iou(mesh, find_stand(mesh, colour=seen).stand, subject.is_piece(middle))
            record.add(metric, value, case=name, goal=goal)
    labels = ROOT / "assets_demo" / "owl_dusted_labels.npz"
    if options.wants("owl") and labels.exists():
        vertices, faces = _obj(ROOT / "assets_demo" / "owl_dusted.obj")
        pose = np.array(json.loads((ROOT / "assets_demo" / "truth.json").read_text())["scans"]["owl_dusted"]["to_truth"], float)
        label = np.load(labels)["label"][faces]
        mesh = TriangleMesh(vertices @ pose[:3, :3].T + pose[:3, 3], faces)
        whole = submesh(mesh, (label >= 0).all(axis=1))
        label = label[(label >= 0).all(axis=1)]
        mesh = _welded(whole)
        record.add(
            "separation_iou", _iou(mesh, find_stand(mesh).stand, (label == 0).mean(axis=1) > 0.5), case="owl", goal=">= 0.98"
        )


def _tilt(record: Record, shapes: dict[str, Shapes], turns: int) -> None:
    """Of all but the rough stone, which has no plane to stand on."""
    random = np.random.default_rng(5)
    chance = [_turn(random) for _ in range(turns)]
    for name, subject in shapes.items():
        if name != "stone":
            add_tilt(record, name, subject.whole, _underside(subject.whole), chance, noise=0.0 if name == "owl" else NOISE_MM)


def _iou(mesh: TriangleMesh, stand: Any, piece: Any) -> float:
    area = face_areas(np.asarray(mesh.vertices, float), mesh.faces)
    return float(area[~stand & piece].sum() / area[~stand | piece].sum())
