"""Are the committed demo scans what their record says, and as awkward as a phone's?"""

import json
from pathlib import Path

import numpy as np
import pytest

DEMO = Path(__file__).resolve().parents[2] / "assets_demo"
SCANS = ("owl_dusted", "stand_bare")


@pytest.fixture(scope="module")
def record() -> dict:
    return json.loads((DEMO / "truth.json").read_text())


def read(name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices, faces and UV corners of an OBJ, by plain reading."""
    rows = {"v": [], "vt": [], "f": []}
    for line in (DEMO / f"{name}.obj").read_text().splitlines():
        kind, *rest = line.split()
        if kind in rows:
            rows[kind].append(rest)
    faces = np.array([[corner.split("/") for corner in row] for row in rows["f"]], int) - 1
    return np.array(rows["v"], float), faces[..., 0], np.array(rows["vt"], float)[faces[..., 1]]


def in_truth(record: dict, name: str) -> tuple[np.ndarray, np.ndarray]:
    vertices, *_ = read(name)
    matrix = np.array(record["scans"][name]["to_truth"])
    return vertices @ matrix[:3, :3].T + matrix[:3, 3], np.load(DEMO / f"{name}_labels.npz")["label"]


def test_the_record_s_transform_stands_the_scan_up_at_true_size(record):
    """A scan blurred by 0.65 mm keeps the owl's height to 0.7 mm and the stone's outline to 1 mm."""
    points, label = in_truth(record, "owl_dusted")
    assert len(points) == len(label)
    piece = points[label == 0]
    assert piece[:, 2].max() == pytest.approx(record["whole_height_mm"], abs=0.7)
    assert record["owl"]["height_mm"] == 80.0
    stone = points[label == 1]
    assert np.ptp(stone, axis=0)[:2] == pytest.approx(np.array(record["stand"]["size_mm"])[:2], abs=1.5)


@pytest.mark.parametrize("name", SCANS)
def test_the_pose_is_a_similarity_that_hides_size_and_up(record, name):
    matrix = np.array(record["scans"][name]["to_truth"])
    scale = record["scans"][name]["mm_a_unit"]
    turn = matrix[:3, :3] / scale
    assert np.allclose(turn @ turn.T, np.eye(3), atol=1e-9) and np.linalg.det(turn) > 0
    tilt = np.degrees(np.arccos(np.clip(turn[2, 2], -1, 1)))
    assert 20.0 < tilt < 60.0
    assert min(abs(np.log10(scale) - np.log10(unit)) for unit in (1.0, 10.0, 25.4, 1000.0)) > 0.05


def test_both_scans_show_the_same_stone(record):
    """In the truth's frame the tops of the stone agree: medians within 0.1 mm (each is blurred and noisy by itself)."""
    tops = []
    for name in SCANS:
        points, label = in_truth(record, name)
        stone = points[label == 1]
        tops.append(np.median(stone[(stone[:, 2] > 12.5) & (np.abs(stone[:, 0]) < 25) & (stone[:, 1] < -14), 2]))
    assert tops[0] == pytest.approx(tops[1], abs=0.1)


@pytest.mark.parametrize("name", SCANS)
def test_many_islands_inside_the_picture_and_loose_pieces(name):
    vertices, faces, uv = read(name)
    assert uv.min() >= 0 and uv.max() <= 1
    keys = np.round(uv * 1e5).astype(np.int64)
    corner = np.unique(keys.reshape(-1, 2) @ [200_000, 1], return_inverse=True)[1].reshape(-1, 3)
    root = np.arange(corner.max() + 1)
    for _ in range(200):
        low = root[corner].min(axis=1)
        before = root.copy()
        for k in range(3):
            np.minimum.at(root, corner[:, k], low)
        root = root[root]
        if np.array_equal(before, root):
            break
    assert len(np.unique(root)) > 300
    assert np.sum(np.load(DEMO / f"{name}_labels.npz")["label"] == -1) > 50
    assert len(vertices) == len(np.unique(faces))


def test_the_folder_stays_small_and_has_its_licence():
    """Under 12 MB together, as agreed for the repository; pictures of the README apart."""
    files = [path for path in DEMO.iterdir() if path.is_file()]
    assert sum(path.stat().st_size for path in files) < 12e6
    assert "CC0" in (DEMO / "LICENSE.txt").read_text()


def test_the_stone_made_again_from_the_seed_is_the_one_that_was_scanned(record):
    """Positions to the micrometre; `python -m scripts.truth.demo --check` does the same with the owl."""
    pytest.importorskip("bpy")
    from scripts.truth.pieces.owl import SLAB, stand
    from scripts.truth.pieces.shape import Shape

    stone = stand(record["seed"])
    assert Shape("stand", stone.vertices + [0, 0, SLAB[2]], stone.faces, stone.albedo).digest() == record["stand"]["sha256"]
