"""The GLB that is handed over, judged by the Khronos glTF validator (npm `gltf-validator`, Apache-2.0)."""

from __future__ import annotations

import json
import shutil
import subprocess
import tarfile
from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.scene.delivery.asset_files import AssetPart, write_glb
from blender_addon.scene.images import make_image
from blender_addon.scene.meshes import make_object
from scripts import real_scans

pytestmark = pytest.mark.data
VERSION = "2.0.0-dev.3.10"
ASK = """
const validator = require(process.argv[1]);
validator.validateBytes(new Uint8Array(require('fs').readFileSync(process.argv[2])))
  .then(report => console.log(JSON.stringify(report)));
"""


@pytest.fixture(scope="module")
def validator(tmp_path_factory) -> Path:
    if not shutil.which("node"):
        pytest.skip("node is not installed here, and the validator runs in it")
    try:
        archive = real_scans.package("npm", "gltf-validator", VERSION)
    except real_scans.Unavailable as error:
        pytest.skip(str(error))
    folder = tmp_path_factory.mktemp("validator")
    with tarfile.open(archive) as pack:
        pack.extractall(folder, filter="data")
    return folder / "package"


def judged(validator: Path, path: Path) -> dict:
    done = subprocess.run(
        ["node", "-e", ASK, str(validator), str(path)], capture_output=True, text=True, check=True, timeout=120
    )
    return json.loads(done.stdout)


def _part(name: str, *, textured: bool) -> AssetPart:
    corners = np.array([[0, 0, 0], [0.05, 0, 0], [0, 0.05, 0], [0, 0, 0.08]], np.float32)
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]], np.int32)
    uv = np.tile(np.array([[0.1, 0.1], [0.9, 0.1], [0.1, 0.9]], np.float32), (4, 1, 1)) if textured else None
    item = make_object(name, TriangleMesh(corners, faces, uv))
    if not textured:
        return AssetPart(name, item)
    albedo = make_image("albedo", np.full((16, 16, 3), 0.6))
    normal = make_image("normal", np.full((16, 16, 3), (0.5, 0.5, 1.0)), data=True)
    return AssetPart(name, item, albedo=albedo, normal=normal)


def test_piece_and_stand_are_valid_gltf_without_a_word(validator, tmp_path, empty_scene):
    write_glb([_part("Piece", textured=True), _part("Stand", textured=False)], tmp_path / "owl.glb")
    report = judged(validator, tmp_path / "owl.glb")
    assert (report["issues"]["numErrors"], report["issues"]["numWarnings"]) == (0, 0), report["issues"]["messages"]
    assert report["info"]["totalTriangleCount"] == 8 and report["info"]["materialCount"] == 2
    assert not bpy.data.objects.get("Piece.001"), "the copies that were written are gone"


def test_the_validator_does_object_to_a_broken_file(validator, tmp_path, empty_scene):
    write_glb([_part("Piece", textured=True)], tmp_path / "owl.glb")
    data = bytearray((tmp_path / "owl.glb").read_bytes())
    data[12:16] = (10**9).to_bytes(4, "little")
    (tmp_path / "broken.glb").write_bytes(data)
    assert judged(validator, tmp_path / "broken.glb")["issues"]["numErrors"] > 0
