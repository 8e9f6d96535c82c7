"""Do other libraries agree on alignment, volumes and closedness?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.cut import cut
from blender_addon.core.mesh.similarity import Similarity, angle_between, fit_similarity, rotation_from_vector
from blender_addon.core.mesh.triangles import TriangleMesh, signed_volume
from blender_addon.core.scan.registration import sample_surfels
from blender_addon.core.scan.registration.icp import refine
from scripts.truth.pieces.stands import meshed, subjects
from tests.scan_shapes import box

OFF = Similarity(1.0, rotation_from_vector(np.radians([4.0, -3.0, 5.0])), np.array([1.5, -1.0, 2.0]))


@pytest.fixture(scope="module")
def figure() -> TriangleMesh:
    return TriangleMesh(*meshed(subjects()["bare"].whole, 1.3))


def ours(figure: TriangleMesh) -> Similarity:
    """Our iterations back from a pose that is OFF."""
    spatial = pytest.importorskip("scipy.spatial")
    fixed, moving = sample_surfels(figure, 12000, seed=1), sample_surfels(figure, 3000, seed=2)
    tree = spatial.cKDTree(fixed.points)
    pose, _, _ = refine(moving, fixed, lambda points: tree.query(points)[::-1], OFF, rounds=60, scaled=False)
    return pose


def test_closed_form_as_scikit_image() -> None:
    """scikit-image's SimilarityTransform (Umeyama 1991) on noisy points, where no exact answer hides a wrong weight."""
    transform = pytest.importorskip("skimage.transform")
    random = np.random.default_rng(1)
    source = random.normal(size=(40, 3))
    target = OFF.apply(source) * 1.7 + random.normal(scale=0.1, size=(40, 3))
    kind = transform.SimilarityTransform
    if hasattr(kind, "from_estimate"):  # 0.26 and later
        theirs = kind.from_estimate(source, target)
    else:
        theirs = kind(dimensionality=3)
        theirs.estimate(source, target)
    assert fit_similarity(source, target).matrix == pytest.approx(theirs.params, abs=1e-9)


@pytest.mark.oracle
def test_iterations_as_trimesh(figure: TriangleMesh) -> None:
    """trimesh's ICP against the surface itself (closest points, no scale) from the same start ends within 0.1 degrees of ours.

    Point to point creeps along the surface, so it has many rounds; sampled points as its target stall it half a degree away.
    """
    trimesh = pytest.importorskip("trimesh")
    pytest.importorskip("rtree")
    pytest.importorskip("scipy")
    there = sample_surfels(figure, 2000, seed=1).points
    here = OFF.apply(sample_surfels(figure, 500, seed=2).points)
    surface = trimesh.Trimesh(figure.vertices, figure.faces, process=False)
    matrix, _, _ = trimesh.registration.icp(here, surface, max_iterations=150, threshold=1e-12, scale=False, reflection=False)
    theirs = Similarity.from_matrix(matrix).after(OFF)
    mine = ours(figure)
    assert angle_between(mine.rotation, np.eye(3)) < 0.05
    assert angle_between(mine.rotation, theirs.rotation) < 0.1
    assert np.linalg.norm(mine.apply(there) - theirs.apply(there), axis=1).max() < 0.1


@pytest.mark.oracle
def test_iterations_as_open3d(figure: TriangleMesh) -> None:
    """Open3D's point-to-plane ICP from the same start ends where ours does: 0.02 degrees, 0.03 mm."""
    open3d = pytest.importorskip("open3d")
    fixed, moving = sample_surfels(figure, 12000, seed=1), sample_surfels(figure, 3000, seed=2)
    target, source = open3d.geometry.PointCloud(), open3d.geometry.PointCloud()
    target.points, target.normals = (open3d.utility.Vector3dVector(part) for part in (fixed.points, fixed.normals))
    source.points = open3d.utility.Vector3dVector(moving.points)
    pipeline = open3d.pipelines.registration
    found = pipeline.registration_icp(
        source, target, 6.0, OFF.matrix, pipeline.TransformationEstimationPointToPlane(),
        pipeline.ICPConvergenceCriteria(relative_fitness=1e-9, relative_rmse=1e-9, max_iteration=100),
    )  # fmt: skip
    theirs, mine = Similarity.from_matrix(found.transformation), ours(figure)
    assert angle_between(mine.rotation, theirs.rotation) < 0.02
    assert np.linalg.norm(mine.apply(fixed.points) - theirs.apply(fixed.points), axis=1).max() < 0.03


@pytest.mark.parametrize("name", ["box", "disc"])
def test_halves_as_trimesh_sees_them(name: str) -> None:
    """trimesh calls both halves watertight and wound alike, and measures the same volumes (1e-9: the same triangles)."""
    trimesh = pytest.importorskip("trimesh")
    mesh = box((40.0, 30.0, 20.0)) if name == "box" else TriangleMesh(*meshed(subjects()["disc"].whole, 0.9))
    points = np.asarray(mesh.vertices)
    halves = cut(mesh, points[:, 2] - 9.37 + 0.21 * points[:, 0] + 0.1 * np.sin(points[:, 1]))
    for half in (halves.above, halves.below):
        theirs: Any = trimesh.Trimesh(half.vertices, half.faces, process=False)
        assert theirs.is_watertight and theirs.is_winding_consistent
        assert theirs.volume == pytest.approx(signed_volume(np.asarray(half.vertices), half.faces), rel=1e-9)
        assert theirs.volume > 0
